"""Every door for untrusted input, tried with what nobody would send: here in short, at length by ``python -m tests.fuzz``."""

from __future__ import annotations

from tests.fuzz import formulas, images, roundfiles, tables
from tests.fuzz.running import Target

TARGETS: dict[str, Target] = {
    target.name: target
    for target in (formulas.TARGET, roundfiles.TARGET, images.TARGET, tables.TABLES, tables.ARCHIVES)
}
