"""Where photographs lie: a folder, any store with a URL, and S3 as moto plays it on this machine.

moto (https://docs.getmoto.org) stands in for S3: no network, nothing of a provider's own behaviour beyond it is shown.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from server.config import Config
from server.errors import PhotoStoreAway
from server.photos.store import FolderStore, RemoteStore, Store, open_store

NAME = "ab" * 32


@pytest.fixture(scope="module")
def s3() -> Iterator[str]:
    """The address of an S3 with a bucket, and the environment that leads to it."""
    import boto3
    from moto.server import ThreadedMotoServer

    server = ThreadedMotoServer("127.0.0.1", 0, verbose=False)
    server.start()
    host, port = server.get_host_and_port()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("AWS_ACCESS_KEY_ID", "testing")
        patch.setenv("AWS_SECRET_ACCESS_KEY", "testing")
        patch.setenv("AWS_DEFAULT_REGION", "us-east-1")
        patch.setenv("AWS_ENDPOINT_URL_S3", f"http://{host}:{port}")
        boto3.client("s3").create_bucket(Bucket="invented")
        yield "s3://invented/site"
    server.stop()


@pytest.fixture(params=["folder", "memory", "file", "s3"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Store:
    where = {
        "folder": lambda: str(tmp_path / "photos"),
        "memory": lambda: f"memory://{tmp_path.name}",
        "file": lambda: f"file://{tmp_path / 'remote'}",
        "s3": lambda: f"{request.getfixturevalue('s3')}/{tmp_path.name}",
    }[request.param]()
    return open_store(where)


def test_a_store_gives_back_what_was_put_and_nothing_else(store):
    assert store.get(NAME) is None
    data = os.urandom(100_000)
    store.put(NAME, data)
    store.put(NAME, data)
    assert store.get(NAME) == data
    assert store.get(NAME + ".sealed") is None
    store.drop(NAME)
    store.drop(NAME)
    assert store.get(NAME) is None


def test_a_photograph_lies_in_the_bucket_under_its_own_name(s3):
    import boto3

    open_store(s3).put(NAME, b"picture")
    found = boto3.client("s3").list_objects_v2(Bucket="invented", Prefix="site/ab/")
    assert f"site/ab/{NAME}" in [one["Key"] for one in found["Contents"]]


def test_a_store_that_does_not_answer_is_told_in_words_and_comes_back(s3, monkeypatch):
    with closing(socket.create_server(("127.0.0.1", 0))) as taken:
        port = taken.getsockname()[1]
    import s3fs

    s3fs.S3FileSystem.clear_instance_cache()
    monkeypatch.setenv("AWS_ENDPOINT_URL_S3", f"http://127.0.0.1:{port}")
    away = open_store(s3)
    for ask in (lambda: away.put(NAME, b"x"), lambda: away.get(NAME), lambda: away.drop(NAME)):
        with pytest.raises(PhotoStoreAway, match="does not answer"):
            ask()
    s3fs.S3FileSystem.clear_instance_cache()
    monkeypatch.undo()


def test_a_kind_of_store_that_nobody_knows_is_told_as_away():
    with pytest.raises(PhotoStoreAway):
        open_store("nosuchkind://x/y").put(NAME, b"x")


def test_a_folder_never_shows_a_part_of_a_file(tmp_path, monkeypatch):
    store = FolderStore(tmp_path)
    store.put(NAME, b"before")

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("server.photos.store.os.fsync", full)
    with pytest.raises(PhotoStoreAway, match="No space left"):
        store.put(NAME, b"after, longer")
    assert store.get(NAME) == b"before"
    assert [one.name for one in tmp_path.rglob("*") if one.is_file()] == [NAME]


def test_where_pictures_lie_is_said_by_the_environment_then_by_the_cabins_file(tmp_path, monkeypatch):
    config = Config(tmp_path)
    monkeypatch.delenv("BONEDOCKET_PHOTOS", raising=False)
    assert config.photos == str(tmp_path / "photos")
    (tmp_path / "cabin.toml").write_text('photos = "s3://bucket/prefix"\n')
    assert config.photos == "s3://bucket/prefix"
    monkeypatch.setenv("BONEDOCKET_PHOTOS", "/elsewhere")
    assert config.photos == "/elsewhere"
    assert isinstance(open_store("s3://bucket/prefix"), RemoteStore)


def test_sites_that_share_a_store_lie_apart(config, monkeypatch):
    from server.cabin import Cabin

    monkeypatch.setenv("BONEDOCKET_PHOTOS", "memory://shared/")
    cabin = Cabin(config)
    assert cabin.photos.store.url == "memory://shared/TST26"
    cabin.close()
