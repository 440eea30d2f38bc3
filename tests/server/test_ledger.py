"""What the ledger keeps, folds and answers, change by change."""

from __future__ import annotations

import hashlib
import json

import pytest

from fieldapp.assets import texts
from fieldapp.domain.ids import context_id
from fieldapp.records import changes
from server.errors import LedgerExists, LedgerIsNewer, LedgerMissing, NotTheSite, ValueNotKept
from server.ledger import CABIN, Ledger
from tests.server.conftest import granted
from tests.server.tablets import CODE, SITE, Osteologist, Tablet, an_id, entries, hold_of, reading


def answers(accepted) -> list[str]:
    return [one.answer for one in accepted.answers]


def push(ledger: Ledger, *tablets: Tablet):
    return [ledger.accept(one.entries(), one.id) for one in tablets]


def whats(accepted) -> list[str]:
    return [one["what"] for one in accepted.notices]


# -- taking in


def test_a_batch_is_folded_and_visible_when_it_is_answered(ledger):
    tablet = Tablet()
    tablet.docket("a", count=1)
    tablet.docket("b", count=2)
    accepted = ledger.accept(tablet.entries(), tablet.id)
    assert answers(accepted) == ["taken", "taken"]
    assert accepted.notices == []
    assert accepted.head == ledger.names().head == 3
    assert [one.value("count") for one in ledger.records("docket")] == [1, 2]


def test_a_batch_sent_again_changes_nothing_and_is_known(ledger):
    tablet = Tablet()
    tablet.docket("a")
    tablet.human("a", "stop")
    push(ledger, tablet)
    before = ledger.names(), ledger.record(an_id("a")).as_json(), ledger.counts()
    again = ledger.accept(tablet.entries() + tablet.entries(), tablet.id)
    assert answers(again) == ["known"] * 4
    assert (ledger.names(), ledger.record(an_id("a")).as_json(), ledger.counts()) == before


def test_one_change_twice_in_a_batch_is_taken_once(ledger):
    tablet = Tablet()
    tablet.docket("a")
    assert answers(ledger.accept(tablet.entries() * 2, tablet.id)) == ["taken", "known"]
    assert ledger.names().head == 2


def test_a_tampered_body_is_kept_unread_and_the_true_one_is_still_taken(ledger):
    tablet = Tablet()
    change = tablet.docket("a", count=1)
    tampered = change.body.replace('"count":1', '"count":9')
    bad = ledger.accept([(change.id, tampered)], tablet.id)
    assert answers(bad) == ["kept_unread"]
    assert "does not match its hash" in texts()[bad.answers[0].why]
    assert ledger.record(an_id("a")) is None
    assert answers(ledger.accept([(change.id, change.body), (change.id, tampered)], tablet.id)) == [
        "taken",
        "kept_unread",
    ]
    assert ledger.record(an_id("a")).value("count") == 1
    assert [one["body"] for one in ledger.unread()] == [tampered.encode()]


@pytest.mark.parametrize(
    "body",
    [
        "",
        "no JSON at all",
        "[1, 2]",
        '{"format": 2, "all": "new"}',
        '"\\ud800"',
        "half a pair \ud800",
        "\x00",
        '{"notebook": "x", "n": 1e999}',
    ],
    ids=repr,
)
def test_a_body_that_is_no_change_is_kept_as_it_came(ledger, body):
    claimed = hashlib.sha256(body.encode("utf-8", "surrogatepass")).hexdigest()
    for _ in range(2):
        accepted = ledger.accept([(claimed, body)], "tablet")
        assert answers(accepted) == ["kept_unread"]
        assert accepted.answers[0].why
    kept = ledger.unread("kept_unread")
    assert [one["body"] for one in kept] == [body.encode("utf-8", "surrogatepass")]
    assert ledger.counts()["unread"] == 1
    assert ledger.rebuild_matches()


def raw(**fields) -> tuple[str, str]:
    """A change as another program may write it: any JSON."""
    parsed = {
        "notebook": an_id("tablet one"), "n": 1, "prev": "", "site": SITE, "record": an_id("a"), "kind": "docket",
        "set": {"count": 1}, "over": {}, "by": {}, "at": "2026-06-01T10:00:00+02:00", "format": 1,
    }  # fmt: skip
    body = json.dumps({**parsed, **fields})
    return changes.change_id(body), body


def nested(levels: int):
    value: object = 1
    for _ in range(levels):
        value = [value]
    return value


