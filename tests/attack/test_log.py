"""Every act of people, tablets and the desk leaves a line in the log; a new act has to be put on the walk."""

from __future__ import annotations

import contextlib
import html
import inspect
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from fieldapp.assets import texts
from fieldapp.cli import main
from fieldapp.records import enrolment
from fieldapp.store.notebook import Notebook
from server.cabin import Cabin, set_up
from server.config import Config
from server.errors import CabinError
from server.ledger.accounts import Accounts
from server.ledger.devices import Devices
from tests.attack.changes import STOP
from tests.attack.people import Rogue
from tests.attack.test_sessions import csrf
from tests.attack.test_who_may import DESK
from tests.server.apps import QUICK
from tests.server.conftest import Clock
from tests.server.review.scene import PEOPLE, Scene, Visitor, label, seen
from tests.server.review.test_carrying import brought, sent
from tests.server.review.test_second import drawn, of, read
from tests.server.review.test_settling import cause_with, sent_back, tick
from tests.server.tablets import SITE, an_id, context_id

__all__ = ["brought"]

BY_NAME = {
    "carry_loaded", "person_added", "password_reset", "wait_ended", "person_withdrawn", "keys_revoked", "may_assess",
    "code_opened", "renamed", "withdrawn",
}  # fmt: skip
"""Lines that name who did it beside whom it is about."""

LOOKS = {"all", "get", "in_session", "check", "knows", "of", "open_codes", "came", "wrong_codes", "lives"}
"""Methods of accounts and devices that change nothing."""


