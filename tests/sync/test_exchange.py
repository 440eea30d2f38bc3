"""What two notebooks and a cabin come to, whatever happens between them. Without sockets."""

from __future__ import annotations

import json
import shutil
import uuid

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldapp.records import changes
from fieldapp.records.fold import fold
from fieldapp.store.notebook import Notebook
from fieldapp.sync import personal_key
from fieldapp.sync.enrol import enrolled
from fieldapp.sync.errors import (
    CabinIsNewer,
    CabinIsOlder,
    NotEnrolled,
    NotUnderstood,
    PasswordRefused,
    SyncError,
    TokenWithdrawn,
)
from fieldapp.sync.exchange import exchange
from tests.server.tablets import SITE, an_id
from tests.sync.conftest import BY, docket, known_to


def states(records) -> dict[str, dict]:
    return {one.id: one.as_json() for one in records}


def test_two_notebooks_come_to_the_same_records_as_the_cabin(site, pair):
    one, other = pair
    docket(one, "a", count=1)
    docket(one, "b", count=5)
    docket(other, "a", count=2)
    first = exchange(one, site.way(one))
    second = exchange(other, site.way(other))
    third = exchange(one, site.way(one))
    assert (first.sent, first.received) == (2, 1)  # the site's own record
    assert (second.sent, second.received) == (1, 3)
    assert (third.sent, third.received) == (0, 1)
    for notebook in pair:
        assert states(notebook.records("docket")) == states(site.ledger.records("docket"))
        assert [record.id for record in notebook.disputed()] == [an_id("a")]
        assert notebook.unsent_count(site.cabin.fingerprint) == 0
    assert [item.path for item in site.ledger.disagreements()] == ["count"]


def test_nothing_new_is_one_small_question(site, pair):
    one, _ = pair
    docket(one, "a", count=1)
    exchange(one, site.way(one))
    asked = []
    way = site.way(one)
    ask = way.ask
    way.ask = lambda *args, **more: (asked.append(args), ask(*args, **more))[1]
    report = exchange(one, way)
    assert [path for _, path in asked] == ["/api/v1/news"]
    assert (report.sent, report.known, report.received) == (0, 0, 0)


def test_nothing_is_noted_as_sent_that_was_not_answered_for(site, pair):
    one, _ = pair
    docket(one, "a", count=1)

    class Silent:
        fingerprint = site.cabin.fingerprint

        def ask(self, method, path, **more):
            answer = site.way(one).ask(method, path, **more)
            return {**answer, "check": ""} if path.endswith("push") else answer

    with pytest.raises(NotUnderstood):
        exchange(one, Silent())
    assert one.unsent_count(site.cabin.fingerprint) == 1


def speaking(site, one, **hello):
    """A cabin whose `hello` says more or other things, and whose answers carry what this tablet has never heard of."""

    class Other:
        fingerprint = site.cabin.fingerprint

        def __init__(self):
            self.asked = []

        def ask(self, method, path, **more):
            self.asked.append(path)
            answer = {**site.way(one).ask(method, path, **more), "weather": {"rain": [1, 2]}}
            if path.endswith("hello"):
                answer |= hello
            for part in (*answer.get("answers", ()), *answer.get("changes", ())):
                part["weather"] = "wet"
            return {key: value for key, value in answer.items() if value is not None}

    return Other()


def test_a_cabin_that_speaks_no_format_of_this_tablet_gets_nothing(site, pair):
    one, _ = pair
    docket(one, "a", count=1)
    for error, match, hello in (
        (CabinIsNewer, "Update the tablet", {"format": 3, "format_min": 2}),
        (CabinIsOlder, "Update the cabin", {"format": 0, "format_min": None}),
    ):
        way = speaking(site, one, **hello)
        with pytest.raises(error, match=match):
            exchange(one, way)
        assert (way.asked, site.ledger.names().head) == (["/api/v1/hello"], 1)


@pytest.mark.parametrize("hello", [{"format": 7, "format_min": 1}, {"format_min": None, "at": None}])
def test_a_newer_cabin_is_spoken_to_as_far_as_known_and_so_is_one_of_the_first(site, pair, hello):
    one, other = pair
    docket(other, "o", count=1)
    exchange(other, site.way(other))
    docket(one, "a", count=1)
    report = exchange(one, speaking(site, one, **hello))
    assert (report.sent, report.received) == (1, 2)