@pytest.mark.parametrize(
    "fields",
    [
        {"record": "\ud800"},
        {"set": {"note/\udfff": 1}},
        {"over": {"count": ["\ud800"]}},
        {"n": 2**70},
        {"set": {"count": nested(300)}},
        {"set": {"count": float("1e300")}, "format": 1, "at": "1" * 400},
    ],
    ids=["record", "path", "over", "n", "deep", "long digits that are text"],
)
def test_what_no_database_holds_is_kept_unread_and_stops_nobody_else(ledger, fields):
    other = Tablet("other")
    other.docket("b")
    accepted = ledger.accept([raw(**fields), *other.entries()], "tablet")
    expected = "taken" if "at" in fields else "kept_unread"
    assert answers(accepted) == [expected, "taken"]
    assert ledger.rebuild_matches()


@pytest.mark.parametrize("number", ["1e999", "1" + "0" * 400 + ".0", "-1E+4000"])
def test_a_number_that_cannot_be_written_again_is_kept_unread(ledger, number):
    body = raw()[1].replace('"count": 1', f'"count": {number}')
    assert answers(ledger.accept([(changes.change_id(body), body)], "tablet")) == ["kept_unread"]


def test_half_a_character_pair_inside_a_value_is_kept_and_not_handed_on(ledger):
    broken = raw(set={"note/" + an_id("n"): {"text": "bad \ud800 end", "stage": "trench"}})
    whole = raw(n=2, set={"note/" + an_id("n"): {"text": "good \U0001f9b4 and \x01 end", "stage": "trench"}})
    assert answers(ledger.accept([broken, whole], "tablet")) == ["kept_unread", "taken"]
    assert [(one, body) for _, one, body in ledger.pull(1, 10).rows] == [whole]
    assert [one["body"].decode() for one in ledger.unread()] == [broken[1]]
    assert ledger.rebuild_matches()


def test_unknown_fields_kinds_and_formats_come_out_byte_for_byte(ledger):
    sent = raw(kind="sledge", format=7, extra={"z": [1, None]}, set={"new/path": {"deep": True}})
    assert answers(ledger.accept([sent], "tablet")) == ["taken"]
    assert [(one, body) for _, one, body in ledger.pull(0, 10).rows][-1] == sent
    assert ledger.record(an_id("a")).value("new/path") == {"deep": True}


# -- forks and gaps


def test_two_changes_of_one_number_are_both_kept_and_told(ledger):
    tablet = Tablet()
    first = tablet.docket("a", count=1)
    ledger.accept(tablet.entries(), tablet.id)
    fork = Tablet()
    other = fork.docket("a", count=2)
    accepted = ledger.accept(fork.entries(), fork.id)
    assert answers(accepted) == ["taken"]
    assert accepted.notices == [{"what": "fork", "notebook": tablet.id, "n": 1, "ids": sorted([first.id, other.id])}]
    assert {one.change.id for one in ledger.history(an_id("a"))} == {first.id, other.id}
    assert [(one.path, one.nature) for one in ledger.disagreements()] == [("count", "conflict")]
    assert [one.what for one in ledger.events(what="fork")] == ["fork"]


def test_a_fork_within_one_batch_is_told(ledger):
    one, other = Tablet(), Tablet()
    one.docket("a", count=1)
    other.docket("a", count=2)
    assert whats(ledger.accept(one.entries() + other.entries(), one.id)) == ["fork", "fork"]


def test_a_chain_that_does_not_close_is_told(ledger):
    tablet = Tablet()
    tablet.docket("a")
    tablet.write("docket", an_id("a"), {"count": 2}, prev="0" * 64)
    assert whats(ledger.accept(tablet.entries(), tablet.id)) == ["broken_chain"]


def test_a_gap_is_told_until_it_is_closed_and_noted_once(ledger):
    tablet = Tablet()
    for name in "abcd":
        tablet.docket(name)
    first, second, third, fourth = tablet.entries()
    gap = {"what": "gap", "notebook": tablet.id, "after": 1, "before": 3}
    assert ledger.accept([first], tablet.id).notices == []
    assert ledger.accept([third], tablet.id).notices == [gap]
    assert ledger.accept([fourth], tablet.id).notices == [gap]
    assert ledger.accept([second], tablet.id).notices == []
    assert [one.fields for one in ledger.events(what="gap")] == [gap]


def test_an_unread_change_fills_its_number(ledger):
    tablet = Tablet()
    for name in "ab":
        tablet.docket(name)
    unreadable = raw(n=1, set="no object")
    assert whats(ledger.accept([unreadable, tablet.entries()[1]], tablet.id)) == []


def test_a_mistyped_site_is_told_and_its_raise_is_seen(ledger):
    tablet = Tablet(site=an_id("another site"))
    tablet.docket("a")
    tablet.human("a", "stop")
    assert whats(ledger.accept(tablet.entries(), tablet.id)) == ["other_site"]
    assert [one.docket for one in ledger.holds()] == [an_id("a")]


