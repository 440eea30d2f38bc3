"""Photographs from a tablet to the cabin: cut at any byte, resumed, sealed, damaged, cancelled. Everything invented.

SHA-256 is checked against the standard library; that nothing is doubled, against the files in the cabin's folder.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import closing, nullcontext
from pathlib import Path
from typing import Any

import pytest

from fieldapp.domain.ids import hold_id
from fieldapp.records.sealing import unseal_bytes
from fieldapp.store.notebook import Notebook
from fieldapp.store.photos import Photos
from fieldapp.sync.enrol import enrol, enrolled
from fieldapp.sync.errors import ConnectionCut, NotReachable, Refused, TokenWithdrawn
from fieldapp.sync.exchange import exchange
from fieldapp.sync.photos import SMALLEST, START, PhotoReport, send_photos, waiting
from fieldapp.sync.transport import ClientTransport, HttpsTransport
from tests.server.tablets import an_id
from tests.sync.conftest import BY, Site
from tests.sync.test_tls import Relay, address_of


def sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


class Tablet:
    """A notebook, its pictures, and its way to the cabin."""

    def __init__(self, notebook: Notebook, site: Site) -> None:
        self.notebook, self.site = notebook, site
        self.photos = Photos(notebook.folder)
        site.enrolled(notebook)
        self.way = site.way(notebook)

    def take(self, data: bytes, name: str = "photo", **more: Any) -> str:
        """Keeps a picture and writes its record."""
        sha256 = self.photos.keep(data)
        self.notebook.save("photo", an_id(name), {"sha256": sha256, "scale": True, **more}, {}, BY)
        return sha256

    def send(self, way: Any = None, progress: Any = None) -> PhotoReport:
        exchange(self.notebook, self.way)
        return send_photos(self.notebook, self.photos, way or self.way, progress, pause=lambda _: None)

    def waiting(self) -> int:
        return waiting(self.notebook, self.photos, self.way.fingerprint)


@pytest.fixture
def tablet(site: Site, new_notebook: Any) -> Tablet:
    return Tablet(new_notebook("one"), site)


def kept(site: Site) -> dict[str, bytes]:
    """{name: bytes} of every file in the cabin's store."""
    folder = site.config.data / "photos"
    return {path.name: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def unfinished(site: Site) -> list[Path]:
    return [path for path in (site.config.data / "photos-unfinished").rglob("*") if path.is_file()]


class Breaking:
    """A way on which one request breaks: after so many bytes of its body, or (`None`) when its answer is due."""

    def __init__(self, site: Site, way: ClientTransport, at: int | None, request: int = 0) -> None:
        self.site, self.way, self.at, self.left = site, way, at, request
        self.fingerprint = way.fingerprint
        self.sent = 0

    def ask(self, *args: Any, **more: Any) -> dict[str, Any]:
        return self.way.ask(*args, **more)

    def send(self, method: str, path: str, *, data: bytes, query: Any) -> dict[str, Any]:
        self.left -= 1
        if self.left != -1:
            self.sent += len(data)
            return self.way.send(method, path, data=data, query=query)
        if self.at is None:
            self.sent += len(data)
            self.way.send(method, path, data=data, query=query)
            raise ConnectionCut(address="test", cause="answer lost")
        inner, allowed = self.site.app.wsgi_app, self.at

        class Stream:
            """Gives so many bytes, in small reads as a socket does, and breaks."""

            def __init__(self, source: Any) -> None:
                self.source, self.left = source, allowed

            def read(self, size: int = -1) -> bytes:
                if self.left <= 0:
                    raise ConnectionResetError("cut")
                got: bytes = self.source.read(min(self.left, 7 if size < 0 else min(size, 7)))
                self.left -= len(got)
                return got

            readline = readlines = __iter__ = None

        def broken(environ: Any, start: Any) -> Any:
            environ["wsgi.input"] = Stream(environ["wsgi.input"])
            return inner(environ, start)

        self.site.app.wsgi_app = broken  # type: ignore[method-assign]
        try:
            self.way.send(method, path, data=data, query=query)
        except Refused as told:
            # What the cabin would have answered, had anybody still been there.
            if told.fields["status"] != 400:
                raise
            self.sent += allowed
            raise ConnectionCut(address="test", cause="cut") from None
        finally:
            self.site.app.wsgi_app = inner  # type: ignore[method-assign]
        raise AssertionError("the stream should have broken")


def test_a_picture_arrives_once_and_is_not_asked_about_again(tablet, site):
    data = os.urandom(300_000)
    name = tablet.take(data)
    assert tablet.waiting() == 1
    report = tablet.send()
    assert (report.sent, report.bytes) == (1, len(data))
    assert kept(site) == {name: data}
    assert unfinished(site) == []
    assert tablet.waiting() == 0
    # Not by one request.
    site.app.wsgi_app = None
    assert send_photos(tablet.notebook, tablet.photos, tablet.way).sent == 0


def test_a_cut_at_every_byte_of_an_upload_is_gone_on_from_and_doubles_nothing(tablet, site):
    whole, cut = {}, {}
    for at in [*range(180), None]:
        data = (f"{at}." + "bone " * 40).encode()[:180]
        name = tablet.take(data, f"photo {at}")
        whole[name], cut[f"/api/v1/photo/{name}"] = data, at

    class Each(Breaking):
        """The first request for each picture breaks, each at another byte."""

        def send(self, method: str, path: str, *, data: bytes, query: Any) -> dict[str, Any]:
            self.left, self.at = (0, cut.pop(path)) if path in cut else (-1, None)
            return super().send(method, path, data=data, query=query)

    way = Each(site, tablet.way, None)
    assert tablet.send(way).sent == 181
    # Not one byte that had arrived was sent a second time.
    assert way.sent == 181 * 180
    assert kept(site) == whole
    assert unfinished(site) == []


@pytest.mark.parametrize("request_number", [0, 1, 2])
@pytest.mark.parametrize("at", [1, 5_000, None])
def test_a_cut_in_a_later_part_goes_on_within_the_same_sending(tablet, site, request_number, at):
    data = os.urandom(START * 4)
    name = tablet.take(data)
    way = Breaking(site, tablet.way, at, request_number)
    assert tablet.send(way).sent == 1
    assert kept(site) == {name: data}
    assert way.sent == len(data)


@pytest.mark.parametrize("lets_through", [0, 900, 5_000, 40_000, 150_000, 280_000])
def test_a_line_that_breaks_is_told_and_the_next_sending_goes_on_over_tls(serving, new_notebook, lets_through):
    notebook = new_notebook("one")
    enrol(notebook, address_of(serving), serving.cabin.devices.open_code().text, "tablet one")
    photos = Photos(notebook.folder)
    data = os.urandom(250_000)
    name = photos.keep(data)
    notebook.save("photo", an_id("photo"), {"sha256": name}, {}, BY)
    found = enrolled(notebook)
    relay = Relay(serving.port, lets_through)
    with (
        closing(relay),
        HttpsTransport(address_of(serving), found.fingerprint, notebook=notebook.id, token=found.token) as way,
        HttpsTransport(f"127.0.0.1:{relay.port}", found.fingerprint, notebook=notebook.id, token=found.token) as worse,
    ):
        exchange(notebook, way)
        with pytest.raises((ConnectionCut, NotReachable)) if lets_through < 260_000 else nullcontext():
            send_photos(notebook, photos, worse, pause=lambda _: None)
        send_photos(notebook, photos, way)
    files = [one for one in (serving.cabin.config.data / "photos").rglob("*") if one.is_file()]
    assert [(one.name, one.read_bytes()) for one in files] == [(name, data)]


def test_parts_grow_while_they_go_well_and_shrink_after_cuts(tablet, site):
    tablet.take(os.urandom(START * 7))
    sizes: list[int] = []

    class Watched(Breaking):
        def send(self, method: str, path: str, *, data: bytes, query: Any) -> dict[str, Any]:
            sizes.append(len(data))
            return super().send(method, path, data=data, query=query)

    tablet.send(Watched(site, tablet.way, 0, 2))
    assert sizes[:4] == [START, 2 * START, 4 * START, 2 * START]


def test_a_cabin_that_is_gone_is_told_after_a_few_tries(tablet, site):
    name = tablet.take(os.urandom(100_000))

    class Gone(Breaking):
        tries = 0

        def send(self, method: str, path: str, *, data: bytes, query: Any) -> dict[str, Any]:
            Gone.tries += 1
            assert len(data) >= SMALLEST
            raise ConnectionCut(address="test", cause="cut")

    with pytest.raises(ConnectionCut):
        tablet.send(Gone(site, tablet.way, 0))
    assert 1 < Gone.tries < 10
    assert tablet.send().sent == 1
    assert list(kept(site)) == [name]


def test_sending_can_be_cancelled_between_parts_and_goes_on_later(tablet, site):
    data = os.urandom(START * 8)
    tablet.take(data)
    seen: list[tuple[int, int]] = []

    class Enough(Exception):
        pass

    def progress(done: int, total: int) -> None:
        seen.append((done, total))
        if done > START:
            raise Enough

    with pytest.raises(Enough):
        tablet.send(progress=progress)
    assert seen == [(0, len(data)), (START, len(data)), (3 * START, len(data))]
    (part,) = unfinished(site)
    assert part.read_bytes() == data[: 3 * START]
    report = tablet.send()
    assert (report.sent, report.bytes) == (1, len(data) - 3 * START)


def test_a_file_that_changed_on_the_tablet_is_reported_and_not_sent(tablet, site):
    name = tablet.take(b"picture one", "one")
    tablet.photos.path(name).write_bytes(b"picture 0ne")
    other = tablet.take(b"picture two", "two")
    report = tablet.send()
    assert (report.sent, report.damaged) == (1, [name])
    assert list(kept(site)) == [other]
    assert tablet.waiting() == 1


def test_what_no_record_names_is_not_sent(tablet, site):
    tablet.photos.keep(b"of a form that is not saved yet")
    assert tablet.send().sent == 0
    assert kept(site) == {}


def test_a_closed_picture_goes_sealed_and_only_the_cabin_opens_it(tablet, site):
    data = b"closed picture, invented " * 4000
    name = sha(data)
    assert tablet.photos.keep_sealed(data, enrolled(tablet.notebook).seal_key) == name
    tablet.notebook.save("photo", an_id("photo"), {"sha256": name, "closed": True}, {}, BY)
    assert tablet.send().sent == 1
    ((file, sealed),) = kept(site).items()
    assert file == f"{name}.sealed"
    assert data[:25] not in sealed
    assert unseal_bytes(sealed, site.cabin.opening_key(), name) == data


@pytest.mark.parametrize("how", ["closed", "raised", "raised on a joined docket", "the docket names the photo"])
def test_a_picture_in_the_clear_of_what_is_closed_is_sealed_before_it_is_sent(tablet, site, how):
    data = b"taken before anybody said that it may be human " * 100
    about = {} if how == "the docket names the photo" else {"docket": an_id("bone")}
    name = tablet.take(data, closed=how == "closed", **about)
    more = {f"photo/{an_id('photo')}": True} if how == "the docket names the photo" else {}
    tablet.notebook.save("docket", an_id("bone"), {"count": 1, **more}, {}, BY)
    if how != "closed":
        raised = "other" if how == "raised on a joined docket" else "bone"
        value = {"answer": "stop", "why": "", "stage": "trench"}
        joined = {f"same_as/{an_id('bone')}": True} if raised == "other" else {}
        tablet.notebook.save("docket", an_id(raised), {f"human/{an_id('h')}": value, **joined}, {}, BY)
    assert tablet.send().sent == 1
    assert list(kept(site)) == [f"{name}.sealed"]
    assert not tablet.photos.path(name).exists()
    everything = [one for one in site.config.data.rglob("*") if one.is_file()]
    assert all(data[:40] not in one.read_bytes() for one in everything)


def test_without_the_cabins_key_a_closed_picture_stays_where_it_is(tablet, site):
    tablet.notebook.set_setting("cabin", {**tablet.notebook.setting("cabin"), "seal_key": "no key"})
    name = tablet.take(b"picture", closed=True)
    report = tablet.send()
    assert (report.sent, report.held) == (0, 1)
    assert kept(site) == {}
    assert tablet.photos.path(name).read_bytes() == b"picture"


def test_a_raise_after_it_was_sent_takes_the_clear_picture_away_at_the_cabin(tablet, site):
    data = b"sent in the clear, raised afterwards " * 50
    name = tablet.take(data, docket=an_id("bone"))
    tablet.send()
    assert list(kept(site)) == [name]
    record = tablet.notebook.record("photo", an_id("photo"))
    tablet.photos.seal(name, enrolled(tablet.notebook).seal_key)
    tablet.notebook.save("photo", record.id, {"closed": True}, {"closed": record.head_ids().get("closed", [])}, BY)
    assert tablet.waiting() == 1
    assert tablet.send().sent + (list(kept(site)) == [f"{name}.sealed"]) >= 1
    assert list(kept(site)) == [f"{name}.sealed"]
    assert tablet.waiting() == 0
    assert all(data[:30] not in one.read_bytes() for one in site.config.data.rglob("*") if one.is_file())


def test_two_tablets_with_the_same_picture_leave_one(tablet, site, new_notebook):
    other = Tablet(new_notebook("two"), site)
    data = os.urandom(START * 3)
    name = tablet.take(data, "one")
    other.take(data, "two")

    class Enough(Exception):
        pass

    def stop(done: int, total: int) -> None:
        if done:
            raise Enough

    for one in (tablet, other):
        with pytest.raises(Enough):
            one.send(progress=stop)
    assert len(unfinished(site)) == 2
    assert tablet.send().sent == 1
    assert other.send().sent in (0, 1)
    assert other.waiting() == tablet.waiting() == 0
    assert kept(site) == {name: data}


def test_a_withdrawn_tablet_brings_no_picture(tablet, site):
    tablet.take(b"picture")
    exchange(tablet.notebook, tablet.way)
    site.cabin.devices.withdraw("A")
    with pytest.raises(TokenWithdrawn):
        send_photos(tablet.notebook, tablet.photos, tablet.way)
    assert kept(site) == {}


def test_a_store_that_does_not_answer_is_told_and_nothing_is_sent_twice(tablet, site, monkeypatch):
    data = os.urandom(200_000)
    name = tablet.take(data)
    store = site.cabin.photos.store
    blocked = store.folder
    blocked.parent.joinpath("photos").write_bytes(b"a file where the folder should be")
    with pytest.raises(Refused, match="store of photographs does not answer"):
        tablet.send()
    blocked.unlink()
    report = tablet.send()
    assert (report.sent, report.bytes) == (1, 0)
    assert kept(site) == {name: data}


def test_after_the_cabin_was_put_back_every_picture_is_asked_about_again(tablet, site):
    data = b"picture"
    name = tablet.take(data)
    tablet.send()
    (site.config.data / "photos" / name[:2] / name).unlink()
    with site.ledger.database.writing() as connection:
        connection.exec_driver_sql("delete from photo")
    site.ledger.renew("backup")
    assert tablet.send().sent == 1
    assert kept(site) == {name: data}


def test_a_torn_note_of_what_was_sent_costs_a_question_and_loses_nothing(tablet, site):
    tablet.take(b"picture")
    tablet.send()
    (note,) = tablet.photos.folder.glob("at-*")
    note.write_bytes(note.read_bytes()[:-9])
    assert tablet.waiting() == 1
    assert tablet.send().sent == 0
    assert tablet.waiting() == 0


def test_the_hold_of_a_bone_has_no_say_over_another_bones_picture(tablet, site):
    value = {"answer": "stop", "why": "", "stage": "trench"}
    tablet.notebook.save("docket", an_id("other"), {f"human/{an_id('h')}": value}, {}, BY)
    tablet.notebook.save("hold", hold_id(an_id("other")), {"docket": an_id("other")}, {}, BY)
    tablet.notebook.save("docket", an_id("bone"), {"count": 1}, {}, BY)
    name = tablet.take(b"picture", docket=an_id("bone"))
    tablet.send()
    assert list(kept(site)) == [name]