def test_a_newer_tablets_questions_are_answered_and_its_changes_reach_another_byte_for_byte(site, pair):
    """Through the wire both ways: an unknown field, an unknown kind, a newer format, and what is no change any more."""
    one, other = pair
    common = {
        "notebook": one.id, "prev": "", "site": SITE, "over": {}, "by": {"x": 1}, "at": "later", "format": 9,
        "weather": ["wet", 1.50, {"b": 1, "a": 2}],
    }  # fmt: skip
    bodies = [
        json.dumps({**common, "n": 1, "record": an_id("a"), "kind": "docket", "set": {"colour": {"half": "½"}}}),
        json.dumps({**common, "n": 2, "record": an_id("b"), "kind": "weather", "set": {"rain": True}}),
    ]
    unreadable = json.dumps({"notebook": one.id, "n": 3, "format": 99, "everything": "otherwise"})
    entries = [{"id": changes.change_id(body), "body": body, "lang": "x"} for body in [*bodies, unreadable]]
    answer = site.way(one).ask("POST", "/api/v1/push", body={"epoch": "", "changes": entries, "mood": "good"})
    assert [item["answer"] for item in answer["answers"]] == ["taken", "taken", "kept_unread"]
    assert site.ledger.unread()[0]["body"].decode() == unreadable
    exchange(other, site.way(other))
    assert set(bodies) <= {text for _, _, text in other.bodies()}
    # And from a tablet that was given it by another, to a cabin that has lost it.
    other.pull([unreadable])
    site.ledger.renew("put back")
    assert exchange(other, site.way(other)).epoch_changed
    assert [item["body"].decode() for item in site.ledger.unread()] == [unreadable]


def test_a_newer_cabin_with_nothing_to_send_is_not_fetched_from(site, pair):
    one, _ = pair
    exchange(one, site.way(one))
    way = site.way(one)
    ask = way.ask
    # Its tag is another one, because it speaks another format.
    way.ask = lambda *args, known="", **more: {**ask(*args, **more), "format": 2, "format_min": 2, "cursor": 99}
    with pytest.raises(CabinIsNewer):
        exchange(one, way)
    assert one.cursor(site.cabin.fingerprint).seq == 1


def test_an_unknown_field_of_a_newer_tablet_reaches_another_byte_for_byte(site, pair):
    one, other = pair
    body = json.dumps(
        {
            "notebook": an_id("newer"), "n": 1, "prev": "", "site": SITE, "record": an_id("a"), "kind": "docket",
            "set": {"colour": {"of": "the newer", "half": "½"}}, "over": {}, "by": {"x": 1}, "at": "later",
            "format": 9, "weather": ["wet", 1.50, {"b": 1, "a": 2}],
        },
        ensure_ascii=False,
    )  # fmt: skip
    site.ledger.accept([(changes.change_id(body), body)], an_id("newer"))
    exchange(other, site.way(other))
    assert body in {text for _, _, text in other.bodies()}
    assert other.record("docket", an_id("a")).value("colour") == {"of": "the newer", "half": "½"}
    exchange(one, site.way(one))
    assert body in {text for _, _, text in one.bodies()}


def test_what_the_cabin_cannot_read_is_kept_there_reported_here_and_not_sent_again(site, pair):
    one, _ = pair
    change = docket(one, "a", count=1)
    docket(one, "b", count=1)
    altered = change.body.replace('"count":1', '"count":7')
    way = site.way(one)

    def ask(method, path, *, body=None, **more):
        # Damaged on the way, as a bad memory might: the text no longer fits its hash.
        for item in (body or {}).get("changes", ()):
            item["body"] = item["body"].replace(change.body, altered)
        for batch in [body["batch"]] if body and "batch" in body else []:
            batch["bodies"] = [one.replace(change.body, altered) for one in batch["bodies"]]
        return site.way(one).ask(method, path, body=dict(body) if body else None, **more)

    way.ask = ask
    report = exchange(one, way)
    assert [item for item, _ in report.unread] == [change.id]
    assert report.sent == 1
    assert [item["body"].decode() for item in site.ledger.unread()] == [altered]
    assert exchange(one, site.way(one)).unread == []


def test_a_pushed_person_is_set_aside_and_reported(site, pair):
    one, other = pair
    change = one.save("person", an_id("p"), {"name": "I", "role": "director"}, {}, BY)
    report = exchange(one, site.way(one))
    assert [item for item, _ in report.set_aside] == [change.id]
    exchange(other, site.way(other))
    assert other.records("person") == []


def test_a_withdrawn_tablet_keeps_everything(site, pair):
    one, _ = pair
    docket(one, "a", count=1)
    site.cabin.devices.withdraw(one.letter)
    with pytest.raises(TokenWithdrawn, match="kept on the tablet"):
        exchange(one, site.way(one))
    assert one.unsent_count(site.cabin.fingerprint) == 1


