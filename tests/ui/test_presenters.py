"""People, contexts, bags, setup, sync and the way between screens, without a window."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldapp import assets
from fieldapp.domain import ids
from fieldapp.records.schemas import problems_of
from fieldapp.store.errors import SaveFailed
from fieldapp.store.notebook import Edit, Notebook
from fieldapp.sync.finding import Seen
from fieldapp.ui.presenters.cabin import Exchange, Setup, Sync
from fieldapp.ui.presenters.context import Context, docket_row, short_label
from fieldapp.ui.presenters.contexts import Contexts
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.history import history
from fieldapp.ui.presenters.hold import Hold
from fieldapp.ui.presenters.keyed import CROCKFORD, Entry, grouped_code
from fieldapp.ui.presenters.people import People
from fieldapp.ui.shell import Shell
from tests.ui.conftest import CODE, Clock, FakeCabin, id_maker, save_as_other


def docket(desk: Desk, answer: str = "", **answers: Any) -> str:
    """Saves a new docket in the open bag; its id."""
    form = Form.new(desk, desk.context or "", desk.bag, answers or {"material": "bone"})
    if answer:
        form.answer_human(answer)
    return form.save().docket


# -- people --


def test_people_the_cabin_told_of_can_be_chosen(desk: Desk) -> None:
    save_as_other(desk, "person", "p1", {"name": "Cleo", "role": "human_osteologist", "active": True}, {})
    save_as_other(desk, "person", "p2", {"name": "Gone", "role": "recorder", "active": False}, {})
    people = People(desk)
    assert [one.text for one in people.choices()] == ["Cleo"]
    people.choose("person.p1")
    assert desk.by == {"person": "p1", "name": "Cleo", "role": "human_osteologist"}


def test_a_typed_name_records_as_a_recorder_and_is_offered_again(desk: Desk) -> None:
    people = People(desk)
    assert not people.add()
    people.name.press("dora")
    assert people.add()
    assert desk.by == {"person": "", "name": "dora", "role": "recorder"}
    assert [one.ident for one in People(desk).choices()] == ["person.local.dora"]


# -- contexts and bags --


def test_a_context_wants_number_type_and_an_answer_about_graves(desk: Desk) -> None:
    contexts = Contexts(desk)
    contexts.begin()
    wanted = [contexts.ready()]
    contexts.number.press("1 050a")
    wanted.append(contexts.ready())
    contexts.choose_type("layer")
    wanted.append(contexts.ready())
    assert not contexts.make()
    contexts.grave_like = "unknown"
    wanted.append(contexts.ready())
    assert wanted == ["need_number", "need_type", "need_grave", ""]
    assert contexts.make()
    record = desk.record(ids.context_id(desk.site, "1050A"))
    assert record is not None
    assert record.values() == {"number": "1050A", "type": "layer", "grave_like": "unknown", "state": "open"}
    assert problems_of("context", record.values()) == {}
    assert desk.context == record.id


def test_a_grave_is_grave_like_unless_somebody_says_otherwise(desk: Desk) -> None:
    contexts = Contexts(desk)
    contexts.begin()
    contexts.choose_type("grave")
    assert contexts.grave_like == "yes"


def test_making_a_context_again_adds_to_it_and_loses_nothing(desk: Desk) -> None:
    context = desk.make_context("1042", "ditch_fill", "no")
    record = desk.record(context)
    assert record is not None
    assert record.value("type") == "ditch_fill"
    assert len(desk.contexts()) == 1
    assert record.disagreements() == {}


def test_contexts_come_in_the_order_of_their_numbers(desk: Desk) -> None:
    for number in ("9", "1050", "1042A"):
        desk.make_context(number, "layer", "no")
    assert [one.text for one in Contexts(desk).tiles()] == ["9", "1042", "1042A", "1050"]


def test_a_bag_says_how_its_bones_were_got(desk: Desk) -> None:
    context = Context(desk)
    context.make_bag("sieve", 4.0)
    bag = desk.record(desk.bag or "")
    assert bag is not None
    assert (bag.value("recovery"), bag.value("mesh_mm"), bag.value("context")) == ("sieve", 4.0, desk.context)
    assert problems_of("bag", bag.values()) == {}
    assert [one.chosen for one in context.bags()] == [True, False]


def test_a_row_says_what_wants_a_look(desk: Desk) -> None:
    one = docket(desk, "query", material="bone", element="tibia", taxon="sheep")
    record = desk.record(one)
    assert record is not None
    row = docket_row(desk, record)
    assert row.text == "sheep tibia"
    assert [sign for sign, _ in row.signs] == ["query"]
    save_as_other(desk, "docket", one, {"material": "tooth"}, {})
    record = desk.record(one)
    assert record is not None
    assert "differ" in [sign for sign, _ in docket_row(desk, record).signs]


def test_a_deleted_docket_that_stands_raised_stays_in_the_list(desk: Desk) -> None:
    one, other = docket(desk, "query"), docket(desk)
    for each in (one, other):
        record = desk.record(each)
        assert record is not None
        save_as_other(desk, "docket", each, {"deleted": True}, record.head_ids())
    assert [found.id for found in desk.dockets(desk.context or "")] == [one]


def test_a_docket_that_a_raised_one_is_joined_to_stands_raised_too(desk: Desk) -> None:
    mild, raised = docket(desk), docket(desk, "query")
    save_as_other(desk, "docket", raised, {f"same_as/{mild}": True}, {})
    record = desk.record(mild)
    assert record is not None
    assert [sign for sign, _ in docket_row(desk, record).signs][:1] == ["query"]


def test_every_context_shows_its_own_dockets_newest_first(desk: Desk) -> None:
    first, second = docket(desk), docket(desk)
    other = desk.make_context("1050", "layer", "no")
    assert [one.ident for one in Context(desk).rows()] == [
        f"docket.{desk.record(one).value('label')}"  # type: ignore[union-attr]
        for one in (second, first)
    ]
    assert desk.dockets(other) == []


# -- history --


def test_the_history_tells_who_said_what(desk: Desk) -> None:
    one = docket(desk, "no_sign", material="bone", element="tibia", taxon="goat")
    record = desk.record(one)
    assert record is not None
    save_as_other(desk, "docket", one, {"reading": {**record.value("reading"), "taxon": "sheep"}}, {})
    entries = history(desk, one)
    assert [entry.by for entry in entries] == ["Ben", "Ana"]
    assert "sheep tibia" in entries[0].what
    assert "goat tibia" in entries[1].what


# -- setup and sync --


@pytest.fixture
def blank(tmp_path: Any) -> Any:
    """A desk over a notebook that knows nothing yet."""
    with Notebook.open(tmp_path / "blank", Clock(), id_maker()) as notebook:
        yield Desk(notebook, assets.knowledge())


def test_starting_alone_wants_code_and_letter(blank: Desk) -> None:
    setup = Setup(blank, FakeCabin(blank))
    setup.begin("alone")
    assert not setup.start_alone()
    assert "site code" in setup.error
    setup.entries["site"].press("hlg 26")
    assert not setup.start_alone()
    assert "letter" in setup.error
    setup.entries["letter"].press("b")
    assert setup.start_alone()
    assert (blank.site, blank.code, blank.letter) == (ids.site_id(CODE), CODE, "B")


def test_enrolment_says_clearly_why_it_failed(blank: Desk) -> None:
    cabin = FakeCabin(blank)
    setup = Setup(blank, cabin)
    setup.begin("cabin")
    assert not setup.enrol()
    assert "address" in setup.error
    setup.entries["address"].press("192.168.1.5:8443")
    setup.entries["code"].press("abcd-efgh")
    assert not setup.enrol()
    assert "14 characters" in setup.error
    setup.entries["code"].press("000000")
    cabin.trouble = "Nothing answers at that address."
    assert not setup.enrol()
    assert setup.error == cabin.trouble
    cabin.trouble = ""
    assert setup.enrol()
    assert cabin.codes[-1] == ("192.168.1.5:8443", "ABCD-EFGH-000000")


QR = "bonedocket:enrol?at=10.0.0.5:8443/HLG26&at=192.168.1.5:8443/HLG26&code=ABCD-EFGH-012345"


def test_a_scanned_code_fills_in_address_and_code(blank: Desk) -> None:
    cabin = FakeCabin(blank)
    setup = Setup(blank, cabin)
    setup.scan = lambda path: ["WIFI:S:cabin;;", QR] if path.name == "good.jpg" else ["something else"]
    assert not setup.scanned(Path("bad.jpg"))
    assert "not found in this picture" in setup.error
    assert setup.scanned(Path("good.jpg"))
    assert (setup.way, setup.at, setup.ready(), setup.error) == ("cabin", "code", "", "")
    assert setup.enrol()
    assert cabin.codes == [("10.0.0.5:8443/HLG26 192.168.1.5:8443/HLG26", "ABCD-EFGH-012345")]


def test_where_nothing_reads_pictures_none_is_read(blank: Desk) -> None:
    assert not Setup(blank, FakeCabin(blank)).scanned(Path("any.jpg"))


def test_a_cabin_that_was_found_is_chosen_instead_of_typed(blank: Desk) -> None:
    cabin = FakeCabin(blank)
    cabin.seen = [Seen("ELS26", "ZZZZZZ", ("10.9.9.9:8443",)), Seen("HLG26", "012345", ("10.0.0.5:8443/HLG26",))]
    setup = Setup(blank, cabin)
    setup.look()
    setup.choose(1)
    assert (setup.at, setup.shown("address")) == ("code", "10.0.0.5:8443/HLG26")
    setup.entries["code"].press("ABCDEFGH012345")
    assert setup.enrol()
    # The code's last six characters tell which of several is meant, also where another was chosen or none.
    for begin in (lambda: setup.choose(0), lambda: setup.begin("cabin")):
        setup.entries["address"].clear()
        begin()
        assert setup.addresses()[-1] == "10.0.0.5:8443/HLG26"
        assert setup.ready() == ""


def test_a_copied_tablet_is_told_in_plain_words_and_goes_on_as_a_new_one(sync: Sync) -> None:
    assert sync.told() == []
    notebook = sync.desk.notebook
    docket(sync.desk, "query")
    with Notebook.open(notebook.folder.parent / "copy", notebook.clock, notebook.new_id) as copy:
        copy.identify(site=sync.desk.site, code=sync.desk.code, letter="B")
        copy.new_life("B", as_id=notebook.id)
        made = copy.save("docket", "d", {"count": 1}, {}, sync.desk.by)
    notebook.pull([made])
    assert sync.copied
    told = " ".join(sync.told())
    for words in ("was copied", "nothing is lost", "go on as a new tablet", "still syncs"):
        assert words in told
    sync.cabin.trouble = "Nothing answers."  # type: ignore[attr-defined]
    sync.renew()
    assert sync.copied
    assert "Nothing answers." in sync.told()
    sync.cabin.trouble = ""  # type: ignore[attr-defined]
    sync.renew()
    assert not sync.copied
    assert ["letter F" in one for one in sync.told()] == [True]
    sync.read()
    assert sync.told() == []


def test_a_cut_line_is_told_while_it_waits(sync: Sync) -> None:
    sync.begin()
    sync.sent, sync.moved, sync.wait = 7, 48_200, 4.0
    words = " ".join(sync.words())
    assert "7 sent" in words
    assert "48 kB" in words
    assert "trying again in 4 s" in words
    assert "go on recording" in words


def test_a_code_is_shown_as_it_is_printed() -> None:
    assert grouped_code("ABCDEFGH123456") == "ABCD-EFGH-123456"
    assert grouped_code("ABCDE") == "ABCD-E"


def test_an_entry_takes_only_its_characters() -> None:
    entry = Entry(CROCKFORD, 4)
    assert not entry.press("ilou-")
    assert entry.press("ab12z")
    assert entry.text == "AB12"
    entry.rub()
    assert entry.text == "AB1"


def test_sync_without_a_cabin_says_so_and_starts_nothing(desk: Desk) -> None:
    sync = Sync(desk, FakeCabin(desk))
    assert not sync.begin()
    assert "not enrolled" in sync.words()[0]


@pytest.fixture
def sync(desk: Desk) -> Sync:
    """A sync screen of an enrolled tablet."""
    desk.notebook.set_setting("cabin", {"address": "192.168.1.5", "fingerprint": "f"})
    return Sync(desk, FakeCabin(desk))


def test_a_sync_tells_what_it_did(sync: Sync) -> None:
    steps: list[int] = []
    assert sync.begin()
    assert not sync.begin()
    sync.run(lambda: steps.append(sync.sent))
    assert steps == [1, 2, 2]
    assert not sync.running
    assert any("3" in text and "2" in text for text in sync.words())


def test_a_sync_that_failed_says_that_nothing_is_lost(sync: Sync) -> None:
    sync.cabin.answer = Exchange(trouble="Nothing answers.")  # type: ignore[attr-defined]
    sync.begin()
    sync.run(lambda: None)
    words = " ".join(sync.words())
    assert "Nothing answers." in words
    assert "Nothing is lost" in words


def test_a_sync_can_be_cancelled(sync: Sync) -> None:
    sync.begin()
    sync.run(sync.cancel)
    assert sync.result is not None
    assert sync.result.cancelled


def test_after_a_sync_disagreements_and_holds_are_named(sync: Sync) -> None:
    one = docket(sync.desk, "query")
    save_as_other(sync.desk, "docket", one, {"material": "tooth"}, {})
    said = sync.after()
    assert len(said) == 3
    # It is the recorder's own docket that somebody else calls a tooth.
    assert short_label(sync.desk.record(one).value("label")) in said[1]


# -- the shell --


def test_a_new_tablet_begins_at_setup(blank: Desk) -> None:
    assert Shell(blank, FakeCabin(blank)).screen == "setup"


def test_a_tablet_opens_where_it_was(desk: Desk) -> None:
    def again() -> Shell:
        return Shell(Desk(desk.notebook, desk.knowledge), FakeCabin(desk))

    shell = again()
    shell.show("context")
    assert again().screen == "context"
    shell.new_docket()
    assert shell.form is not None
    shell.form.choose("material", "bone")
    found = again()
    assert found.screen == "form"
    assert found.form is not None
    assert found.form.state == shell.form.state
    shell.form.answer_human("stop")
    assert again().screen == "stop"
    saved = shell.save()
    assert saved is not None
    shell.open_hold(saved.docket)
    found = again()
    assert found.screen == "hold"
    assert found.hold is not None
    assert found.hold.docket == saved.docket


def test_a_save_that_fails_says_so_and_keeps_the_form(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    shell = Shell(desk, FakeCabin(desk))
    shell.new_docket()
    assert shell.form is not None
    shell.form.choose("material", "bone")

    def full(*_: Any, **__: Any) -> None:
        raise SaveFailed(OSError(28, "no space"), full=True)

    monkeypatch.setattr(desk.notebook, "save_many", full)
    assert shell.save() is None
    assert shell.trouble
    assert shell.form is not None
    monkeypatch.undo()
    assert shell.save() is not None
    assert shell.trouble == ""


def test_a_tap_that_cannot_be_kept_is_not_shown_as_entered(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    shell = Shell(desk, FakeCabin(desk))
    shell.new_docket()
    form = shell.form
    assert form is not None

    def full(*_: Any, **__: Any) -> None:
        raise SaveFailed(OSError(28, "no space"), full=True)

    monkeypatch.setattr(desk.notebook, "draft", full)
    assert not shell.do(lambda: form.choose("material", "bone"))
    assert shell.trouble
    assert form.answers == {}
    assert form.state.undo == []
    assert form.state.field == "material"


def test_a_full_disk_does_not_hide_the_stop(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    shell = Shell(desk, FakeCabin(desk))
    shell.new_docket()
    form = shell.form
    assert form is not None

    def full(*_: Any, **__: Any) -> None:
        raise SaveFailed(OSError(28, "no space"), full=True)

    monkeypatch.setattr(desk.notebook, "draft", full)
    assert not shell.do(lambda: form.answer_human("stop"))
    assert form.state.stop
    assert shell.trouble
    monkeypatch.undo()
    saved = shell.save()
    assert saved is not None
    assert saved.stop


def test_the_policy_and_keys_of_the_cabin_reach_the_desk(desk: Desk) -> None:
    save_as_other(desk, "site", desk.site, {"code": CODE, "mode": "licensed", "zone_text": "20 m round the spot"}, {})
    assert desk.site_value("mode") == "licensed"
    hold = Hold(desk, docket(desk, "stop"))
    assert hold.zone() == "20 m round the spot"


def test_edits_of_others_are_never_overwritten_by_making_a_context(desk: Desk) -> None:
    context = desk.context or ""
    edit = Edit("context", context, {"phase": "II"}, {})
    desk.notebook.save_many([edit], desk.by)
    desk.make_context("1042", "pit_fill", "unknown")
    record = desk.record(context)
    assert record is not None
    assert (record.value("phase"), record.value("grave_like")) == ("II", "unknown")
