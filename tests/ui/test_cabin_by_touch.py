"""The tablet and its cabin as a recorder meets them: every act is a real touch at window coordinates."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

import pytest

from fieldapp.ui.presenters.cabin import Exchange
from tests.ui.conftest import FakeCabin, Tablet
from tests.ui.tour import enrolled

pytestmark = pytest.mark.ui


def test_a_tablet_without_a_cabin_is_promised_no_carry_file_and_shown_none(tablet: Tablet) -> None:
    tablet.begin()
    tablet.press("go.more", "go.sync")
    assert not tablet.hand.sees("sync.carry")
    assert tablet.hand.sees("sync.enrol")
    (told,) = tablet.shell.sync.words()
    assert "carry-file" not in told
    assert "enrol it" in told


def test_a_tablet_that_is_let_in_no_more_can_be_enrolled_again_by_touch(tablet: Tablet) -> None:
    tablet.begin()
    enrolled(tablet)
    cabin = tablet.shell.sync.cabin
    tablet.press("go.more", "go.sync")
    assert not tablet.hand.sees("sync.enrol")
    cabin.answer = Exchange(trouble="The cabin lets this tablet in no more.", enrol=True)
    tablet.press("sync.now")
    tablet.hand.until(lambda: not tablet.shell.sync.running)
    tablet.hand.frames(3)
    # It may have been a slip of the line: the cabin can still be asked as before.
    assert tablet.hand.sees("sync.now")
    tablet.press("sync.enrol", "setup.cabin", "entry.address", "key.1", "entry.code")
    tablet.press(*(f"key.{one}" for one in "4K7M92XDAB3C5E"), "setup.go")
    tablet.hand.until(lambda: not tablet.shell.setup.busy and tablet.screen != "setup")
    tablet.hand.frames(3)
    tablet.press("go.more", "go.sync")
    assert not tablet.hand.sees("sync.enrol")


def test_syncing_runs_beside_the_screen_and_can_be_cancelled(start: Callable[..., Tablet]) -> None:
    go_on = threading.Event()

    class Slow(FakeCabin):
        """Waits between steps until it is told to go on."""

        def exchange(self, progress: Any, cancelled: Callable[[], bool]) -> Exchange:
            progress(1, 0)
            go_on.wait(10)
            return Exchange(sent=1, cancelled=True) if cancelled() else Exchange(sent=9)

    tablet = start(cabin=Slow)
    tablet.begin()
    tablet.app.notebook.set_setting("cabin", {"address": "192.168.1.5", "fingerprint": "f"})
    tablet.press("go.more", "go.sync", "sync.now")
    tablet.hand.until(lambda: tablet.shell.sync.sent == 1)
    tablet.hand.frames(2)
    # The screen goes on answering while the exchange waits.
    tablet.press("sync.cancel")
    go_on.set()
    tablet.hand.until(lambda: not tablet.shell.sync.running)
    tablet.hand.frames(2)
    assert "Cancelled" in " ".join(tablet.shell.sync.words())


def test_enrolment_runs_beside_the_screen_and_leads_on(tablet: Tablet) -> None:
    tablet.press("setup.cabin")
    tablet.hand.type("192.168.1.5")
    tablet.press("entry.code")
    tablet.hand.type("abcdefgh012345")
    tablet.press("setup.go")
    tablet.hand.until(lambda: tablet.screen == "people")
    assert tablet.shell.cabin.codes == [("192.168.1.5", "ABCD-EFGH-012345")]


# -- killed --


def test_a_cabin_that_moved_is_given_its_new_address_by_hand(tablet: Tablet) -> None:
    tablet.begin()
    enrolled(tablet)
    tablet.app.show()
    cabin, sync = tablet.shell.sync.cabin, tablet.shell.sync
    cabin.answer = Exchange(trouble="nothing answers (invented)", away=True)
    tablet.press("go.more", "go.sync")
    assert not tablet.hand.sees("sync.elsewhere"), "before anything was tried"
    tablet.press("sync.now")
    tablet.hand.until(lambda: not sync.running)
    tablet.hand.frames(3)
    tablet.press("sync.elsewhere")
    address = tablet.shell.setup.entries["address"]
    assert address.text == "192.168.20.5:8443", "what is known is there to be changed"
    cabin.trouble = "another cabin answers there (invented)"
    tablet.press("key.rub", "key.4", "setup.go")
    tablet.hand.until(lambda: not tablet.shell.setup.busy)
    tablet.hand.frames(2)
    setup = tablet.app.views["setup"]
    assert setup.message()[1]
    assert setup.ids.refusal.text == cabin.trouble, "in full, in the place of the keyboard"
    assert not tablet.hand.sees("key.4")
    assert sync.address == "192.168.20.5:8443"
    cabin.trouble = ""
    tablet.press("setup.go")
    tablet.hand.until(lambda: tablet.shell.screen == "sync")
    tablet.hand.frames(2)
    assert sync.address == "192.168.20.5:8444"
    assert not tablet.hand.sees("sync.elsewhere")
    assert tablet.hand.sees("sync.now")
