"""Where whole photographs lie: a folder, or any store that fsspec has a URL for (S3 and the like).

A file has a name and never changes under it: it is whole or not there. Not here: what the names mean.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol, TypeVar

from fieldapp.durable import sync_folder
from server.errors import PhotoStoreAway

T = TypeVar("T")

WHOLE_OR_NOTHING = {"s3", "s3a", "gs", "gcs", "abfs", "az", "memory"}
"""Protocols of stores that show a new object only when all of it has come."""

OPTIONS: dict[str, dict[str, Any]] = {
    "s3": {
        "config_kwargs": {"connect_timeout": 5, "read_timeout": 20, "retries": {"max_attempts": 1}},
        # What another program put there is asked for, not remembered.
        "use_listings_cache": False,
    }
}
"""{protocol: how it is opened}: a store that is away is told in seconds. Keys and addresses: the environment."""


class Store(Protocol):
    """Raises PhotoStoreAway where it does not answer, or has no room."""

    def put(self, name: str, data: bytes) -> None:
        """Keeps a file; on the medium on return."""

    def get(self, name: str) -> bytes | None:
        """The file, None where there is none."""

    def drop(self, name: str) -> None:
        """Takes a file away, if it is there."""


def open_store(where: str) -> Store:
    """The store at a folder or URL. Nothing is asked of it yet."""
    return RemoteStore(where) if "://" in where else FolderStore(Path(where))


def store_of(where: str, code: str) -> Store:
    """The store of one site. By URL it may be several sites': what one of them seals, another cannot open."""
    return open_store(f"{where.rstrip('/')}/{code}" if "://" in where else where)


class FolderStore:
    """A folder, with a folder inside for the first two characters of the names."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def put(self, name: str, data: bytes) -> None:
        path = self._path(name)
        with _told():
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            write_new(path, data)

    def get(self, name: str) -> bytes | None:
        with _told():
            try:
                return self._path(name).read_bytes()
            except FileNotFoundError:
                return None

    def drop(self, name: str) -> None:
        with _told():
            self._path(name).unlink(missing_ok=True)

    def _path(self, name: str) -> Path:
        return self.folder / name[:2] / name


class RemoteStore:
    """A store by URL. What it needs (s3fs for S3) is loaded when it is first asked."""

    def __init__(self, url: str) -> None:
        self.url = url
        self._protocol = url.partition("://")[0]
        self._opened: tuple[Any, str] | None = None

    def put(self, name: str, data: bytes) -> None:
        def put(system: Any, path: str) -> None:
            if self._protocol in WHOLE_OR_NOTHING:
                system.pipe_file(path, data)
                return
            system.makedirs(path.rpartition("/")[0], exist_ok=True)
            beside = f"{path}.{secrets.token_hex(4)}.new"
            system.pipe_file(beside, data)
            system.mv(beside, path)

        self._asked(name, put)

    def get(self, name: str) -> bytes | None:
        def get(system: Any, path: str) -> bytes | None:
            try:
                return bytes(system.cat_file(path))
            except FileNotFoundError:
                return None

        return self._asked(name, get)

    def drop(self, name: str) -> None:
        def drop(system: Any, path: str) -> None:
            try:
                system.rm_file(path)
            except FileNotFoundError:
                pass  # which is what was asked for

        self._asked(name, drop)

    def _asked(self, name: str, ask: Callable[[Any, str], T]) -> T:
        try:
            if self._opened is None:
                from fsspec.core import url_to_fs

                self._opened = url_to_fs(self.url, **OPTIONS.get(self._protocol, {}))
            system, root = self._opened
            return ask(system, f"{root.rstrip('/')}/{name[:2]}/{name}")
        except Exception as error:
            # Each kind of store has errors of its own, and all of them mean this.
            raise PhotoStoreAway(cause=_short(error)) from error


@contextmanager
def _told() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise PhotoStoreAway(cause=_short(error)) from error


def _short(error: BaseException) -> str:
    return (str(error) or type(error).__name__)[:200]


def write_new(path: Path, data: bytes) -> None:
    """Makes `path` hold `data`: all of it, or what was there before."""
    beside = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
    except BaseException:
        beside.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)
