"""Backup and restore, by the two commands: everything of one moment, into an empty server, whole or not at all."""

from __future__ import annotations

import io
import json
import stat
import tarfile
from pathlib import Path
from typing import Any

from testround.operations.backup.archive import Writer, members
from tests.operations.servers import ROOT, Server, embedded

# Reports and photos from several testers at once until a file appears; says after each what was acknowledged.
SUBMIT = """
import json, sys, threading, uuid
from pathlib import Path
from django.db import connection
from testround.reports.photos import photo_add, photo_remove
from testround.reports.services import sitting_submit
from testround.rounds.models import Place
from tests.reports.pictures import phone_jpeg

stop, said = Path(sys.argv[1]), []
picture = phone_jpeg()

def submit(place):
    n = 0
    while not stop.exists() or n < 3:
        n += 1
        key = uuid.uuid4()
        sitting_submit(place=place, key=key, by=place.tester, hours=n)
        photo = photo_add(place=place, data=picture, key=uuid.uuid4(), by=place.tester, seen=True)
        if n % 3 == 0:
            photo_remove(photo=photo, by=place.tester)
        said.append(str(key))
        if n == 2:
            print("submitting", flush=True)
    connection.close()

threads = [threading.Thread(target=submit, args=[place]) for place in Place.objects.order_by("pk")[:2]]
[thread.start() for thread in threads]
[thread.join() for thread in threads]
print(json.dumps(said))
"""
# What does not fit together: a photo that is ready without its files as they were, one that waits without its upload,
# a submission without what was submitted.
MISFITS = """
import hashlib, json
from django.core.files.storage import default_storage as storage
from testround.reports.models import Photo, Sitting, Submission

misfits = []
for photo in Photo.objects.filter(superseded_at=None).prefetch_related("renditions"):
    if photo.state == "ready":
        there = storage.exists(photo.original.name)
        if not there or hashlib.sha256(photo.original.open().read()).hexdigest() != photo.sha256:
            misfits.append(f"original of {photo.pk}")
        misfits += [f"{one.file.name}" for one in photo.renditions.all() if not storage.exists(one.file.name)]
    elif not storage.exists(photo.incoming.name):
        misfits.append(f"upload of {photo.pk}")
misfits += [f"submission {row.pk}" for row in Submission.objects.filter(kind="sitting", sitting_rows=None)]
print(json.dumps({
    "misfits": misfits,
    "photos": Photo.objects.count(),
    "sittings": [str(key) for key in Submission.objects.filter(kind="sitting").values_list("key", flat=True)],
}))
"""


def test_an_empty_server_has_everything_afterwards(at_work: Server, backup: Path, empty: Server) -> None:
    restored = empty

    done = restored.manage("restore", str(backup))

    assert done.returncode == 0, done.stderr
    before, after = at_work.everything(), restored.everything()
    ((waited,), (doubted,)) = (found["rows"].pop("outbox.Mail") for found in (before, after))
    assert before["files"]
    assert after == before
    # What waited may have left since the backup was made: nothing is sent twice by itself.
    assert [pair for pair in zip(waited, doubted, strict=True) if pair[0] != pair[1]] == [
        ("waiting", "uncertain"),
        (
            "",
            "It waited when the copy was made from which this server was restored, and may have left since.",
        ),
    ]
    # What is kept from being changed is kept from it again.
    changed = restored.run(
        "-c",
        "import django; django.setup()\n"
        "from django.db import connection\n"
        "connection.cursor().execute(\"UPDATE errata_erratum SET text = 'Other' WHERE number = 1\")",
    )
    assert "a published erratum is never changed" in changed.stderr
    # Whoever comes next gets a key of their own.
    restored.python(
        "from testround.people.models import User; User.objects.create_user('ash@example.org', 'x')"
    )


