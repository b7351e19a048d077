"""How long the command takes to start, as a multiple of Django's own ``django-admin`` in the same run.

Whole processes, by processor time, with everything compiled before. ``uv run pytest tests/benchmarks
--benchmark-enable`` measures; the default suite runs each once and checks what comes out of it.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
from pathlib import Path

import pytest

from tests.contract.documents import EXAMPLE_FILE

ROOT = Path(__file__).parents[2]
DJANGO = [sys.executable, "-m", "django", "version"]
ANALYSE = [sys.executable, "manage.py", "analyse"]
LIBRARIES = "import numpy, scipy.special, pydantic, django; django.setup()"

MOST_TIMES_DJANGO = 1.5
"""Bound on the start of the command, by its help, over a bare ``django-admin version``."""
MOST_TIMES_LIBRARIES = 3.0
"""Bound on analysing a small round over loading NumPy, SciPy's special functions, Pydantic and Django."""


@pytest.fixture(scope="module")
def compiled(tmp_path_factory):
    """An environment in which what is compiled is kept."""
    kept = {
        name: value
        for name, value in os.environ.items()
        if name not in ("PYTHONDONTWRITEBYTECODE", "DJANGO_SETTINGS_MODULE", "DATABASE_URL", "REDIS_URL")
    }
    return {
        **kept,
        "OPENBLAS_NUM_THREADS": "1",
        "PYTHONPYCACHEPREFIX": str(tmp_path_factory.mktemp("compiled")),
    }


def processor_time(command: list[str], environment: dict[str, str], times: int) -> float:
    """Of the whole process, the median of several, in seconds; one more before them to compile."""
    taken = []
    for _ in range(times + 1):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        taken.append(after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime)
    return statistics.median(taken[1:])


def test_help_is_there_about_as_soon_as_djangos_own(benchmark, compiled):
    times, allowed = (7, 1.0) if benchmark.enabled else (1, 3.0)

    bare = processor_time(DJANGO, compiled, times)
    helped = processor_time([*ANALYSE, "--help"], compiled, times)
    benchmark.extra_info["times django-admin version"] = round(helped / bare, 2)
    benchmark.pedantic(processor_time, ([*ANALYSE, "--help"], compiled, 1), rounds=1)

    assert helped / bare < MOST_TIMES_DJANGO * allowed


def test_a_small_round_is_analysed_in_little_more_than_its_libraries_take_to_load(benchmark, compiled):
    times, allowed = (7, 1.0) if benchmark.enabled else (1, 3.0)
    alone = {**compiled, "DJANGO_SETTINGS_MODULE": "testround.paper.alone"}

    bare = processor_time(DJANGO, compiled, times)
    libraries = processor_time([sys.executable, "-c", LIBRARIES], alone, times)
    analysed = processor_time([*ANALYSE, str(EXAMPLE_FILE), "--json"], compiled, times)
    benchmark.extra_info |= {
        "times its libraries": round(analysed / libraries, 2),
        "times django without settings": round(analysed / bare, 1),
    }
    benchmark.pedantic(processor_time, ([*ANALYSE, str(EXAMPLE_FILE)], compiled, 1), rounds=1)

    assert analysed / libraries < MOST_TIMES_LIBRARIES * allowed