class Walk:
    """Does every act once, and says which lines each has left."""

    def __init__(self, scene: Scene, rogue: Rogue, clock: Clock, folder: Path) -> None:
        self.scene, self.rogue, self.clock, self.folder = scene, rogue, clock, folder
        self.left: dict[str, list[str]] = {}

    def did(self, what: str, act: Callable[[], object], refused: bool = False) -> None:
        before = self.scene.cabin.ledger.events(1)[0].nr
        if refused:
            with pytest.raises(CabinError):
                act()
        else:
            act()
        found = self.scene.cabin.ledger.events(50)
        self.left[what] = [one.what for one in found if one.nr > before]

    def accounts(self) -> None:
        accounts = self.scene.cabin.accounts
        one, password = self.scene.accounts["director"]
        who = one.person, one.role
        self.did("add", lambda: accounts.add("Rowan (invented)", "recorder"))
        self.did("sign_in", lambda: accounts.sign_in(*who, password))
        self.did("sign_in refused", lambda: accounts.sign_in(*who, "x"), refused=True)
        self.did("sign_in of nobody", lambda: accounts.sign_in(an_id("nobody"), "director", "x"), refused=True)
        for _ in range(4):
            with pytest.raises(CabinError):
                accounts.sign_in(*who, "x")
        self.did("sign_in locked", lambda: accounts.sign_in(*who, password), refused=True)
        self.clock.forward(hours=1)
        self.did("unlock", lambda: accounts.unlock(one.person, password, one.role))
        self.did("locked_key", lambda: accounts.locked_key(*who, password))
        session = accounts.begin_session(one)
        self.did("end_session", lambda: accounts.end_session(session, one))
        self.did("change_password", lambda: accounts.change_password(*who, password, "a new sentence"))
        self.did("reset", lambda: accounts.reset(*who))
        self.did("withdraw", lambda: accounts.withdraw(*who, revoke_keys=False))
        self.did("withdraw with keys", lambda: accounts.withdraw(*who, revoke_keys=True))
        # The line is the other site's.
        config = Config(self.folder / "elsewhere", clock=self.clock, testing=True)
        set_up(config, code="OTH26", name="Another field (invented)")
        with contextlib.closing(Cabin(config, QUICK)) as other:
            lent = self.scene.accounts["supervisor"][0]
            accounts.lend(lent.person, lent.role, other.accounts)
            self.left["lend"] = [other.ledger.events(1)[0].what]

    def devices(self) -> None:
        devices = self.scene.cabin.devices
        self.did("open_code", devices.open_code)
        secret, _ = enrolment.parse(devices.open_code().text)
        proof = enrolment.tablets_proof(enrolment.key(secret, devices.fingerprint), an_id("walk"))
        self.did("enrol", lambda: devices.enrol(proof, an_id("walk"), "walk"))
        # From then on the code is used up.
        devices.seen(an_id("walk"))
        self.did("enrol refused", lambda: devices.enrol(proof, an_id("walk"), "walk"), refused=True)
        for _ in range(9):
            with pytest.raises(CabinError):
                devices.enrol(proof, an_id("walk"), "walk")
        self.did("enrol locked", lambda: devices.enrol(proof, an_id("walk"), "walk"), refused=True)
        letter = next(one.letter for one in devices.all() if one.name == "rogue")
        self.did("rename", lambda: devices.rename(letter, "rogue, renamed"))
        self.did("new_life", lambda: devices.new_life(devices.get(letter), an_id("walk's life")))
        self.did("withdraw a tablet", lambda: devices.withdraw(letter))
        head = self.rogue.headers
        token = head["Authorization"].removeprefix("Bearer ")
        self.did("withdrawn token", lambda: devices.check(token, head["X-Notebook"]), refused=True)

    def desk(self) -> None:
        for endpoint, role, form in (
            ("review.step", "supervisor", {"what": "told", "whom": "x"}),
            ("review.assess", "human_osteologist",
             {"seen": self.rogue.seen(), "verdict": "human", "bone_seen": "bone", "reasons": "invented"}),
            ("review.release", "director",
             {"seen": self.rogue.seen(), "word_of": "the office (invented)", "reference": "17"}),
            ("review.settle", "zooarchaeologist", {"choice": "", "reason": "invented"}),
            ("review.open_again", "zooarchaeologist", {"reason": "invented"}),
        ):  # fmt: skip
            visitor = self.scene.signed_in(role)
            where = DESK[endpoint, "POST"][0]
            data = {"csrf": csrf(visitor), "password": self.scene.accounts[role][1], **form}
            heads = self.scene.record("disputed").head_ids()["reading"]
            data["heads"] = json.dumps({"reading": heads})
            if "choice" in form:
                data["choice"] = heads[0]

            def act(visitor=visitor, where=where, data=data) -> None:  # type: ignore[no-untyped-def]
                answer = visitor.post(where, {**data, "seen": self.rogue.seen()} if "seen" in data else data)
                assert answer.status_code == 302, answer.text[:3000]

            self.did(endpoint, act)
        self.settling()
        visitor = self.scene.visitor()
        self.did("review.signed_in", lambda: visitor.sign_in("supervisor"))
        self.did("review.sign_out", lambda: visitor.post("/review/sign-out", {"csrf": csrf(visitor)}))
        self.did("review.hold", lambda: self.scene.signed_in("supervisor").get(f"/review/hold/{STOP}"))

    def editing(self) -> None:
        """One after the other on the same docket and context, each with the form as it is shown."""
        one, pit = an_id("worn"), context_id(SITE, "1042")
        # Something that may be marked with others: nothing that may be human may.
        self.scene.a.docket(
            "quiet", label=label("A", 51), weight_g=51.0, reading=seen("cattle", "rib", compared="our own")
        )
        self.scene.a.human("quiet", "no_sign", "quiet first")
        self.scene.send()
        visitor = self.scene.signed_in("zooarchaeologist")
        docket, context = f"/review/docket/{one}", f"/review/context/{pit}"
        for endpoint, page, action, form in (
            ("review.save_docket", f"{docket}/edit", f"{docket}/edit", {"do": "save", "weight_g": "2"}),
            ("review.check", docket, f"{docket}/check", {}),
            ("review.check off", docket, f"{docket}/check", {"off": "yes"}),
            ("review.make_docket", f"{context}/docket", f"{context}/docket", {"do": "save", "material": "bone"}),
            ("review.check_many", context, f"{context}/check", {}),
            ("review.save_context", f"{context}/edit", f"{context}/edit", {"do": "save", "phase": "4"}),
            ("review.lock", context, f"{context}/lock", {}),
            ("review.open_context", context, f"{context}/open", {}),
            ("review.raise_docket", docket, f"{docket}/raise", {"answer": "query", "why": "invented"}),
        ):

            def act(page=page, action=action, form=form) -> None:  # type: ignore[no-untyped-def]
                answer = visitor.post(action, {**visitor.form(page, action), **form})
                assert answer.status_code == 302, answer.text[:3000]

            self.did(endpoint, act)

    def typing(self) -> None:
        """Lines typed at the desk, one taken back; and one field of several dockets, put back."""
        visitor, ledger = self.scene.signed_in("zooarchaeologist"), self.scene.cabin.ledger
        pit, entry = context_id(SITE, "1042"), f"/review/context/{context_id(SITE, '1042')}/entry"
        at: dict[str, str] = {}

        def post(page: str, action: str, **form: str) -> str:
            answer = visitor.post(action, {**visitor.form(page, action), **form})
            assert answer.status_code == 302, answer.text[:3000]
            return str(answer.location)

        self.did("review.enter", lambda: post(entry, entry, do="save", line="rib"))
        docket = ledger.begun_here(pit, 1)[0]
        self.did("review.take_back", lambda: post(entry, f"/review/docket/{docket}/take-back"))
        self.did("review.enter_many", lambda: post(f"{entry}/many", f"{entry}/many", do="save", lines="rib"))

        def bulk() -> None:
            asked = visitor.form(f"/review/bulk?docket={ledger.begun_here(pit, 1)[0]}", "/review/bulk")
            shown = visitor.post("/review/bulk", {**asked, "roots": "some"}).text
            seen = html.unescape(re.search(r'name="seen" value="([^"]*)"', shown)[1])  # type: ignore[index]
            form = {**asked, "do": "write", "path": "roots", "text": "some", "seen": seen}
            at["lot"] = visitor.post("/review/bulk", form).location

        self.did("review.set_bulk", bulk)
        self.did("review.put_back", lambda: post(at["lot"], at["lot"]))

    def settling(self) -> None:
        """Disagreements in other ways, pairs and groups."""
        self.scene.b.write("docket", an_id("rib"), {"count": 7, "reading": seen("pig", "rib")})
        self.scene.send()
        visitor = self.scene.signed_in("zooarchaeologist")
        why = {"reason": "invented"}

        def post(endpoint: str, page: str, where: str = "", **form: object) -> None:
            def act() -> None:
                answer = visitor.post(where or page, {**visitor.form(page, where or page), **why, **form})
                assert answer.status_code in (200, 302), (endpoint, answer.text[:3000])

            self.did(endpoint, act)

        post("review.looked", "/review/changes")
        page = f"/review/disagreement/{an_id('rib')}/count"
        post("review.third", page, page + "/third", value="3")
        page = f"/review/third-reading/{an_id('rib')}"
        looked = sent_back(visitor.get(page).text)
        post("review.write_reading", page, **looked, **why)
        page = cause_with(visitor, "sheep / sheep/goat", 1)
        self.did("review.settle_many", lambda: visitor.post(page, tick(visitor, page, "write")))
        lot = visitor.get("/review/disagreements/lots").text.partition('href="/review/disagreements/lot/')[2][:36]
        post("review.open_lot", f"/review/disagreements/lot/{lot}", f"/review/disagreements/lot/{lot}/open")
        pair = f"/review/pair/{an_id('rib')}/{an_id('heavy')}"
        for said in ("two_bones", "take_back", "fits_old", "fits_fresh", "one_bone"):
            post("review.say_of_pair" if said == "two_bones" else f"review.say_of_pair {said}", pair, said=said)
        made = {"relation": "associated", "docket": [an_id("rib"), an_id("heavy")]}
        post("review.group_add", "/review/groups/new", **made)
        (group,) = self.scene.cabin.ledger.records("group")
        post("review.group_change", f"/review/group/{group.id}", away=[an_id("heavy")])

    def keeping(self) -> None:
        """Bags, boxes and transfers, at the desk."""
        visitor, bag = self.scene.signed_in("supervisor"), f"/review/bag/{an_id('bag')}"

        def post(endpoint: str, where: str, **form: str) -> str:
            def act() -> None:
                answer = visitor.post(where, {"csrf": csrf(visitor), **form})
                assert answer.status_code == 302, (endpoint, answer.text[:3000])
                self.where = answer.location.partition("?")[0]

            self.did(endpoint, act)
            return self.where

        def sent(page: str) -> dict[str, str]:
            return dict(visitor.form(page, page))

        post("review.bag_keep", bag, **{**sent(bag), "step": "washed"})
        self.did("review.bag_keep off", lambda: visitor.post(bag, {**sent(bag), "step": ""}))
        put = json.dumps({an_id("bag"): []})
        box = post("review.box_fill", "/review/boxes", box="Box 1", put=put, left="")
        post("review.box_place", box, **sent(box), place="shelf 3")
        once = sent("/review/transfers")["once"]
        transfer = post("review.transfer_make", "/review/transfers", once=once, what=label("A", 1), kind="loan", to="x")
        post("review.transfer_keep", transfer, **sent(transfer), kind="loan", to="x", back="yes")
        heads = visitor.form("/review/site", "/review/site/region#region")["heads"]
        post("review.site_keep", "/review/site/region", heads=heads, region="central_europe")
        post("review.contexts_add", "/review/contexts/add", one="yes", number="2001")

    def looking_after(self) -> None:
        """People, tablets and one's own account, at the desk."""
        accounts = self.scene.cabin.accounts
        tansy = self.scene.accounts["zooarchaeologist"][0]
        one, _ = accounts.add("Rowan (invented)", "recorder")
        admin, director = self.scene.signed_in("administrator"), self.scene.signed_in("director")
        person = f"/review/person/{one.person}"

        def post(endpoint: str, where: str, *, by: Visitor = admin, status: int = 302, **form: str) -> None:
            def act() -> None:
                answer = by.post(where, {"csrf": csrf(by), **form})
                assert answer.status_code == status, (endpoint, answer.text[:3000])

            self.did(endpoint, act)

        def key(role: str = "recorder") -> str:
            return next(each.key for each in accounts.all() if (each.person, each.role) == (one.person, role))

        once = {"once": admin.form("/review/people", "/review/people")["once"]}
        post("review.person_add", "/review/people", status=200, name="Hazel (invented)", role="recorder", **once)
        post("review.person_role", f"{person}/role", status=200, role="supervisor")
        post("review.person_password", f"{person}/recorder/password", status=200, key=key())
        for _ in range(5):
            with pytest.raises(CabinError):
                accounts.sign_in(one.person, "recorder", "x")
        post("review.person_wait", f"{person}/recorder/wait", key=key())
        post("review.person_off", f"{person}/recorder/off", key=key())
        post("review.person_revoke", f"{person}/supervisor/revoke", key=key("supervisor"), sure="yes")
        post("review.person_assess", f"/review/person/{tansy.person}/assess", by=director, named="yes")
        once = {"once": admin.form("/review/tablets", "/review/tablets/code")["once"]}
        post("review.tablet_code", "/review/tablets/code", status=200, name="walked", **once)
        letter = next(each.letter for each in self.scene.cabin.devices.all() if each.name == "rogue")
        post("review.tablet_rename", f"/review/tablet/{letter}/name", name="rogue, renamed")
        post("review.tablet_withdraw", f"/review/tablet/{letter}/withdraw", reason="lost")
        old, new = self.scene.accounts["administrator"][1], "an invented long sentence"
        post("review.my_password", "/review/account/password", old=old, new=new, again=new)
        post("review.my_sessions", "/review/account/elsewhere", by=director)

    def reading_again(self) -> None:
        """A draw of second readings, at the desk."""
        tansy = self.scene.signed_in("zooarchaeologist")
        draw = drawn(self.scene, reader="zooarchaeologist")
        self.left["review.second_drawn"] = [self.scene.cabin.ledger.events(1)[0].what]
        where, sample = f"/review/second/{of(draw, 'rib')}", f"/review/second/draw/{draw.id}"
        self.did("review.second_saved", lambda: read(tansy, of(draw, "rib"), element="rib"))
        again = f"/review/second/{of(draw, 'heavy')}"
        for what, at, form in (
            ("look", f"{again}/look", tansy.form(again, f"{again}/look")),
            ("raise", f"{where}/raise", {**tansy.form(where, f"{where}/raise"), "answer": "not_excluded"}),
            ("end", f"{sample}/end", tansy.form(sample, f"{sample}/end")),
        ):
            self.did(f"review.second_{what}", lambda at=at, form=form: tansy.post(at, form))  # type: ignore[misc]

    def carrying(self, file: Path) -> None:
        """A carry-file, at the desk."""
        visitor = self.scene.signed_in("supervisor")
        self.did("review.carried", lambda: sent(visitor, file))