def test_a_backup_made_while_reports_come_in_fits_together(
    at_work: Server, empty: Server, tmp_path: Path
) -> None:
    server = embedded(tmp_path / "busy", like=at_work)
    stop, archive = tmp_path / "stop", tmp_path / "testround.tar"
    before = json.loads(server.python(MISFITS))

    with server.start(SUBMIT, str(stop)) as submitting:
        assert submitting.stdout is not None
        assert submitting.stdout.readline() == "submitting\n"
        made = server.manage("backup", str(archive))
        stop.touch()
        acknowledged = json.loads(submitting.stdout.read().splitlines()[-1])
    restored = empty.manage("restore", str(archive))

    assert (made.returncode, made.stderr) == (0, "")
    assert (restored.returncode, restored.stderr) == (0, "")
    found = json.loads(empty.python(MISFITS))
    assert found["misfits"] == []
    taken = set(found["sittings"]) - set(before["sittings"])
    assert taken, "nothing had come in when the backup was made"
    assert taken < set(acknowledged)
    assert found["photos"] > before["photos"]


def test_a_server_that_has_something_is_left_as_it_is(at_work: Server, backup: Path, tmp_path: Path) -> None:
    server = embedded(tmp_path / "var", like=at_work)
    before = server.everything()

    done = server.manage("restore", str(backup))

    assert done.returncode == 2
    assert "This server is not empty" in done.stderr
    assert server.everything() == before


def test_a_damaged_backup_is_refused_before_anything_is_written(backup: Path, tmp_path: Path) -> None:
    damaged, server = tmp_path / "damaged.tar", embedded(tmp_path / "var")
    data = bytearray(backup.read_bytes())
    with tarfile.open(backup) as tar:
        photo = next(info for info in tar if info.name.endswith("original.jpg"))
    data[photo.offset_data + 100] ^= 1
    damaged.write_bytes(data)

    done = server.manage("restore", str(damaged))

    assert done.returncode == 2
    assert "is not a whole backup" in done.stderr
    assert server.files() == []
    assert (
        server.python("from django.db import connection as c; print(c.introspection.table_names())") == "[]\n"
    )


def rewritten(backup: Path, to: Path, **begin: Any) -> Path:
    """The same backup with another beginning, in order as a whole."""
    end: dict[str, Any] = {}
    with backup.open("rb") as source, to.open("wb") as file:
        writer = Writer(file)
        for member in members(source, end):
            content = member.content()
            if member.name == "begin.json":
                content = json.dumps({**json.loads(content), **begin}).encode()
            writer.add(member.name, content)
        writer.end(end)
    return to


def test_a_newer_versions_backup_is_refused(backup: Path, empty: Server, tmp_path: Path) -> None:
    newer = rewritten(
        backup,
        tmp_path / "newer.tar",
        version="9.0",
        migrations=[["people", "0001_initial"], ["people", "0999_x"]],
    )
    of_another_format = rewritten(backup, tmp_path / "other.tar", format="testround-backup-2")

    refused = [empty.manage("restore", str(path)) for path in (newer, of_another_format)]

    assert [done.returncode for done in refused] == [2, 2]
    assert "made by a newer version (9.0" in refused[0].stderr
    assert "testround-backup-2" in refused[1].stderr
    assert empty.everything()["rows"]["people.User"] == []


def test_a_restore_that_breaks_off_leaves_nothing_and_can_be_repeated(
    at_work: Server, backup: Path, empty: Server
) -> None:
    # A folder stands where the last of the files belongs.
    with tarfile.open(backup) as tar:
        last = [name for name in tar.getnames() if name.startswith("files/")][-1].removeprefix("files/")
    in_the_way = empty.folder / "media" / last / "something"
    in_the_way.parent.mkdir(parents=True)
    in_the_way.touch()

    broken = empty.manage("restore", str(backup))
    left = empty.everything()
    files = empty.files()
    in_the_way.unlink()
    in_the_way.parent.rmdir()
    again = empty.manage("restore", str(backup))

    assert broken.returncode == 2
    assert "nothing is left of it" in broken.stderr
    assert [label for label, rows in left["rows"].items() if rows] == []
    assert files == [f"{last}/something"]
    assert again.returncode == 0, again.stderr
    assert empty.everything()["exports"] == at_work.everything()["exports"]


