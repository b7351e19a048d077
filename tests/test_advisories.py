"""Known faults of locked packages, compared without a network with what was fetched where there was one."""

from __future__ import annotations

import datetime as dt
import importlib.util
import json
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent


def _loaded() -> Any:
    spec = importlib.util.spec_from_file_location("advisories", ROOT / ".ci" / "advisories.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


advisories = _loaded()

# Shortened from vulns/pillow/PYSEC-2023-227.yaml of github.com/pypa/advisory-database (CC BY 4.0), as of commit
# c107f7c22e32dd81092c7f6b2be9500cab132c1f.
PILLOW = {
    "id": "PYSEC-2023-227",
    "aliases": ["CVE-2023-44271"],
    "details": "An issue was discovered in Pillow before 10.0.0. It is a Denial of Service",
    "affected": [
        {
            "package": {"ecosystem": "PyPI", "name": "pillow", "purl": "pkg:pypi/pillow"},
            "ranges": [
                {"type": "GIT", "events": [{"introduced": "0"}, {"fixed": "1fe1bb49c452"}]},
                {"type": "ECOSYSTEM", "events": [{"introduced": "0"}, {"fixed": "10.0.0"}]},
            ],
            "versions": ["9.4.0", "9.5.0"],
        }
    ],
}
SAID = (
    "pillow 9.5.0: PYSEC-2023-227 (CVE-2023-44271) An issue was discovered in Pillow before 10.0.0. "
    "It is a Denial of Service"
)


def test_no_locked_package_has_a_known_fault_that_is_not_accepted() -> None:
    accepted = advisories.accepted_on(dt.date.today())

    assert advisories.affected(advisories.locked(), advisories.kept(), accepted) == []


def test_every_locked_package_comes_from_the_index_by_its_hash() -> None:
    packages = tomllib.loads((ROOT / "uv.lock").read_text(encoding="utf-8"))["package"]
    others = {
        package["name"]
        for package in packages
        if package["source"] != {"registry": "https://pypi.org/simple"}
    }
    bare = {
        package["name"]
        for package in packages
        if package["name"] not in others
        for file in [*package.get("wheels", []), *([package["sdist"]] if "sdist" in package else [])]
        if not file["hash"].startswith("sha256:")
        or not file["url"].startswith("https://files.pythonhosted.org/")
    }

    assert others == {"testround"}
    assert bare == set()
    assert len(advisories.locked()) == len(packages) - 1


def test_a_version_before_the_mended_one_is_affected_and_that_one_is_not() -> None:
    known = list(advisories.advisories_in(PILLOW, "pillow"))
    versions = ("9.5.0", "10.0.0rc1", "10.0.0", "13.0.0")

    found = {version: advisories.affected([("Pillow", version)], known, set()) for version in versions}

    assert {version for version, lines in found.items() if lines} == {"9.5.0", "10.0.0rc1"}
    assert advisories.affected([("pillow", "9.5.0")], known, set()) == [SAID]
    assert advisories.affected([("pillow-heif", "0.1")], known, set()) == []


def test_a_fault_that_came_and_went_and_came_again_is_known_by_its_ranges() -> None:
    ways = [{"introduced": "1.0"}, {"fixed": "1.2"}, {"introduced": "2.0"}]
    document = {
        "id": "X-1",
        "affected": [
            {
                "package": {"ecosystem": "PyPI", "name": "wool"},
                "ranges": [{"type": "ECOSYSTEM", "events": ways}],
            },
            {"package": {"ecosystem": "npm", "name": "wool"}, "versions": ["0.1"]},
        ],
    }
    (known,) = advisories.advisories_in(document, "wool")

    assert [known.concerns("wool", one) for one in ("0.1", "0.9", "1.0", "1.2", "2.0", "3")] == [
        False, False, True, False, True, True,
    ]  # fmt: skip
    assert list(advisories.advisories_in({**document, "withdrawn": "2026-01-01T00:00:00Z"}, "wool")) == []


@pytest.mark.parametrize(("until", "lived_with"), [("2026-12-31", True), ("2026-12-01", False)])
def test_a_fault_is_lived_with_for_a_reason_and_until_its_day(
    tmp_path: Path, until: str, lived_with: bool
) -> None:
    file = tmp_path / "accepted.json"
    entry = {"package": "Pillow", "reason": "No font comes from outside.", "until": until}
    file.write_text(json.dumps({"PYSEC-2023-227": entry}), encoding="utf-8")

    accepted = advisories.accepted_on(dt.date(2026, 12, 24), file)

    known = list(advisories.advisories_in(PILLOW, "pillow"))
    assert advisories.affected([("pillow", "9.5.0")], known, accepted) == ([] if lived_with else [SAID])


def test_a_clone_of_the_advisory_database_is_read(tmp_path: Path) -> None:
    folder = tmp_path / "vulns" / "pillow"
    folder.mkdir(parents=True)
    (folder / "PYSEC-2023-227.yaml").write_text(json.dumps(PILLOW), encoding="utf-8")

    (known,) = advisories.from_clone(tmp_path, "pillow")

    assert (known.id, known.ranges) == ("PYSEC-2023-227", [["0", "10.0.0"]])
    assert list(advisories.from_clone(tmp_path, "django")) == []


def test_what_is_kept_says_when_and_where_it_was_fetched() -> None:
    document = json.loads((ROOT / ".ci" / "advisories.json").read_text(encoding="utf-8"))

    assert set(document) == {"fetched", "source", "asked", "advisories"}
    assert dt.date.fromisoformat(document["fetched"]) <= dt.date.today()
    assert document["source"]


def test_it_says_which_locked_versions_nobody_has_asked_about() -> None:
    packages = [("Wool", "2.0"), ("felt", "1.1"), ("moss", "3.0")]

    assert advisories.unasked(packages, {"wool": "2.0", "felt": "1.0"}) == ["felt 1.1", "moss 3.0"]


def test_the_index_tells_of_one_version_and_what_is_withdrawn_is_none() -> None:
    """The members are those of the index's JSON API, https://docs.pypi.org/api/json/."""
    fault = {
        "id": "PYSEC-2023-227",
        "aliases": ["CVE-2023-44271"],
        "summary": None,
        "details": "A long text\nmakes it slow.",
        "withdrawn": None,
    }
    document = {
        "info": {"version": "9.5.0"},
        "vulnerabilities": [fault, {**fault, "id": "PYSEC-2022-1", "withdrawn": "2023-01-01T00:00:00Z"}],
    }

    (known,) = advisories.advisories_of_index(document, "pillow")

    assert (known.id, known.summary) == ("PYSEC-2023-227", "A long text makes it slow.")
    assert known.concerns("pillow", "9.5.0")
    assert not known.concerns("pillow", "9.5.1")