@pytest.fixture
def walk(scene: Scene, rogue: Rogue, clock: Clock, tmp_path: Path) -> Walk:
    return Walk(scene, rogue, clock, tmp_path)


def test_every_act_of_people_and_tablets_leaves_its_line(walk: Walk) -> None:
    walk.accounts()
    walk.devices()
    assert {what: lines for what, lines in walk.left.items() if not lines} == {}
    assert {lines[0] for lines in walk.left.values()} == {
        "person_added", "sign_in", "sign_in_refused", "sign_in_locked", "key_opened", "key_handed_out", "sign_out",
        "password_changed", "password_reset", "person_withdrawn", "keys_revoked", "code_opened", "enrolled",
        "code_refused", "code_locked", "withdrawn", "token_refused", "renamed", "new_life", "person_lent",
    }  # fmt: skip
    walked = {what.split()[0] for what in walk.left}
    for kind in (Accounts, Devices):
        acts = {name for name, _ in inspect.getmembers(kind, inspect.isfunction) if not name.startswith("_")}
        # That a tablet was here is kept with the tablet; a session begins with the line of its sign-in.
        assert acts - LOOKS - {"seen", "here", "begin_session"} <= walked, kind


def test_every_act_at_the_desk_leaves_a_line_with_who_it_was(walk: Walk, brought: tuple[Notebook, Path]) -> None:
    walk.desk()
    walk.keeping()
    walk.editing()
    walk.typing()
    walk.carrying(brought[1])
    walk.looking_after()
    walk.reading_again()
    assert {what: lines for what, lines in walk.left.items() if not lines} == {}
    expected = {
        "review.looked": "looked", "review.step": "step_added",
        "review.assess": "assessed", "review.release": "release_entered",
        "review.settle": "settled", "review.open_again": "opened_again", "review.third": "settled",
        "review.write_reading": "settled", "review.settle_many": "settled_many", "review.open_lot": "opened_many",
        "review.say_of_pair": "pair_two_bones", "review.say_of_pair take_back": "pair_take_back",
        "review.say_of_pair fits_old": "pair_fits_old", "review.say_of_pair fits_fresh": "pair_fits_fresh",
        "review.say_of_pair one_bone": "pair_one_bone", "review.group_add": "group_made",
        "review.group_change": "group_changed", "review.signed_in": "sign_in",
        "review.sign_out": "sign_out", "review.hold": "closed_seen", "review.carried": "carry_loaded",
        "review.person_add": "person_added", "review.person_role": "person_added",
        "review.person_password": "password_reset", "review.person_wait": "wait_ended",
        "review.person_off": "person_withdrawn", "review.person_revoke": "keys_revoked",
        "review.person_assess": "may_assess", "review.tablet_code": "code_opened", "review.tablet_rename": "renamed",
        "review.tablet_withdraw": "withdrawn", "review.my_password": "password_changed",
        "review.my_sessions": "sessions_ended", "review.bag_keep": "bag_kept", "review.bag_keep off": "bag_unticked",
        "review.box_fill": "boxed",
        "review.box_place": "site_set", "review.transfer_make": "transfer_made",
        "review.transfer_keep": "transfer_changed", "review.site_keep": "site_set",
        "review.contexts_add": "contexts_added", "review.save_docket": "docket_edited", "review.check": "checked",
        "review.check off": "mark_taken_off", "review.check_many": "checked_many",
        "review.save_context": "context_edited", "review.make_docket": "docket_made", "review.lock": "context_locked",
        "review.open_context": "context_opened", "review.raise_docket": "raised",
        "review.enter": "docket_made", "review.take_back": "docket_taken_back", "review.enter_many": "dockets_made",
        "review.set_bulk": "bulk_set", "review.put_back": "bulk_put_back",
        "review.second_drawn": "second_drawn",
        "review.second_saved": "second_read", "review.second_look": "first_seen", "review.second_raise": "raised",
        "review.second_end": "second_ended",
    }  # fmt: skip
    for what, line in expected.items():
        assert line in walk.left[what], what
    posts = {endpoint for endpoint, method in DESK if method == "POST"}
    assert posts - {"review.language", "review.nowhere", "review.combined"} <= set(walk.left)
    events = walk.scene.cabin.ledger.events(200)
    # The scene's people and the tablet were let in at the cabin itself.
    named = {*PEOPLE.values(), "cabin"}
    for one in events:
        if one.what in BY_NAME:
            assert one.fields["by"] in named, one
        elif one.what in expected.values() and one.nr > 1:  # the first is that the cabin was set up
            assert one.who in {account.person for account, _ in walk.scene.accounts.values()}, one


