"""A PostgreSQL server of our own: started, killed, restarted and ended by the tests."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from itertools import count
from pathlib import Path

_NAMES = count(1)
SETTINGS = ("max_connections=120", "shared_buffers=32MB", "autovacuum=off")


def programs() -> Path | None:
    """Return the folder of the server's programs; None where there are none."""
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    on_path = shutil.which("initdb")
    places += [Path(on_path).resolve().parent] if on_path else []
    return next((p for p in places if (p / "pg_ctl").exists()), None)


class Server:
    """One cluster in a new folder, reached by a unix socket and a free TCP port."""

    def __init__(self, *more: str, place: Path | None = None) -> None:
        folder = programs()
        assert folder is not None
        self.bin = folder
        self.home = Path(tempfile.mkdtemp(prefix="rrpg", dir=place))
        self.home.chmod(0o755)
        self.data = self.home / "data"
        self.settings = (*SETTINGS, *more)
        self.port = _free_port()
        if os.getuid() == 0:  # initdb refuses root
            shutil.chown(self.home, "postgres", "postgres")
        options = ("-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N")
        self._run("initdb", "-D", self.data, *options)

    def _run(self, program: str, *words: object, check: bool = True) -> int:
        command = [str(self.bin / program), *(str(w) for w in words)]
        if os.getuid() == 0:
            command = ["runuser", "-u", "postgres", "--", *command]
        with open(self.home / "said", "a") as said:
            done = subprocess.run(
                command, cwd=self.home, stdout=said, stderr=said, timeout=120, check=False
            )
        if check and done.returncode:
            raise RuntimeError((self.home / "said").read_text()[-2000:])
        return done.returncode

    def start(self) -> None:
        """Start it, and wait until it answers; after a kill its old children go first."""
        options = f"-k {self.home} -p {self.port} " + " ".join(f"-c {s}" for s in self.settings)
        words = ("-D", self.data, "-w", "-t", "60", "-l", self.home / "log", "-o", options, "start")
        until = time.monotonic() + 60
        while self._run("pg_ctl", *words, check=False):
            if time.monotonic() > until:
                raise RuntimeError((self.home / "log").read_text()[-2000:])
            time.sleep(0.2)

    def kill(self) -> None:
        """Kill its first process with -9."""
        os.kill(int((self.data / "postmaster.pid").read_text().split()[0]), signal.SIGKILL)

    def stop(self) -> None:
        """End it and remove all of it."""
        self._run("pg_ctl", "-D", self.data, "-m", "immediate", "stop", check=False)
        shutil.rmtree(self.home, ignore_errors=True)

    def url(self, database: str, tcp: bool = False) -> str:
        """Return the URL of one of its databases."""
        if tcp:
            return f"postgresql+psycopg://postgres@127.0.0.1:{self.port}/{database}"
        return f"postgresql+psycopg://postgres@/{database}?host={self.home}&port={self.port}"

    def new_schema(self) -> str:
        """Make an empty schema of one database, in milliseconds, and return its URL."""
        import psycopg

        name = f"journal_{next(_NAMES)}"
        where = f"host={self.home} port={self.port} user=postgres dbname=postgres"
        with psycopg.connect(where, autocommit=True) as conn:
            conn.execute(f"CREATE SCHEMA {name}".encode())
        return f"{self.url('postgres')}&options=-csearch_path%3D{name}"

    def new_database(self, options: str = "") -> str:
        """Make an empty database and return its URL."""
        import psycopg

        name = f"journal_{next(_NAMES)}"
        where = f"host={self.home} port={self.port} user=postgres dbname=postgres"
        with psycopg.connect(where, autocommit=True) as conn:
            conn.execute(f"CREATE DATABASE {name} {options}".encode())
        return self.url(name)


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])
