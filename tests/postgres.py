"""A PostgreSQL of the tests' own: made in a folder of its own, reached by a socket there, gone with the tests.

Its texts sort as English does, so that a list which forgets to sort by code point is seen. Nothing is synced to the
disk: what it keeps is not worth keeping. Not here: what lies in it.
"""

from __future__ import annotations

import glob
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path
from typing import Any

import psycopg
import pytest

USER = "bonedocket"
_SETTINGS = {
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "listen_addresses": "",
    "max_connections": "60",
    "shared_buffers": "32MB",
    "autovacuum": "off",
}


class Cluster:
    """A server that runs until `stop`."""

    def __init__(self) -> None:
        self.bin = _binaries()
        self.folder = Path(tempfile.mkdtemp(prefix="bdpg"))
        # PostgreSQL refuses to run as root.
        self._as: dict[str, Any] = {}
        if os.geteuid() == 0:
            nobody = pwd.getpwnam("nobody")
            os.chown(self.folder, nobody.pw_uid, nobody.pw_gid)
            self._as = {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}
        words = ["-U", USER, "-A", "trust", "-E", "UTF8", "--locale=C", "--locale-provider=icu", "--icu-locale=en"]
        self._run("initdb", "--no-sync", "-D", str(self.folder / "data"), *words)
        self.start()

    def start(self) -> None:
        settings = [word for name, value in _SETTINGS.items() for word in ("-c", f"{name}={value}")]
        with (self.folder / "log").open("ab") as log:
            self._server = subprocess.Popen(
                [self.bin / "postgres", "-D", self.folder / "data", "-k", self.folder, *settings],
                stdout=subprocess.DEVNULL,
                stderr=log,
                cwd=self.folder,
                **self._as,
            )
        for _ in range(300):
            try:
                psycopg.connect(self.dsn("postgres")).close()
                break
            except psycopg.OperationalError:
                assert self._server.poll() is None, (self.folder / "log").read_text("utf-8")
                time.sleep(0.05)

    def dsn(self, database: str) -> str:
        return f"host={self.folder} user={USER} dbname={database}"

    def url(self, database: str = "postgres") -> str:
        return f"postgresql+psycopg://{USER}@/{database}?host={self.folder}"

    def do(self, statement: str, database: str = "postgres") -> list[Any]:
        with psycopg.connect(self.dsn(database), autocommit=True) as connection:
            found = connection.execute(statement.encode())
            return found.fetchall() if found.description else []

    def drop_connections(self) -> None:
        """Ends everybody's connection, as a database that is started anew does."""
        self.do(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'bonedocket' AND pid <> "
            "pg_backend_pid()"
        )

    def halt(self) -> None:
        """As if the power had gone, but for what the system has."""
        self._server.send_signal(signal.SIGQUIT)
        self._server.wait(30)

    def stop(self) -> None:
        self.halt()
        shutil.rmtree(self.folder, ignore_errors=True)

    def _run(self, program: str, *words: str) -> None:
        done = subprocess.run(
            [self.bin / program, *words], capture_output=True, text=True, cwd=self.folder, check=False, **self._as
        )
        assert done.returncode == 0, done.stdout + done.stderr


def _binaries() -> Path:
    found = shutil.which("initdb")
    if found:
        return Path(found).resolve().parent
    places = sorted(glob.glob("/usr/lib/postgresql/*/bin"), key=lambda one: int(one.split("/")[4].split(".")[0]))
    if not places:
        pytest.fail("PostgreSQL is not installed: these tests run against a real one. Install the package postgresql.")
    return Path(places[-1])