def test_every_line_has_its_sentence_and_no_secret_in_it(walk: Walk, brought: tuple[Notebook, Path]) -> None:
    walk.desk()
    walk.keeping()
    walk.editing()
    walk.carrying(brought[1])
    walk.accounts()
    walk.devices()
    words = texts()
    for one in walk.scene.cabin.ledger.events(10_000):
        sentence = words[f"cabin.event.{one.what}"].format_map({"notebook": "", "name": "", **one.fields})
        assert "{" not in sentence, one.what
        for account, password in walk.scene.accounts.values():
            assert password not in str(one), account.role
        assert "a new sentence" not in str(one)
        assert walk.rogue.headers["Authorization"].removeprefix("Bearer ") not in str(one)


def test_what_is_done_beside_the_cabin_leaves_a_line_too(tmp_path, capsys) -> None:  # type: ignore[no-untyped-def]
    data = str(tmp_path / "cabin")
    main(["cabin", "init", "--data", data, "--code", "TST26", "--name", "Test field"])
    main(["cabin", "person", "add", "Tansy", "zooarchaeologist", "--data", data])
    for words, line in (
        (["cabin", "person", "may-assess", "Tansy"], "named Tansy as a zooarchaeologist who may assess"),
        (["cabin", "policy", "--groups", "yes"], "wrote in the site's record: policy"),
        (["cabin", "licence", "L 17"], "licence"),
        (["cabin", "code", "hu", "element", "humerus"], "short/hu"),
        (["cabin", "place", "--zone", "the trench", "--zone-source", "design, invented"], "zone_text"),
        (["backup", str(tmp_path / "copy.backup")], "A backup was made"),
        (["cabin", "restored"], "new epoch"),
        (["cabin", "enrol"], "A code was made"),
    ):  # fmt: skip
        assert main([*words, "--data", data]) == 0
        capsys.readouterr()
        assert main(["cabin", "log", "--lines", "1", "--data", data]) == 0
        assert line in capsys.readouterr().out, words


def test_a_name_that_would_forge_a_line_or_steer_the_terminal_does_neither(tmp_path, capsys) -> None:  # type: ignore[no-untyped-def]
    from contextlib import closing

    from server.cabin import Cabin
    from server.config import Config

    data = str(tmp_path / "cabin")
    main(["cabin", "init", "--data", data, "--code", "TST26", "--name", "Test field"])
    with closing(Cabin(Config(tmp_path / "cabin"))) as cabin, pytest.raises(CabinError):
        cabin.devices.enrol("x", "n", "x\n2026-06-01 cabin added Mallory as director.\x1b[2J\u202e")
    capsys.readouterr()
    main(["cabin", "log", "--data", data])
    said = capsys.readouterr().out
    assert "Mallory" in said
    assert not any(line.startswith("2026-06-01 cabin added") for line in said.splitlines())
    assert "\x1b" not in said
    assert "\u202e" not in said
