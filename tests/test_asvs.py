"""The table of security requirements: complete, and of nothing that is not there. And what only reading the source shows."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PAGE = ROOT / "docs" / "asvs.md"
# The standard's own list; its head says where it is from.
LIST = ROOT / "tests" / "published" / "data" / "asvs-5.0.0.txt"
STATES = ("met", "not applicable", "not met")


@dataclass(frozen=True)
class Requirement:
    number: str
    level: str
    asks: str
    state: str
    how: str

    @property
    def tests(self) -> list[str]:
        return re.findall(r"`(tests/[\w/]+\.py::\w+)`", self.how)

    @property
    def files(self) -> list[str]:
        """Files and folders of the repository that are named; addresses and settings are written otherwise."""
        return [
            name
            for name in re.findall(r"`([\w./-]+)`", self.how)
            if re.match(r"(testround|templates|tests|docs|deploy|\.ci)/", name) or name in TOP
        ]


TOP = ("uv.lock", "Dockerfile", "docker-compose.yml", "pyproject.toml", ".dockerignore")


def table() -> list[Requirement]:
    lines = PAGE.read_text(encoding="utf-8").splitlines()
    return [
        Requirement(*(cell.strip() for cell in line.strip("|").split(" | ", 4)))
        for line in lines
        if re.match(r"\| V\d", line)
    ]


def standard() -> list[tuple[str, str]]:
    lines = LIST.read_text(encoding="utf-8").splitlines()
    return [(number, level) for number, level in (line.split() for line in lines if line.startswith("V"))]


ROWS = {row.number: row for row in table()}


def test_every_requirement_of_both_levels_is_there_once_in_the_standards_order() -> None:
    assert [(row.number, row.level) for row in table()] == standard()
    assert len(standard()) == 253
    assert sum(level == "1" for _, level in standard()) == 70


def test_each_is_met_or_not_applicable_or_not_met() -> None:
    assert {number: row.state for number, row in ROWS.items() if row.state not in STATES} == {}
    assert {
        number for number, row in ROWS.items() if len(row.asks) < 4 or len(row.how.strip(" |")) < 6
    } == set()


def test_what_is_met_names_where_and_a_test_that_shows_it() -> None:
    wanting = {
        number
        for number, row in ROWS.items()
        if row.state == "met"
        and (
            not row.files
            or not (
                row.tests or "By reading" in row.how or "by reading" in row.how or "tests/browser/" in row.how
            )
        )
    }

    assert wanting == set()


def test_every_file_that_is_named_is_there() -> None:
    assert sorted({name for row in ROWS.values() for name in row.files if not (ROOT / name).exists()}) == []


def test_every_test_that_is_named_is_there() -> None:
    named = sorted({test for row in ROWS.values() for test in row.tests})
    missing = []
    for test in named:
        file, _, name = test.partition("::")
        source = ROOT / file
        if not source.is_file() or not re.search(rf"^def {name}\(", source.read_text(encoding="utf-8"), re.M):
            missing.append(test)

    assert len(named) > 100
    assert missing == []


def test_what_is_not_met_says_what_would_do_it() -> None:
    wanting = {
        number
        for number, row in ROWS.items()
        if row.state == "not met" and not re.search(r"would (do it|mend it)|: a collector", row.how)
    }

    assert wanting == set()


# What only the source shows -------------------------------------------------------------------------------


def modules() -> Iterator[tuple[Path, ast.Module]]:
    for path in sorted((ROOT / "testround").rglob("*.py")):
        if "migrations" not in path.parts:
            yield path.relative_to(ROOT), ast.parse(path.read_text(encoding="utf-8"))


def imported(tree: ast.Module) -> set[str]:
    """Names of everything that a module imports, as in ``urllib.parse.urlsplit``."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found |= {f"{node.module}.{name.name}" for name in node.names} | {node.module}
    return found


def users_of(*names: str) -> list[str]:
    return [
        str(path)
        for path, tree in modules()
        if any(one == name or one.startswith(f"{name}.") for one in imported(tree) for name in names)
    ]


def calls(tree: ast.Module) -> Iterator[tuple[str, ast.Call]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func), node


