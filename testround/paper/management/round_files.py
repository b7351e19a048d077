"""What the commands that take a round file share: reading it, and saying what is wrong with it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from django.core.management.base import BaseCommand, CommandError

from testround.kernel.problems import InputProblems

if TYPE_CHECKING:
    from testround.kernel.round import Round

# The exit code for an input that is not what it should be.
BAD_INPUT = 2


class RoundFileCommand(BaseCommand):
    """A command on a round file. It needs no database, and starts without looking for one."""

    requires_system_checks: tuple[str, ...] = ()

    def bytes_of(self, file: str) -> bytes:
        """What the file holds, or standard input where it is ``-``."""
        from testround.kernel.roundfile import MOST_BYTES

        try:
            if file == "-":
                return sys.stdin.buffer.read(MOST_BYTES + 1)
            path = Path(file)
            if path.stat().st_size > MOST_BYTES:
                raise CommandError(
                    f"{file} has {path.stat().st_size / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are taken.",
                    returncode=BAD_INPUT,
                )
            return path.read_bytes()
        except OSError as error:
            raise CommandError(f"{file} cannot be read: {error.strerror}.", returncode=BAD_INPUT) from error

    def round_of(self, file: str) -> Round:
        """The round in the file; when it is not valid, every problem goes to standard error and we stop."""
        from testround.kernel.roundfile import read_round

        try:
            return read_round(self.bytes_of(file))
        except InputProblems as refused:
            raise self.refusal(file, refused) from None

    def refusal(self, file: str, refused: InputProblems) -> SystemExit:
        """Say every problem on standard error; the exit to raise afterwards."""
        count = len(refused.problems)
        name = "standard input" if file == "-" else file
        self.stderr.write(f"{name} is not a valid round file; {count} problem{'s' if count != 1 else ''}:")
        for problem in refused.problems:
            self.stderr.write(str(problem))
        return SystemExit(BAD_INPUT)

    def write_file(self, path: str, data: bytes) -> None:
        try:
            Path(path).write_bytes(data)
        except OSError as error:
            raise CommandError(f"{path} cannot be written: {error.strerror}.") from error
