"""PouchDB replicating the same documents: a server and a client in node, both over leveldb, with its own defaults.

npm installs it into a cache folder beside the temporary files, once. Without npm the benchmark fails and says so. Times
are taken inside node, around the replication alone, over plain HTTP, which favours it.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import Any

SCRIPTS = Path(__file__).parent / "pouch"
CACHE = Path(tempfile.gettempdir()) / "bonedocket-benchmark-pouch"


class NoPouch(RuntimeError):
    """The comparison cannot be made here."""


def installed() -> Path:
    """The folder with PouchDB in it. Raises NoPouch."""
    if shutil.which("npm") is None or shutil.which("node") is None:
        raise NoPouch("The comparison with PouchDB needs node and npm: install them, or the benchmark says nothing.")
    CACHE.mkdir(exist_ok=True)
    for script in SCRIPTS.iterdir():
        shutil.copy(script, CACHE)
    told = subprocess.run(
        ["npm", "install", "--no-audit", "--no-fund", "--loglevel=error"],
        cwd=CACHE, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if told.returncode:
        raise NoPouch(f"npm could not install PouchDB: {told.stderr.strip()[-500:]}")
    return CACHE


class Pouch:
    """A server and a client with `documents`; ended by `close`."""

    def __init__(self, folder: Path, documents: list[dict[str, Any]]) -> None:
        home = installed()
        (folder / "server").mkdir(parents=True)
        (folder / "client").mkdir()
        self._server = _node(home / "server.js", folder / "server")
        self._client = _node(home / "client.js", folder / "client")
        assert self._server.stdout is not None
        self.port = int(self._server.stdout.readline())
        (folder / "documents.json").write_text(json.dumps([{"_id": one["id"], **one} for one in documents]))
        self._ask(do="load", file=str(folder / "documents.json"))

    def push(self, port: int | None = None) -> float:
        """Seconds of one replication to the server."""
        return float(self._ask(do="push", url=self._url(port))["ms"]) / 1000

    def edit(self, count: int) -> None:
        self._ask(do="edit", count=count)

    def pull(self, name: str, port: int | None = None) -> float:
        """Seconds of one replication of everything into a new database."""
        return float(self._ask(do="pull", url=self._url(port), name=name)["ms"]) / 1000

    def _url(self, port: int | None) -> str:
        return f"http://127.0.0.1:{port or self.port}/site"

    def _ask(self, **asked: Any) -> dict[str, Any]:
        assert self._client.stdin is not None
        assert self._client.stdout is not None
        self._client.stdin.write(json.dumps(asked) + "\n")
        self._client.stdin.flush()
        answer: dict[str, Any] = json.loads(self._client.stdout.readline() or '{"fault": "it ended"}')
        if "fault" in answer:
            raise NoPouch(f"PouchDB's client stopped: {answer['fault']}")
        return answer

    def close(self) -> None:
        for process in (self._client, self._server):
            process.kill()
            process.wait()


def _node(script: Path, folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        ["node", str(script), str(folder)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, cwd=script.parent,
    )  # fmt: skip