def test_the_program_runs_no_command_and_no_code_that_came_to_it() -> None:
    running = {
        "eval",
        "exec",
        "compile",
        "__import__",
        "os.system",
        "os.popen",
        "Template",
        "Engine.from_string",
    }
    found = [(str(path), name) for path, tree in modules() for name, _call in calls(tree) if name in running]

    assert found == []
    assert users_of("subprocess", "pickle", "marshal", "shelve", "yaml", "code", "pty") == COMMANDS_OF_OUR_OWN


# Modules that start a program of the operator's, with no word of anybody else's in it.
COMMANDS_OF_OUR_OWN: list[str] = []


def test_no_expression_is_built_of_what_somebody_typed() -> None:
    """A pattern is a literal, or made of literals and of what `re.escape` gives."""
    makers = {
        f"re.{name}"
        for name in ("compile", "match", "fullmatch", "search", "findall", "finditer", "sub", "split")
    }
    built = sorted(
        {
            str(path)
            for path, tree in modules()
            for name, call in calls(tree)
            if name in makers
            and call.args
            and not isinstance(call.args[0], ast.Constant | ast.Name | ast.Attribute)
            and "re.escape" not in ast.unparse(call.args[0])
        }
    )

    assert built == EXPRESSIONS_OF_OUR_OWN


# Made of words of the program itself, but in `drafts` and `privacy` of names, each of which is escaped.
EXPRESSIONS_OF_OUR_OWN = [
    "testround/api/v1/report_kinds.py",
    "testround/kernel/terms.py",
    "testround/kernel/units.py",
    "testround/kernel/whys.py",
    "testround/patterns/drafts.py",
    "testround/patterns/origins.py",
    "testround/people/kept.py",
    "testround/reports/fields.py",
    "testround/rounds/services/drafts.py",
    "testround/rounds/services/privacy.py",
    "testround/talk/plain_text.py",
]


def test_what_is_filled_into_a_sentence_cannot_be_looked_into() -> None:
    """`"{a.b}".format(a=…)` reads attributes: no sentence of the program does, and none comes from outside."""
    looking = re.compile(r"\{\w*[.\[]")
    found = [
        (str(path), node.value)
        for path, tree in modules()
        for name, call in calls(tree)
        if name.endswith(".format")
        for node in ast.walk(call.func)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and looking.search(node.value)
    ]
    catalogues = [
        line
        for path in (ROOT / "testround" / "locale").rglob("*.po")
        for line in path.read_text(encoding="utf-8").splitlines()
        if line.startswith("msgstr") and looking.search(line)
    ]

    assert (found, catalogues) == ([], [])


def test_statements_of_our_own_are_where_they_are_known_to_be() -> None:
    found = sorted(
        {
            str(path)
            for path, tree in modules()
            for name, _call in calls(tree)
            if name.endswith((".raw", ".extra", "RawSQL", "cursor.execute", ".executemany"))
        }
    )

    assert found == STATEMENTS


# Of names that the database or the models know; values are parameters.
STATEMENTS = [
    "testround/home/populate/bulk.py",
    "testround/operations/backup/making.py",
    "testround/operations/backup/restoring.py",
    "testround/operations/readiness.py",
    "testround/operations/selectors.py",
    "testround/outbox/services.py",
    "testround/rows.py",
]


def test_cryptography_is_used_where_the_inventory_says() -> None:
    assert users_of("cryptography", "hmac", "ssl", "fido2", "argon2") == CRYPTOGRAPHY
    weak = [
        (str(path), name)
        for path, tree in modules()
        for name, _call in calls(tree)
        if name in ("hashlib.md5", "hashlib.sha1", "hashlib.new")
    ]
    assert weak == []


CRYPTOGRAPHY = [
    "testround/api/limits.py",
    "testround/api/sealing.py",
    "testround/api/services.py",
    "testround/following/posting.py",
    "testround/following/signing.py",
    "testround/people/sealed.py",
    "testround/rounds/throttle.py",
]


def test_nothing_secret_is_made_by_the_plain_generator() -> None:
    # Pictures of the demo and invented rounds, drawn by a seed; the kernel's simulations take numpy's, by a seed too.
    assert users_of("random") == [
        "testround/home/pictures.py",
        "testround/home/populate/__init__.py",
        "testround/home/populate/copies.py",
        "testround/home/populate/documents.py",
        "testround/home/populate/stencils.py",
    ]


