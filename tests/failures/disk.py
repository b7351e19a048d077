"""A small disk that tests may fill; where nothing can be mounted, processes that may write no large file."""

from __future__ import annotations

import contextlib
import os
import resource
import subprocess
from collections.abc import Iterator
from pathlib import Path

import psutil

SIZE = "64m"
# Of a single file, where there is no disk to fill: more than logs and mails have, less than the photo that is sent.
LONGEST_FILE = 1_000_000


class Disk:
    """A file system in memory at a folder. It may be full for a while, for everybody who writes there."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        mount = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(folder)]
        self.is_mounted = (
            os.geteuid() == 0 and subprocess.run(mount, capture_output=True, check=False).returncode == 0
        )

    @contextlib.contextmanager
    def full(self, *processes: int) -> Iterator[None]:
        """Full for everybody; where nothing is mounted, for these processes and those that they started."""
        if self.is_mounted:
            with self._filled():
                yield
            return
        family = [psutil.Process(pid) for pid in processes]
        family += [child for process in list(family) for child in process.children(recursive=True)]
        before = [(process, process.rlimit(resource.RLIMIT_FSIZE)) for process in family]
        for process, (_, most) in before:
            process.rlimit(resource.RLIMIT_FSIZE, (LONGEST_FILE, most))
        try:
            yield
        finally:
            for process, limits in before:
                with contextlib.suppress(psutil.NoSuchProcess):
                    process.rlimit(resource.RLIMIT_FSIZE, limits)

    @contextlib.contextmanager
    def _filled(self) -> Iterator[None]:
        filler = self.folder / "filler"
        try:
            with filler.open("wb", buffering=0) as file, contextlib.suppress(OSError):
                while True:
                    file.write(bytes(4096))
            yield
        finally:
            filler.unlink()

    def close(self) -> None:
        if self.is_mounted:
            subprocess.run(["umount", "--lazy", str(self.folder)], check=True)
