"""The floor of the sync benchmark: documents sent and kept with nothing but plain parts, and nothing merged.

    python -m tests.benchmarks.sync_floor FOLDER [--certificate FILE --key FILE]

Server: Flask behind the WSGI server that the cabin uses, one table in SQLite (WAL, synchronous FULL), one executemany
and one commit a POST; it prints its port. Client (`push`, `pull`): standard json, gzip at 6, 500 documents a POST,
1,000 a page, over requests with its connection kept open. With a certificate it speaks TLS as the cabin does. Not a way
to keep records: the last writer wins.
"""

from __future__ import annotations

import argparse
import gzip
import json
import sqlite3
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import requests
from cheroot.ssl.builtin import BuiltinSSLAdapter
from cheroot.wsgi import Server
from flask import Flask, Response, request

BATCH, PAGE = 500, 1000


class Table:
    """Documents by id, numbered in the order in which they came; one writing connection."""

    def __init__(self, path: Path) -> None:
        self.lock = threading.Lock()
        self.connection = sqlite3.connect(path, check_same_thread=False)
        for pragma in ("journal_mode=WAL", "synchronous=FULL"):
            self.connection.execute(f"PRAGMA {pragma}")
        self.connection.execute("CREATE TABLE IF NOT EXISTS doc (seq INTEGER PRIMARY KEY, id TEXT UNIQUE, body TEXT)")

    def put(self, documents: Sequence[dict[str, Any]]) -> int:
        rows = [(one["id"], json.dumps(one, separators=(",", ":"))) for one in documents]
        with self.lock, self.connection:
            self.connection.executemany("INSERT OR REPLACE INTO doc (id, body) VALUES (?, ?)", rows)
        return len(rows)

    def since(self, seq: int, limit: int) -> list[tuple[int, str]]:
        with self.lock:
            return self.connection.execute(
                "SELECT seq, body FROM doc WHERE seq > ? ORDER BY seq LIMIT ?", (seq, limit)
            ).fetchall()


def application(table: Table) -> Flask:
    app = Flask(__name__)

    @app.post("/docs")
    def put() -> dict[str, int]:
        return {"taken": table.put(json.loads(gzip.decompress(request.get_data())))}

    @app.get("/docs")
    def get() -> Response:
        rows = table.since(int(request.args["since"]), PAGE)
        page = {"docs": [json.loads(body) for _, body in rows], "cursor": rows[-1][0] if rows else None}
        packed = gzip.compress(json.dumps(page, separators=(",", ":")).encode(), 6)
        return Response(packed, headers={"Content-Encoding": "gzip"}, mimetype="application/json")

    return app


def push(session: requests.Session, address: str, documents: Sequence[dict[str, Any]]) -> None:
    """Sends `documents`; every batch is on the server's disk when it is answered."""
    for start in range(0, len(documents), BATCH):
        body = gzip.compress(json.dumps(documents[start : start + BATCH], separators=(",", ":")).encode(), 6)
        answer = session.post(f"{address}/docs", data=body, timeout=60)
        answer.raise_for_status()
        if answer.json()["taken"] != len(documents[start : start + BATCH]):
            raise RuntimeError("the floor's server did not take a batch")


def pull(session: requests.Session, address: str, into: Table) -> int:
    """Fetches everything into `into`, each page on the disk before the next is asked for; how many there were."""
    cursor, found = 0, 0
    while True:
        page = session.get(f"{address}/docs", params={"since": cursor}, timeout=60).json()
        if page["cursor"] is None:
            return found
        found += into.put(page["docs"])
        cursor = page["cursor"]


def session() -> requests.Session:
    """A connection that trusts what it meets, as a benchmark on one machine may."""
    made = requests.Session()
    made.trust_env = False
    made.verify = False
    return made


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("folder", type=Path)
    options.add_argument("--certificate")
    options.add_argument("--key")
    given = options.parse_args()
    server = Server(("127.0.0.1", 0), application(Table(given.folder / "floor.sqlite")), numthreads=8, timeout=20)
    if given.certificate:
        server.ssl_adapter = BuiltinSSLAdapter(given.certificate, given.key)
    server.prepare()
    print(server.bind_addr[1], flush=True)
    server.serve()


if __name__ == "__main__":
    main()
