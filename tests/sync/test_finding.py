"""A cabin announces itself, and a tablet finds it: with real multicast DNS on this machine's loopback."""

from __future__ import annotations

import gc
import socket
import time
import warnings
from dataclasses import replace

import pytest

from fieldapp.records import enrolment
from fieldapp.sync.enrol import enrol, enrolled, transport_for
from fieldapp.sync.errors import NotEnrolled, NotReachable, OtherCabin
from fieldapp.sync.exchange import exchange
from fieldapp.sync.finding import Seen, found_again, look, moved_to
from server.announcing import Site, announced, reachable
from server.cabin import set_up
from server.serving import Serving
from tests.server.apps import QUICK
from tests.server.tablets import CODE
from tests.sync.conftest import AT_ONCE

HERE = ["127.0.0.1"]
OTHER = "cd" * 32
LEAKS = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
"""Where it cannot begin, zeroconf leaves a socket of its own to be collected."""


@pytest.fixture(autouse=True)
def collected():
    """What zeroconf has left of a beginning that failed goes here, and not in the middle of another test."""
    yield
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()


def site_of(serving: Serving, path: str = "") -> Site:
    return Site(CODE, serving.cabin.fingerprint, path)


def ours(short: str):
    """Enough is seen once this one is; others on this machine may be announcing too."""
    return lambda found: any(one.short == short for one in found)


def test_an_announced_cabin_is_found_with_its_site_code_path_and_all_addresses(serving):
    short = enrolment.short(serving.cabin.fingerprint)
    with announced([site_of(serving, "/TST26")], serving.port, ["127.0.0.1", "127.0.0.2"], interfaces=HERE):
        found = look(15, interfaces=HERE, enough=ours(short))
    (one,) = [each for each in found if each.short == short]
    assert one.site_code == CODE
    assert set(one.addresses) == {f"127.0.0.{at}:{serving.port}/TST26" for at in (1, 2)}


def test_two_cabins_are_told_apart_by_what_a_code_carries(serving):
    other = enrolment.short(OTHER)
    with announced([site_of(serving), Site("OTH26", OTHER)], serving.port, HERE, interfaces=HERE):
        mine = enrolment.short(serving.cabin.fingerprint)
        found = look(20, interfaces=HERE, enough=lambda seen: ours(other)(seen) and ours(mine)(seen))
    assert {each.site_code for each in found if each.short in (other, mine)} == {CODE, "OTH26"}


@pytest.mark.parametrize("liar", [False, True])
def test_a_cabin_whose_address_has_changed_is_found_by_its_certificate(serving, new_notebook, config, tmp_path, liar):
    notebook = new_notebook("one")
    enrol(notebook, f"127.0.0.1:{serving.port}", serving.cabin.devices.open_code().text)
    with socket.create_server(("127.0.0.1", 0)) as gone:
        old = f"127.0.0.1:{gone.getsockname()[1]}"
    notebook.set_setting("cabin", {**notebook.setting("cabin"), "address": old})
    if not liar:
        with announced([site_of(serving)], serving.port, HERE, interfaces=HERE):
            assert found_again(notebook, seconds=15, interfaces=HERE)
        assert enrolled(notebook).address == f"127.0.0.1:{serving.port}"
        with transport_for(notebook) as way:
            exchange(notebook, way, means=AT_ONCE)
        return
    # Somebody announces the right site and the right six characters with a certificate of their own.
    second = replace(config, data=tmp_path / "second")
    set_up(second, code=CODE, name="x")
    with Serving(replace(second, testing=False), QUICK) as other:
        with announced([site_of(serving)], other.port, HERE, interfaces=HERE):
            assert not found_again(notebook, seconds=4, interfaces=HERE)
    assert enrolled(notebook).address == old


@LEAKS
def test_looking_ends_in_time_and_never_raises_though_nothing_is_there(new_notebook):
    begun = time.monotonic()
    assert all(isinstance(one, Seen) for one in look(0.5, interfaces=HERE))
    assert look(0.5, interfaces=["203.0.113.77"]) == []  # not an address of this machine
    assert time.monotonic() - begun < 10
    assert not found_again(new_notebook("one"), seconds=0.1, interfaces=HERE)
    gc.collect()


@LEAKS
def test_a_cabin_that_cannot_be_announced_serves_all_the_same(serving):
    with announced([site_of(serving)], serving.port, HERE, interfaces=["203.0.113.77"]):
        assert serving.cabin.ledger.names().head == 1
    with announced([site_of(serving)], serving.port, []):
        pass
    gc.collect()


def test_only_what_others_reach_is_announced():
    assert reachable(["127.0.0.1", "192.168.4.1", "cabin.local", "::1"]) == ["192.168.4.1"]


def test_a_typed_address_is_taken_only_where_the_known_certificate_answers(serving, new_notebook, config, tmp_path):
    notebook = new_notebook("one")
    at = f"127.0.0.1:{serving.port}"
    enrol(notebook, at, serving.cabin.devices.open_code().text)
    with socket.create_server(("127.0.0.1", 0)) as gone:
        old = f"127.0.0.1:{gone.getsockname()[1]}"
    notebook.set_setting("cabin", {**notebook.setting("cabin"), "address": f"{old}/TST26"})
    with pytest.raises(NotReachable):
        moved_to(notebook, old)
    second = replace(config, data=tmp_path / "second")
    set_up(second, code=CODE, name="x")
    with Serving(replace(second, testing=False), QUICK) as other:
        asked: list[str] = []
        app = other.app.wsgi_app
        other.app.wsgi_app = lambda environ, start: (asked.append(environ["PATH_INFO"]), app(environ, start))[1]
        with pytest.raises(OtherCabin, match=f"127.0.0.1:{other.port}") as met:
            moved_to(notebook, f"127.0.0.1:{other.port}")
        assert met.value.fields["met"] == enrolment.in_pairs(other.cabin.fingerprint)
        assert asked == [], "nothing but the handshake was sent"
    assert enrolled(notebook).address == f"{old}/TST26"
    moved_to(notebook, f"https://{at}")
    assert enrolled(notebook).address == f"{at}/TST26", "the site's path stays where none was typed"
    moved_to(notebook, f"{at}/OTH26/")
    assert enrolled(notebook).address == f"{at}/OTH26"


def test_a_tablet_that_knows_no_cabin_has_none_that_moved(new_notebook):
    with pytest.raises(NotEnrolled):
        moved_to(new_notebook("one"), "127.0.0.1:8443")