def test_an_older_versions_backup_is_brought_to_this_version(tmp_path: Path) -> None:
    old, new = embedded(tmp_path / "old"), embedded(tmp_path / "new")
    old.python(
        """
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
# Before the diary knew who is named in it, which a migration reads out of its rows.
targets = [("rounds", "0017_states_in_words"), ("people", "0001_initial"), ("operations", "0001_backups_and_acts")]
state = MigrationExecutor(connection).migrate(targets)
User = state.apps.get_model("people", "User")
User.objects.create(email="old@example.org", name="Old hand")
"""
    )
    archive = tmp_path / "old.tar"
    # As that version would have made it: its tables are what its migrations say.
    old.python(
        """
import json, sys
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from testround.operations.backup import restoring, rows
from testround.operations.backup.archive import BEGIN, FORMAT, Writer
loader = MigrationLoader(connection)
applied = sorted(loader.applied_migrations)
state = loader.project_state(restoring._leaves(loader, set(applied))).apps
models = rows.kept_models(state)
with open(sys.argv[1], "wb") as file:
    writer = Writer(file)
    writer.add(BEGIN, json.dumps({"format": FORMAT, "version": "0.0.1", "made": "then", "migrations": applied,
        "columns": {m._meta.label: rows.columns_of(m) for m in models}}).encode())
    counts = dict.fromkeys((m._meta.label for m in models), 0)
    for model in models:
        for n, (count, packed) in enumerate(rows.chunks_of(model, "default"), 1):
            writer.add(f"rows/{model._meta.label}/{n}.jsonl.gz", packed)
            counts[model._meta.label] += count
    writer.end({"rows": counts, "files": 0, "file_bytes": 0, "gone": [], "missing": []})
""",
        str(archive),
    )

    done = new.manage("restore", str(archive))

    assert done.returncode == 0, done.stderr
    people = new.python(
        "from testround.people.models import User; print(*User.objects.values_list('email', 'language', 'time_zone'))"
    )
    assert people == "('old@example.org', '', 'UTC')\n"
    assert new.manage("migrate", "--check").returncode == 0


def test_a_backup_is_its_owners_alone_and_never_written_over_another(at_work: Server, backup: Path) -> None:
    content = backup.read_bytes()

    done = at_work.manage("backup", str(backup))

    assert done.returncode == 1
    assert "is there already" in done.stderr
    assert backup.read_bytes() == content
    assert stat.S_IMODE(backup.stat().st_mode) == 0o600
    assert [path.name for path in backup.parent.iterdir()] == [backup.name]


def test_it_is_kept_when_there_was_a_backup_and_when_there_was_none(at_work: Server, tmp_path: Path) -> None:
    server = embedded(tmp_path / "var", like=at_work)

    kept = server.python(
        """
import contextlib, sys
from pathlib import Path
from testround.operations.backup import NotMade, backup_make
from testround.operations.models import Backup
for path in sys.argv[1:]:
    with contextlib.suppress(NotMade):
        backup_make(Path(path))
for b in Backup.objects.all()[:2]:
    print(b.file, b.size, b.files, b.problem)
""",
        str(tmp_path / "b.tar"),
        str(tmp_path / "nowhere" / "b.tar"),
    )

    failed, made = kept.splitlines()
    assert failed.startswith(f"{tmp_path}/nowhere/b.tar 0 0 ")
    assert "could not be written" in failed
    with tarfile.open(tmp_path / "b.tar") as tar:
        files = [name for name in tar.getnames() if name.startswith("files/")]
    assert made == f"{tmp_path}/b.tar {(tmp_path / 'b.tar').stat().st_size} {len(files)} "


def test_nobody_is_signed_in_by_a_stolen_copy(backup: Path) -> None:
    with tarfile.open(backup) as tar:
        begin = json.load(tar.extractfile("begin.json") or io.BytesIO())

    assert "people.User" in begin["columns"]
    assert "sessions.Session" not in begin["columns"]


def test_the_commands_are_those_of_the_guide() -> None:
    guide = (ROOT / "docs" / "running.md").read_text(encoding="utf-8")

    assert "manage.py backup" in guide
    assert "manage.py restore" in guide
