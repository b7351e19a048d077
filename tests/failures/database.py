"""A PostgreSQL server of the tests' own, which they may stop as they like."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

# Debian keeps the server's own programs off the path.
BINARIES = sorted(Path("/usr/lib/postgresql").glob("*/bin"))


def initdb() -> str | None:
    """Where the program that makes a cluster is; None where there is none."""
    return shutil.which("initdb") or next((str(at / "initdb") for at in reversed(BINARIES)), None)


class Postgres:
    """One cluster in a folder of its own. It does not wait for the disk: what is killed is the server, not the machine."""

    def __init__(self, port: int, *, owner: str = "testround") -> None:
        found = initdb()
        assert found is not None
        self.port, self._binaries = port, Path(found).parent
        # The server refuses to be root's, and whoever it belongs to has to get into its folder.
        self._user = "postgres" if os.geteuid() == 0 else None
        self.folder = Path(tempfile.mkdtemp(prefix="testround-postgres-"))
        if self._user:
            shutil.chown(self.folder, self._user)
        self._run(
            "initdb", f"--username={owner}", "--auth=trust", "--encoding=UTF8", "--no-locale", "--no-sync"
        )

    @property
    def url(self) -> str:
        return f"postgres://testround@127.0.0.1:{self.port}/postgres"

    def start(self) -> None:
        options = f"-p {self.port} -k {self.folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        self._run("pg_ctl", "start", "-w", "-t", "60", "-l", str(self.folder / "log"), "-o", options)

    def stop(self, how: str) -> None:
        """``fast`` rolls back what is under way; ``immediate`` is a crash, mended from the log at the next start."""
        self._run("pg_ctl", "stop", "-w", "-t", "60", "-m", how)

    def close(self) -> None:
        if (self.folder / "data" / "postmaster.pid").exists():
            self.stop("immediate")
        shutil.rmtree(self.folder)

    def _run(self, program: str, *arguments: str) -> None:
        # To a file: the server keeps what it is started with, and a pipe would never end.
        with (self.folder / "said").open("wb") as said:
            done = subprocess.run(
                [str(self._binaries / program), "-D", str(self.folder / "data"), *arguments],
                user=self._user,
                cwd=self.folder,
                stdin=subprocess.DEVNULL,
                stdout=said,
                stderr=said,
            )
        assert done.returncode == 0, (self.folder / "said").read_text(errors="replace")