def test_the_network_is_used_where_it_is_known_to_be() -> None:
    assert (
        users_of(
            "socket", "urllib3", "requests", "httpx", "http.client", "urllib.request", "smtplib", "ftplib"
        )
        == NETWORK
    )


# Whether anything that a check of ours asks is there; posts to other programs; whether the demo's port is free; what a
# mail server may answer with.
NETWORK = [
    "testround/asked.py",
    "testround/following/posting.py",
    "testround/home/management/commands/demo.py",
    "testround/outbox/mail.py",
]


def test_what_is_posted_goes_by_a_recent_tls() -> None:
    import ssl

    from testround.following.posting import Ways

    context = Ways().tls()

    assert context.minimum_version >= ssl.TLSVersion.TLSv1_2
    assert (context.verify_mode, context.check_hostname) == (ssl.CERT_REQUIRED, True)


def scripts() -> Iterator[tuple[str, str]]:
    for path in sorted((ROOT / "testround" / "static" / "js").glob("*.js")):
        yield path.name, path.read_text(encoding="utf-8")


def test_no_script_writes_markup_or_runs_text() -> None:
    doing = re.compile(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|setTimeout\(\s*[\"'`]|javascript:"
    )

    assert [(name, found) for name, text in scripts() for found in doing.findall(text)] == []


def test_no_page_listens_to_messages_of_other_windows() -> None:
    listening = [
        name for name, text in scripts() if re.search(r"addEventListener\(\s*[\"']message[\"']", text)
    ]

    # A worker hears the pages of its own origin alone.
    assert listening == ["worker.js"]


def test_a_signed_link_serves_its_purpose_alone() -> None:
    from django.core import signing

    from testround.following.links import CONFIRM, LEAVE, UnknownLink, follower_of

    token = signing.dumps("0" * 32, salt=CONFIRM)

    with pytest.raises(UnknownLink):
        follower_of(token, LEAVE)


def test_the_image_holds_no_history_of_the_source() -> None:
    copied = re.findall(r"^COPY (?!--from)(.+) \S+$", (ROOT / "Dockerfile").read_text(encoding="utf-8"), re.M)

    assert {name for line in copied for name in line.split()} <= {
        "pyproject.toml",
        "uv.lock",
        "README.md",
        "manage.py",
        "testround",
        "templates",
    }


@pytest.mark.django_db
@pytest.mark.parametrize("folder", ["/static/", "/static/css/", "/static/../testround/", "/media/"])
def test_a_folder_of_static_files_is_no_page(client: object, folder: str) -> None:
    assert client.get(folder).status_code == 404  # type: ignore[attr-defined]


def test_the_limits_that_are_written_down_are_those_of_the_code() -> None:
    from django.conf import settings

    from testround.kernel import formula_text, roundfile
    from testround.patterns import spreadsheets
    from testround.reports import encoding, unpacking

    page = PAGE.read_text(encoding="utf-8")
    said = {
        f"{settings.PHOTO_MAX_BYTES // 10**6} MB, {settings.PHOTO_MAX_PIXELS // 10**6} million pixels",
        f"{encoding.LONGEST_SIDE:,} pixels a side",
        f"{spreadsheets.MOST_BYTES // 10**6} MB; unpacked {spreadsheets.MOST_BYTES_UNPACKED // 10**6} MB in "
        f"{spreadsheets.MOST_PARTS} parts; {spreadsheets.MOST_ROWS} rows, {spreadsheets.MOST_COLUMNS} columns",
        f"{settings.ROUND_FILE_MAX_BYTES // 10**6} MB; {roundfile.DEEPEST_NESTING} deep, {roundfile.MOST_KEYS} keys "
        f"to an object, {roundfile.MOST_ENTRIES:,} entries to a list",
        f"{unpacking.MOST_ZIP_ENTRIES} files, {unpacking.MOST_UNPACKED_BYTES // 10**9} GB unpacked, "
        f"{unpacking.MOST_PHOTO_BYTES // 10**6} MB a photo",
        f"{formula_text.LONGEST_FORMULA} signs, {formula_text.DEEPEST_NESTING} brackets deep, "
        f"{formula_text.MOST_NODES} parts",
        f"{settings.DATA_UPLOAD_MAX_MEMORY_SIZE // 2**20} MB of fields, "
        f"{settings.DATA_UPLOAD_MAX_NUMBER_FIELDS:,} fields",
    }

    assert {one for one in said if one not in page} == set()
