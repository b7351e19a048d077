"""Known faults of the packages in uv.lock: fetched where there is a network, compared where there is none.

    uv run python .ci/advisories.py refresh               # asks osv.dev for each locked package
    uv run python .ci/advisories.py refresh --from DIR    # reads a clone of github.com/pypa/advisory-database
    uv run python .ci/advisories.py refresh --from-index  # asks the package index, which tells of one version each
    uv run python .ci/advisories.py check                 # compares; exit 1 when a locked version has a known fault

What was fetched is kept in advisories.json with the day, the source and the versions that were asked about. accepted.json names the faults that are lived
with: {"PYSEC-…": {"package": …, "reason": …, "until": "YYYY-MM-DD"}}.

References
----------
Open Source Vulnerability format, version 1.6: https://ossf.github.io/osv-schema/
JSON API of the Python Package Index, "Known vulnerabilities": https://docs.pypi.org/api/json/
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import sys
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from packaging.utils import canonicalize_name
from packaging.version import InvalidVersion, Version

HERE = Path(__file__).parent
LOCK = HERE.parent / "uv.lock"
KEPT = HERE / "advisories.json"
ACCEPTED = HERE / "accepted.json"
OSV = "https://api.osv.dev/v1/query"
INDEX = "https://pypi.org/pypi"
SECONDS = 30


@dataclass(frozen=True)
class Advisory:
    """One known fault of one package: by ranges of versions, [introduced, fixed), and by versions that are named."""

    id: str
    package: str
    ranges: list[list[str | None]] = field(default_factory=list)
    versions: list[str] = field(default_factory=list)
    aliases: list[str] = field(default_factory=list)
    summary: str = ""

    def concerns(self, package: str, version: str) -> bool:
        if canonicalize_name(package) != canonicalize_name(self.package):
            return False
        return version in self.versions or any(_within(version, start, end) for start, end in self.ranges)


def _within(version: str, introduced: str | None, fixed: str | None) -> bool:
    try:
        this = Version(version)
        begins = introduced in (None, "0") or this >= Version(str(introduced))
        return begins and (fixed is None or this < Version(fixed))
    except InvalidVersion:
        # What cannot be compared is looked at by a person.
        return True


def locked(lock: Path = LOCK) -> list[tuple[str, str]]:
    """Name and version of every package of the lock but the project itself."""
    packages = tomllib.loads(lock.read_text(encoding="utf-8"))["package"]
    return sorted(
        (package["name"], package["version"]) for package in packages if "registry" in package["source"]
    )


def kept(path: Path = KEPT) -> list[Advisory]:
    return [Advisory(**entry) for entry in json.loads(path.read_text(encoding="utf-8"))["advisories"]]


def accepted_on(day: dt.date, path: Path = ACCEPTED) -> set[tuple[str, str]]:
    """(advisory, package) of each fault that is lived with on that day."""
    entries = json.loads(path.read_text(encoding="utf-8"))
    return {
        (name, canonicalize_name(entry["package"]))
        for name, entry in entries.items()
        if entry["reason"].strip() and day <= dt.date.fromisoformat(entry["until"])
    }


def affected(
    packages: Iterable[tuple[str, str]], advisories: Iterable[Advisory], accepted: set[tuple[str, str]]
) -> list[str]:
    """A line for each locked version that has a known fault nobody has accepted."""
    known = list(advisories)
    return [
        f"{name} {version}: {one.id} ({', '.join(one.aliases) or 'no alias'}) {one.summary}".strip()
        for name, version in packages
        for one in known
        if one.concerns(name, version) and (one.id, canonicalize_name(name)) not in accepted
    ]


# Fetching -------------------------------------------------------------------------------------------------


def advisories_in(document: dict[str, Any], package: str) -> Iterator[Advisory]:
    """What a document in the OSV format says of a package."""
    if document.get("withdrawn"):
        return
    for part in document.get("affected", []):
        about = part.get("package", {})
        if about.get("ecosystem") != "PyPI" or canonicalize_name(about.get("name", "")) != package:
            continue
        ranges = []
        for one in part.get("ranges", []):
            if one["type"] != "ECOSYSTEM":
                continue
            start: str | None = None
            for event in one["events"]:
                if "introduced" in event:
                    start = str(event["introduced"])
                elif "fixed" in event:
                    ranges.append([start, str(event["fixed"])])
                    start = None
            if start is not None:
                ranges.append([start, None])
        versions = [] if ranges else [str(version) for version in part.get("versions", [])]
        summary = " ".join((document.get("summary") or document.get("details") or "").split())[:160]
        yield Advisory(document["id"], package, ranges, versions, document.get("aliases", []), summary)


def from_osv(package: str) -> Iterator[Advisory]:
    import httpx

    token = None
    while True:
        query: dict[str, Any] = {"package": {"name": package, "ecosystem": "PyPI"}}
        if token:
            query["page_token"] = token
        answer = httpx.post(OSV, json=query, timeout=SECONDS).raise_for_status().json()
        for document in answer.get("vulns", []):
            yield from advisories_in(document, package)
        token = answer.get("next_page_token")
        if not token:
            return


def from_clone(folder: Path, package: str) -> Iterator[Advisory]:
    import yaml

    for path in sorted((folder / "vulns" / package).glob("*.yaml")):
        yield from advisories_in(yaml.safe_load(path.read_text(encoding="utf-8")), package)


def from_index(package: str, version: str) -> list[Advisory] | None:
    """What the package index says of one version; None where it says nothing of that one.

    A mirror may have the document of the newest version alone.
    """
    import httpx

    for address in (f"{INDEX}/{package}/{version}/json", f"{INDEX}/{package}/json"):
        answer = httpx.get(address, timeout=SECONDS, follow_redirects=True)
        if answer.status_code != httpx.codes.NOT_FOUND:
            document = answer.raise_for_status().json()
            if document["info"]["version"] == version:
                return advisories_of_index(document, package)
    return None


def advisories_of_index(document: dict[str, Any], package: str) -> list[Advisory]:
    """The faults that a document of the index tells of the version it is about."""
    return [
        Advisory(
            one["id"],
            package,
            versions=[document["info"]["version"]],
            aliases=one.get("aliases", []),
            summary=" ".join((one.get("summary") or one.get("details") or "").split())[:160],
        )
        for one in document.get("vulnerabilities", [])
        if not one.get("withdrawn")
    ]


def refresh(clone: Path | None, *, index: bool) -> None:
    found: list[Advisory] = []
    asked: dict[str, str] = {}
    for name, version in locked():
        package = canonicalize_name(name)
        told = (
            from_index(package, version)
            if index
            else list(from_clone(clone, package) if clone else from_osv(package))
        )
        if told is not None:
            asked[package] = version
            found += told
    document = {
        "fetched": f"{dt.date.today():%Y-%m-%d}",
        "source": "pypi.org" if index else "github.com/pypa/advisory-database" if clone else "osv.dev",
        "asked": asked,
        "advisories": [asdict(one) for one in found],
    }
    KEPT.write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    sys.stdout.write(f"{len(found)} advisories of the locked packages are kept in {KEPT.name}.\n")


def unasked(packages: Iterable[tuple[str, str]], asked: dict[str, str]) -> list[str]:
    """Each locked version that nobody has asked about: of it no fault is known because none was looked for."""
    return [
        f"{name} {version}" for name, version in packages if asked.get(canonicalize_name(name)) != version
    ]


def check() -> int:
    document = json.loads(KEPT.read_text(encoding="utf-8"))
    day = document["fetched"]
    found = affected(locked(), kept(), accepted_on(dt.date.today()))
    sys.stdout.write("".join(f"{line}\n" for line in found))
    if day is None:
        sys.stdout.write(
            "Known faults have never been fetched: run .ci/advisories.py refresh where there is a network.\n"
        )
    else:
        sys.stdout.write(f"{len(found)} of the locked versions have a fault that was known on {day}.\n")
        if never := unasked(locked(), document["asked"]):
            sys.stdout.write(f"Not asked about: {', '.join(never)}.\n")
    return 1 if found else 0


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    commands = parser.add_subparsers(dest="command", required=True)
    fetching = commands.add_parser("refresh").add_mutually_exclusive_group()
    fetching.add_argument("--from", dest="clone", type=Path)
    fetching.add_argument("--from-index", dest="index", action="store_true")
    commands.add_parser("check")
    said = parser.parse_args()
    if said.command == "check":
        return check()
    refresh(said.clone, index=said.index)
    return check()


if __name__ == "__main__":
    sys.exit(main())