# -- disagreements


def test_readings_differ_in_precision_or_in_conflict(ledger):
    one, other = Tablet("one"), Tablet("other")
    for name, taxon in (("a", "sheep_goat"), ("b", "cattle")):
        one.docket(name, reading=reading(taxon="sheep"))
        other.write("docket", an_id(name), {"reading": reading(taxon=taxon)})
    push(ledger, one, other)
    found = {item.record: item.nature for item in ledger.disagreements() if item.path == "reading"}
    assert found == {an_id("a"): "precision", an_id("b"): "conflict"}
    assert [item.record for item in ledger.disagreements("precision")] == [an_id("a")]
    assert ledger.counts()["disagreements"] == {"precision": 1, "conflict": 1}


def test_a_disagreement_is_settled_at_the_desk_by_naming_every_head(ledger):
    one, other = Tablet("one"), Tablet("other")
    one.docket("a", reading=reading(taxon="sheep"))
    other.write("docket", an_id("a"), {"reading": reading(taxon="goat")})
    push(ledger, one, other)
    (disputed,) = ledger.disagreements()
    assert {value["taxon"] for value in disputed.heads.values()} == {"sheep", "goat"}
    assert {item.change.by["name"] for item in ledger.who(disputed.heads).values()} == {"A. Digger"}
    ledger.write("docket", an_id("a"), {"reading": reading(taxon="sheep")}, {"reading": list(disputed.heads)}, CABIN)
    assert ledger.disagreements() == []
    assert len(ledger.history(an_id("a"))) == 3


def test_a_deletion_that_missed_a_reading_is_a_disagreement(ledger):
    one, other = Tablet("one"), Tablet("other")
    one.docket("a")
    push(ledger, one)
    one.write("docket", an_id("a"), {"deleted": True}, ledger.record(an_id("a")).head_ids())
    other.write("docket", an_id("a"), {"reading": reading()})
    push(ledger, one, other)
    assert [(item.path, item.nature) for item in ledger.disagreements()] == [("deleted", "deletion")]
    assert len(ledger.records("docket")) == 1


# -- lists


def test_a_docket_lies_in_its_bags_context_once_the_bag_has_come(ledger):
    tablet = Tablet()
    here, there = context_id(SITE, "1042"), context_id(SITE, "1043")
    tablet.write("docket", an_id("a"), {"label": f"{CODE} A1", "bag": an_id("bag"), "context": here})
    push(ledger, tablet)
    assert [one.id for one in ledger.records("docket", here)] == [an_id("a")]
    tablet.write("bag", an_id("bag"), {"label": f"{CODE} A2", "context": there})
    push(ledger, tablet)
    assert ledger.records("docket", here) == []
    assert [one.context for one in ledger.listing("docket", there)] == [there]
    assert ledger.contexts_of(ledger.records("docket")) == {an_id("a"): there}


def test_deleted_records_are_listed_only_when_asked_for(ledger):
    tablet = Tablet()
    tablet.docket("a")
    push(ledger, tablet)
    tablet.write("docket", an_id("a"), {"deleted": True}, ledger.record(an_id("a")).head_ids())
    push(ledger, tablet)
    assert ledger.records("docket") == ledger.listing("docket") == []
    assert [one.life for one in ledger.listing("docket", deleted=True)] == ["deleted"]


# -- handing out


def test_a_pull_pages_through_everything_but_the_askers_own(ledger):
    one, other = Tablet("one"), Tablet("other")
    for number in range(7):
        one.docket(f"a{number}")
        other.docket(f"b{number}")
    for number in range(7):
        ledger.accept([one.entries()[number], other.entries()[number]], "carry")
    rows, cursor, pages = [], 1, 0
    while True:
        page = ledger.pull(cursor, 3, one.id)
        rows += page.rows
        cursor, pages = page.cursor, pages + 1
        if not page.more:
            break
    assert [(change, body) for _, change, body in rows] == other.entries()
    assert pages == 3
    assert cursor == ledger.names().head
    assert len(ledger.pull(0, 100).rows) == 15


def test_sealed_places_go_to_nobody_else(ledger):
    one = Tablet("one")
    one.write("hold", hold_of("a"), {"zone": "trench 3"})
    sealed = one.write("hold", hold_of("a"), {"place_sealed": "c2VhbGVk"})
    push(ledger, one)
    assert sealed.id not in {row[1] for row in ledger.pull(0, 10, "other").rows}
    assert sealed.id in {row[1] for row in ledger.pull(0, 10, notebook=one.id).rows}
    assert ledger.record(hold_of("a")).value("place_sealed") == "c2VhbGVk"


