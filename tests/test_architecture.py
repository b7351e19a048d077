"""The plan of the house holds: who may import whom, what the guides name, and nothing missing from the migrations."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

ROOT = Path(__file__).parent.parent

LOAD_KERNEL = """
import importlib, pkgutil, sys, testround.kernel as kernel
for module in pkgutil.walk_packages(kernel.__path__, kernel.__name__ + "."):
    importlib.import_module(module.name)
sys.exit("django" in sys.modules)
"""


def test_the_kernel_loads_without_django() -> None:
    assert subprocess.run([sys.executable, "-c", LOAD_KERNEL], cwd=ROOT).returncode == 0


# A product of this size is one that NumPy would spread over threads if it had any.
COUNT_THREADS = """
import os, testround, numpy
numpy.ones((600, 600)) @ numpy.ones((600, 600))
print(len(os.listdir("/proc/self/task")))
"""


def test_the_small_matrices_of_an_analysis_are_not_spread_over_threads() -> None:
    without = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}

    counted = subprocess.run(
        [sys.executable, "-c", COUNT_THREADS], cwd=ROOT, env=without, capture_output=True, text=True
    )

    assert counted.stdout == "1\n"


def test_the_report_as_text_does_not_wait_for_the_pdf_library() -> None:
    # As a newcomer has it: the services that the suite may be running on make a served installation.
    embedded = {
        name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")
    }

    loaded = subprocess.run(
        [sys.executable, "-X", "importtime", "manage.py", "analyse", "fixtures/quillwork.json"],
        cwd=ROOT,
        env=embedded,
        capture_output=True,
        text=True,
    )

    assert loaded.returncode == 0
    assert "testround.kernel.analysis" in loaded.stderr
    assert "reportlab" not in loaded.stderr


def test_the_import_contracts_hold() -> None:
    checked = subprocess.run(
        [
            sys.executable,
            "-c",
            "from importlinter.cli import lint_imports_command as run; run()",
            "--no-cache",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )

    assert checked.returncode == 0, checked.stdout + checked.stderr


@pytest.mark.django_db
def test_every_model_change_has_its_migration() -> None:
    call_command("makemigrations", "--check", "--dry-run", verbosity=0)


def test_the_developers_guide_has_every_room_of_the_house_and_every_module_of_the_kernel() -> None:
    package = ROOT / "testround"
    rooms = {f"{path.name}/" for path in package.iterdir() if path.is_dir() and path.name != "__pycache__"}
    kernel = package / "kernel"
    modules = {
        path.stem for path in (*kernel.glob("[a-z]*.py"), *(p.parent for p in kernel.glob("*/__init__.py")))
    }
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    plan = guide.split("```")[1]
    table = [line for line in guide.splitlines() if line.startswith("| `")]

    assert set(re.findall(r"^  (\w+/)", plan, re.MULTILINE)) == rooms
    assert sorted(name for row in table for name in re.findall(r"`(\w+)`", row.split("|")[1])) == sorted(
        modules
    )


def test_every_command_is_explained() -> None:
    commands = {path.stem for path in (ROOT / "testround").glob("*/management/commands/[a-z]*.py")}
    guides = [ROOT / "README.md", *(ROOT / "docs").glob("*.md")]
    explained = set(
        re.findall(r"manage\.py (\w+)", "".join(path.read_text(encoding="utf-8") for path in guides))
    )

    assert commands - explained == set()


def test_the_top_level_holds_what_a_newcomer_expects_and_nothing_else() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    top = {line.split("/")[0] for line in tracked.splitlines()}

    assert {name for name in top if not name.startswith(".")} == {
        "CHANGELOG.md",
        "DEVELOPERS.md",
        "Dockerfile",
        "LICENSE",
        "README.md",
        "deploy",
        "docker-compose.yml",
        "docs",
        "fixtures",
        "manage.py",
        "pyproject.toml",
        "templates",
        "testround",
        "tests",
        "uv.lock",
    }