def test_a_notebook_that_was_never_let_in_is_told_so(site, new_notebook):
    notebook = new_notebook("stranger")
    with pytest.raises(NotEnrolled):
        exchange(notebook, site.connect("", site.cabin.fingerprint, notebook=notebook.id))


# -- backups


def test_after_a_backup_was_put_back_everything_is_there_again_and_nothing_doubled(site, pair, tmp_path):
    one, other = pair
    docket(one, "a", count=1)
    exchange(one, site.way(one))
    kept = tmp_path / "kept"
    site.close()
    shutil.copytree(site.config.data, kept)
    site.open()
    docket(one, "b", count=2)
    site.ledger.write("docket", an_id("a"), {"note/" + an_id("n"): {"text": "desk", "stage": "analysis"}}, {}, BY)
    exchange(one, site.way(one))
    docket(other, "c", count=3)
    exchange(other, site.way(other))
    exchange(one, site.way(one))
    before = known_to(one)
    site.close()
    shutil.rmtree(site.config.data)
    shutil.copytree(kept, site.config.data)
    site.open()
    site.ledger.renew("put back")
    report = exchange(one, site.way(one))
    assert report.epoch_changed
    assert known_to(one) == before
    assert {row[1] for row in site.ledger.pull(0, 100).rows} == before
    assert site.ledger.names().head == len(before)
    assert exchange(one, site.way(one)).sent == 0
    assert exchange(other, site.way(other)).epoch_changed
    assert states(other.records("docket")) == states(site.ledger.records("docket"))
    assert site.ledger.rebuild_matches()


@pytest.mark.parametrize("grown", [False, True])
def test_a_backup_put_back_without_a_word_is_noticed(site, pair, tmp_path, grown):
    """By its head, or, where it has grown past it again, by another change at the cursor."""
    one, other = pair
    kept = tmp_path / "kept"
    site.close()
    shutil.copytree(site.config.data, kept)
    site.open()
    docket(one, "a", count=1)
    docket(one, "b", count=2)
    exchange(one, site.way(one))
    site.close()
    shutil.rmtree(site.config.data)
    shutil.copytree(kept, site.config.data)
    site.open()
    if grown:
        for number in range(5):
            docket(other, f"c{number}", count=number)
        exchange(other, site.way(other))
    report = exchange(one, site.way(one))
    assert report.epoch_changed
    assert {an_id("a"), an_id("b")} <= {record.id for record in site.ledger.records("docket")}
    assert {row[1] for row in site.ledger.pull(0, 100).rows} >= known_to(one)


# -- copies of a notebook


def copy_of(notebook: Notebook, clock, tmp_path) -> Notebook:
    notebook.close()
    shutil.copytree(notebook.folder, tmp_path / "copy", ignore=shutil.ignore_patterns("lock"))
    return Notebook.open(tmp_path / "copy", clock, lambda: str(uuid.uuid4()))


def test_a_copy_that_writes_the_same_number_is_told_and_both_changes_are_kept(site, pair, clock, tmp_path):
    one, _ = pair
    docket(one, "a", count=1)
    exchange(one, site.way(one))
    with copy_of(one, clock, tmp_path) as copy, Notebook.open(one.folder, clock, lambda: str(uuid.uuid4())) as again:
        first, second = docket(again, "b", count=1), docket(copy, "c", count=1)
        assert (first.n, first.notebook) == (second.n, second.notebook)
        assert not exchange(again, site.way(again)).forks
        report = exchange(copy, site.way(copy))
        assert report.forks
        assert report.notices
        assert copy.lives_elsewhere
        ids = {record.id for record in site.ledger.records("docket")}
        assert {an_id("b"), an_id("c")} <= ids


def test_an_old_copy_notices_before_it_writes_anything(site, pair, clock, tmp_path):
    one, _ = pair
    docket(one, "a", count=1)
    exchange(one, site.way(one))
    with copy_of(one, clock, tmp_path) as copy, Notebook.open(one.folder, clock, lambda: str(uuid.uuid4())) as again:
        docket(again, "b", count=1)
        exchange(again, site.way(again))
        report = exchange(copy, site.way(copy))
        assert report.forks
        assert copy.lives_elsewhere
        assert copy.record("docket", an_id("b")) is not None


# -- signing away from the cabin