def test_another_change_at_the_cursor_begins_a_new_epoch(ledger):
    tablet = Tablet()
    tablet.docket("a")
    push(ledger, tablet)
    page = ledger.pull(0, 10)
    names = ledger.names()
    same = ledger.pull(page.cursor, 10, "other", epoch=page.epoch, mark=page.mark)
    assert same.epoch == names.epoch
    other = ledger.pull(page.cursor, 10, "other", epoch=page.epoch, mark="f" * 64)
    assert other.epoch != names.epoch
    assert ledger.names().notebook != names.notebook
    # Told once: the tablet's old epoch is no proof against the new one.
    assert ledger.pull(page.cursor, 10, "other", epoch=page.epoch, mark="f" * 64).epoch == other.epoch


# -- the cabin's own notebook


def test_the_cabins_own_changes_are_chained_without_gaps(ledger):
    for count in range(3):
        ledger.write("docket", an_id("a"), {"count": count}, {}, CABIN)
    own = [one.change for one in ledger.history(an_id("a"))]
    assert [one.n for one in own] == [2, 3, 4]
    assert [one.prev for one in own[1:]] == [one.id for one in own[:-1]]
    assert {one.notebook for one in own} == {ledger.names().notebook}


def test_what_cannot_be_written_down_is_refused_whole(ledger):
    head = ledger.names()
    with pytest.raises(ValueNotKept, match="Nothing was saved"):
        ledger.write("docket", an_id("a"), {"count": float("nan")}, {}, CABIN)
    with pytest.raises(NotTheSite):
        ledger.write("site", an_id("other"), {"code": "X"}, {}, CABIN)
    assert ledger.names() == head


def test_a_ledger_is_never_made_over_another_and_not_opened_where_there_is_none(ledger, tmp_path):
    with pytest.raises(LedgerExists):
        Ledger.create(ledger.database.place, code="X1", name="", seal_key="")
    with pytest.raises(LedgerMissing):
        Ledger.open(tmp_path / "none.sqlite")


def test_a_ledger_of_a_later_program_is_left_alone(ledger):
    with ledger.database.writing() as connection:
        connection.exec_driver_sql("UPDATE meta SET value = '2' WHERE key = 'format'")
    with pytest.raises(LedgerIsNewer, match="Update the program"):
        Ledger.open(ledger.database.place)


def test_a_ledger_works_its_records_out_anew_when_the_program_has_learnt(ledger, clock):
    ledger.write("docket", an_id("a"), {"count": 0, "material": "bone"}, {}, CABIN)
    while ledger.check_due():
        pass
    found = {one.rule for one in ledger.problems(record=an_id("a"))}
    assert "count_below_one" in found
    place = ledger.database.place
    with ledger.database.writing() as connection:
        connection.exec_driver_sql("DELETE FROM problem")
        connection.exec_driver_sql("UPDATE meta SET value = '1-of another time' WHERE key = 'known'")
    ledger.close()
    again = Ledger.open(place, clock=clock)
    assert again.rebuild_matches()
    while again.check_due():
        pass
    assert {one.rule for one in again.problems(record=an_id("a"))} == found
    again.close()
    # The same program opens it again without that work.
    third = Ledger.open(place, clock=clock)
    assert not third.check_due()
    third.close()


def test_a_second_process_sees_and_adds(ledger, clock):
    second = Ledger.open(ledger.database.place, clock=clock)
    person = granted(second, Osteologist())
    assert (person.id, person.key) in ledger.authority().grants
    ledger.write("docket", an_id("a"), {"count": 1}, {}, CABIN)
    assert second.record(an_id("a")).value("count") == 1
    second.close()


def test_a_rebuild_notices_a_row_that_was_altered_and_mends_it(ledger):
    tablet = Tablet()
    tablet.docket("a")
    tablet.human("a", "stop")
    push(ledger, tablet)
    assert ledger.rebuild_matches()
    with ledger.database.writing() as connection:
        connection.exec_driver_sql("UPDATE record SET answer = 'no_sign' WHERE kind = 'docket'")
    assert ledger.rebuild_differences() == [an_id("a")]
    ledger.rebuild()
    assert ledger.rebuild_matches()
    assert ledger.counts()["answers"] == {"stop": 1}


def test_a_batch_that_fails_half_way_leaves_nothing(ledger, monkeypatch):
    tablet = Tablet()
    tablet.docket("a")
    monkeypatch.setattr("server.ledger.folding.store", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        ledger.accept(tablet.entries(), tablet.id)
    monkeypatch.undo()
    assert ledger.names().head == 1
    assert answers(ledger.accept(entries(tablet.changes), tablet.id)) == ["taken"]