def test_an_osteologists_key_signs_on_the_tablet_without_the_cabin(site, pair):
    one, _ = pair
    account, password = site.cabin.accounts.add("B. Bone", "human_osteologist")
    docket(one, "a", **{"human/" + an_id("h"): {"answer": "stop", "why": "", "stage": "trench"}})
    exchange(one, site.way(one))
    with pytest.raises(PasswordRefused):
        personal_key.fetch(one, site.way(one), account.person, account.role, "wrong")
    assert personal_key.kept(one) == []
    personal_key.fetch(one, site.way(one), account.person, account.role, password)
    (key,) = personal_key.kept(one)
    with pytest.raises(PasswordRefused):
        key.unlock("wrong")
    from fieldapp.records import signing

    path = "assessment/" + an_id("x")
    seen = sorted(one.record("docket", an_id("a")).added("human"))
    value = {"verdict": "non_human", "taxon": "sheep", "element": "tibia", "bone_seen": "bone", "seen": seen}
    signed = signing.sign(
        value, private=key.unlock(password), person=key.person, key=key.key, site=SITE, record=an_id("a"), path=path
    )
    one.save("docket", an_id("a"), {path: signed}, {}, key.by)
    assert len(site.ledger.holds()) == 1
    exchange(one, site.way(one))
    assert site.ledger.holds() == []
    personal_key.forget(one, key)
    assert personal_key.kept(one) == []


def test_errors_say_what_was_kept_in_sentences():
    seen = set()
    todo = [SyncError]
    while todo:
        kind = todo.pop()
        todo += kind.__subclasses__()
        fields = dict.fromkeys("address cause pinned met code own theirs message status what".split(), "X")
        text = str(kind(**fields))
        assert text.endswith((".", "X", " X")), text
        assert kind.key not in seen
        seen.add(kind.key)
    assert len(seen) == 27


# -- anything at all


class Step(tuple):
    """(who, record, path, value, whether it has seen what stands)."""


STEPS = st.lists(
    st.tuples(
        st.sampled_from(["one", "other", "cabin", "exchange one", "exchange other"]),
        st.sampled_from("abc"),
        st.sampled_from(["count", "reading", "deleted", "human/x", "same_as/" + an_id("a"), "bag"]),
        st.sampled_from([None, True, 1, 2, {"answer": "stop"}, an_id("b"), {"element": "tibia", "taxon": "sheep"}]),
        st.booleans(),
    ),
    max_size=25,
)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_after_any_history_all_hold_the_same_and_a_rebuild_finds_it_again(tmp_path_factory, clock, steps):
    from fieldapp.sync.enrol import enrolled as at
    from server.cabin import set_up
    from server.config import Config
    from tests.sync.conftest import Site

    base = tmp_path_factory.mktemp("any")
    config = Config(base / "cabin", clock=clock, testing=True)
    set_up(config, code="TST26", name="x")
    site = Site(config)
    notebooks = {name: Notebook.open(base / name, clock, lambda: str(uuid.uuid4())) for name in ("one", "other")}
    try:
        for notebook in notebooks.values():
            site.enrolled(notebook)
            assert at(notebook) is not None
        for who, name, path, value, knowing in steps:
            where, _, which = who.partition(" ")
            if where == "exchange":
                exchange(notebooks[which], site.way(notebooks[which]))
                continue
            held = site.ledger.record(an_id(name)) if who == "cabin" else notebooks[who].record("docket", an_id(name))
            heads = held.head_ids() if held is not None and knowing else {}
            over = heads if path == "deleted" else {path: heads[path]} if path in heads else {}
            save = site.ledger.write if who == "cabin" else notebooks[who].save
            save("docket", an_id(name), {path: value}, over, BY)
        for _ in range(2):
            for notebook in notebooks.values():
                exchange(notebook, site.way(notebook))
        while site.ledger.check_due():
            pass
        for notebook in notebooks.values():
            exchange(notebook, site.way(notebook))
        wanted = states(site.ledger.records("docket", deleted=True))
        for notebook in notebooks.values():
            assert states(notebook.records("docket", deleted=True)) == wanted
        assert states(one for one in fold(notebooks["one"].changes()) if one.kind == "docket") == wanted
        assert site.ledger.rebuild_matches()
    finally:
        for notebook in notebooks.values():
            notebook.close()
        site.close()


def test_the_enrolment_is_kept_with_the_notebook(site, pair):
    one, other = pair
    found = enrolled(one)
    assert found is not None
    assert (found.site, found.letter, one.letter, one.code) == (SITE, "A", "A", "TST26")
    assert other.letter == "B"
    assert found.seal_key == site.cabin.seal_key
