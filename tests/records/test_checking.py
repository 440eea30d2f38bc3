"""A record among others: what surrounds it is found, nothing else is, and many take no longer each than few."""

from __future__ import annotations

import uuid
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.domain.readings import compare
from fieldapp.records.checking import AT_ONCE, Among
from fieldapp.records.fold import Fold, Record
from tests.domain.cases.records import BAG, CONTEXT, PHOTO, SAMPLE, TRANSFER, docket, shin
from tests.records.makers import Pen

K = assets.knowledge()
QUERY = {"answer": "query", "in_place": False}


def one(name: str) -> str:
    return str(uuid.uuid5(uuid.NAMESPACE_OID, name))


class Dig:
    """Records of an invented dig, by name."""

    def __init__(self) -> None:
        self.pen, self.fold = Pen(), Fold()

    def put(self, kind: str, name: str, /, **set: Any) -> Dig:
        """Adds a change to a record; values that start with "@" are the ids of names, in paths too."""
        values = {
            "/".join(one(part[1:]) if part.startswith("@") else part for part in path.split("__")): (
                one(value[1:]) if isinstance(value, str) and value.startswith("@") else value
            )
            for path, value in set.items()
        }
        self.fold.apply(self.pen.write(values, record=one(name), kind=kind))
        return self

    def delete(self, name: str) -> Dig:
        """Deletes a record, having seen all of it."""
        record = self[name]
        self.fold.apply(self.pen.write({"deleted": True}, record.head_ids(), record=record.id, kind=record.kind))
        return self

    def among(self, **more: Any) -> Among:
        return Among(self.fold, K, **more)

    def around(self, name: str, **more: Any):
        return self.among(**more).around(self[name])

    def rules(self, name: str, **more: Any) -> set[str]:
        return {found.problem.rule for found in self.among(**more).check(self[name])}

    def __getitem__(self, name: str) -> Record:
        return self.fold.records[one(name)]


def dig() -> Dig:
    """A site, a context, a sample, two bags and two dockets."""
    found = Dig().put("site", "site", code="HLG26", region="here").put("context", "here", **CONTEXT)
    found.put("sample", "sample", **{path.replace("/", "__"): value for path, value in SAMPLE.items()})
    found.put("sample", "sample", context="@here")
    found.put("bag", "bag", **{**BAG, "context": "@here", "sample": "@sample", "fraction": "r4"})
    found.put("bag", "other bag", label="x", context="@here")
    for name in ("a", "b"):
        sound = {path.replace("/", "__"): value for path, value in docket(bag="@bag", label=name).items()}
        found.put("docket", name, **sound)
    return found


def test_a_docket_is_seen_with_its_context_bag_sample_and_site():
    around = dig().around("a")
    assert around.context["number"] == "1042"
    assert (around.bag["label"], around.sample["litres"], around.site["code"]) == (BAG["label"], 10, "HLG26")
    assert (around.photos, around.transfers, around.refits, around.joined) == ({}, {}, {}, {})


def test_a_bag_is_seen_with_its_sample_and_all_that_is_in_it():
    around = dig().delete("b").around("bag")
    assert around.sample["litres"] == 10
    assert [inside["label"] for inside in around.inside] == ["a"]


def test_a_refit_and_a_double_are_seen_from_both_ends():
    found = dig()
    found.put("docket", "a", **{"joins__@b": {"break": "fresh"}, "same_as__@b": True})
    for name, other in ("ab", "ba"):
        around = found.around(name)
        assert list(around.refits) == list(around.joined) == [one(other)]


def test_a_link_that_was_taken_away_joins_nothing():
    found = dig()
    change = found.pen.write({f"joins/{one('b')}": {"break": "old"}}, record=one("a"))
    found.fold.apply(change)
    taken = {f"joins/{one('b')}": [change.id]}
    found.fold.apply(found.pen.write({f"joins/{one('b')}": None}, taken, record=one("a")))
    assert found.around("a").refits == {}


def test_photos_are_found_by_what_they_show_and_by_who_links_them():
    found = dig().put("photo", "p1", **{**PHOTO, "docket": "@a"}).put("photo", "p2", **{**PHOTO, "docket": None})
    found.put("docket", "a", **{"photo__@p2": True})
    assert set(found.around("a").photos) == {one("p1"), one("p2")}
    assert found.around("b").photos == {}
    assert [shown["label"] for shown in found.around("p2").inside] == ["a"]
    assert found.around("p1").subject["label"] == "a"
    assert found.among().context_of(found["p1"]) == one("here")


def test_transfers_are_found_and_see_what_they_are_about():
    found = dig().put("transfer", "t", **{**TRANSFER, "docket": "@a"})
    found.put("transfer", "whole", **{**TRANSFER, "docket": None, "bag": "@bag"})
    assert [moved["kind"] for moved in found.around("a").transfers.values()] == ["destructive_sample"]
    assert found.around("t").subject["label"] == "a"
    assert found.around("whole").subject["label"] == BAG["label"]
    assert [inside["label"] for inside in found.around("whole").inside] == ["a", "b"]


def test_a_transfer_of_a_bag_sees_the_possible_human_in_it_and_a_docket_the_one_joined_to_it():
    found = dig().put("transfer", "t", **{**TRANSFER, "docket": None, "bag": "@bag", "kind": "loan"})
    assert "transfer_of_possible_human" not in found.rules("t")
    found.put("docket", "b", human__raised=QUERY)
    assert "transfer_of_possible_human" in found.rules("t")
    found.put("transfer", "s", **{**TRANSFER, "docket": "@a"})
    assert "transfer_of_possible_human" not in found.rules("s")
    found.put("docket", "b", **{"same_as__@a": True})
    assert "transfer_of_possible_human" in found.rules("s")


def test_a_photo_is_missing_only_where_everything_was_looked_for():
    found = dig().put("docket", "a", **{"photo__@gone": True})
    assert "photo_missing" not in found.rules("a")
    assert "photo_missing" in found.rules("a", whole=True)
    found.put("photo", "gone", **{**PHOTO, "docket": "@a"})
    assert "photo_missing" not in found.rules("a", whole=True)


def test_what_was_deleted_surrounds_nothing():
    found = dig().put("photo", "p", **{**PHOTO, "docket": "@a"}).put("transfer", "t", **{**TRANSFER, "docket": "@a"})
    assert None not in (found.around("a").photos.get(one("p")), found.around("a").site)
    found.delete("p").delete("t").delete("site")
    around = found.around("a")
    assert (around.photos, around.transfers, around.site) == ({}, {}, None)


def test_records_that_name_themselves_or_each_other_do_not_go_round():
    found = dig().put("photo", "p", docket="@p", context="@p").put("transfer", "t", docket="@p", bag="@t")
    found.put("docket", "a", **{"joins__@a": {"break": "old"}, "same_as__@a": True, "docket": "@a", "bag": "@a"})
    assert len(list(found.among(whole=True).check_all())) > 0


def test_a_disputed_reading_finds_the_double_of_each_version():
    found = dig()
    found.put("docket", "a", reading=shin(taxon="sheep"))
    found.put("docket", "c", **{"bag": "@bag", "weight_g": 120.5, "label": "c", "reading": shin(taxon="sheep")})
    doubles = [it for it in found.among().check(found["a"]) if it.problem.rule == "possible_double"]
    assert {it.problem.fields["other"] for it in doubles} == {"b", "c"}
    assert all(len(it.readings) == 1 for it in doubles)


readings = st.builds(
    lambda taxon, side, sex, portions: {**shin(taxon=taxon, side=side), "sex": sex, "portions": portions},
    st.sampled_from(["cattle", "sheep", None]),
    st.sampled_from(["left", None, ""]),
    st.sampled_from([None, "", "male", ["male"]]),
    st.sampled_from([{"head": "most"}, {"head": "most", "tuber": "not_examined"}, {}, None]),
)


@settings(max_examples=60)
@given(st.lists(st.tuples(readings, st.sampled_from([1, 2.5, 1.0, None]), st.sampled_from("xy")), max_size=7))
def test_doubles_are_those_that_comparing_every_pair_finds(dockets):
    """Outside check: every pair compared, without any index. A reading with a list in it is like no other,
    and one of which no portion is there says too little."""
    found = Dig()
    for at, (reading, weight, bag) in enumerate(dockets):
        found.put("docket", str(at), reading=reading, weight_g=weight, bag=f"@{bag}", label=str(at))
    among = found.among()
    for at, (reading, *place) in enumerate(dockets):
        double = any(
            other != at
            and place == its_place
            and place[0] is not None
            and reading["portions"]  # a scrap of which nothing is written is like any other
            and compare(reading, its, K) == "same"
            and not isinstance(reading["sex"], list)
            and "most" in (reading["portions"] or {}).values()
            for other, (its, *its_place) in enumerate(dockets)
        )
        assert ("possible_double" in {it.problem.rule for it in among.check(found[str(at)])}) == bool(double)


def test_of_many_that_weigh_and_read_the_same_in_one_bag_one_is_looked_at():
    found = Dig()
    for at in range(300):
        found.put("docket", str(at), reading=shin(), weight_g=1, bag="@bag", label=f"x{at}")
    among = found.among()
    assert all(len(among.around(found[str(at)]).siblings) == 1 for at in range(300))


# Where people disagree, the rules see the cautious side


def test_a_context_that_one_person_calls_like_a_grave_is_one_for_the_rules() -> None:
    for first, second in (("yes", "no"), ("no", "yes")):
        dig = Dig().put("bag", "b", context="@c").put("docket", "d", **{**docket(human__1=...), "bag": "@b"})
        dig.put("context", "c", **{**CONTEXT, "grave_like": first}).put("context", "c", grave_like=second)
        assert "grave_without_answer" in dig.rules("d")


def test_a_bag_that_two_people_gave_to_two_contexts_is_from_the_grave_for_the_rules() -> None:
    for first, second in (("@c", "@grave"), ("@grave", "@c")):
        dig = Dig().put("context", "c", **CONTEXT).put("context", "grave", **{**CONTEXT, "type": "grave"})
        dig.put("docket", "d", **{**docket(human__1=...), "bag": "@b"})
        dig.put("bag", "b", context=first).put("bag", "b", context=second)
        assert "grave_without_answer" in dig.rules("d")
        dig.put("docket", "e", **{**docket(human__1=...), "bag": "@plain"}).put("bag", "plain", context="@c")
        assert "grave_without_answer" not in dig.rules("e")


def test_a_bone_that_one_person_calls_no_bone_is_still_asked_about() -> None:
    for first, second in (("bone", "not_bone"), ("not_bone", "bone")):
        dig = Dig().put("context", "c", **{**CONTEXT, "type": "grave"}).put("bag", "b", context="@c")
        dig.put("docket", "d", material=first, bag="@b").put("docket", "d", material=second)
        assert "grave_without_answer" in dig.rules("d")


def test_records_looked_at_together_have_what_each_has_by_itself():
    dig = Dig().put("bag", "bag", label="B", weight_g=1)
    for number in range(AT_ONCE + 7):
        taxon = "human" if number % 3 else "sheep"
        dig.put("docket", f"d{number}", bag="@bag", reading=shin(taxon=taxon), weight_g=number - 1)
    dig.fold.apply(Pen("other").write({"reading": shin(taxon="pig")}, record=one("d5"), kind="docket"))
    records = list(dig.fold)
    together = list(dig.among().check_many(records))
    assert [record for record, _ in together] == records
    assert [found for _, found in together] == [dig.among().check(record) for record in records]
    assert any(found.readings for _, many in together for found in many)


def test_an_answer_that_was_added_is_seen_by_those_that_have_the_docket_beside_them():
    dig = Dig().put("docket", "a", reading=shin()).put("photo", "p", docket="@a", closed=False)
    among = dig.among()
    assert "photo_open_of_possible_human" not in {one.problem.rule for one in among.check(dig["p"])}
    dig.put("docket", "a", human__1=QUERY)
    among.raised(dig["a"])
    assert "photo_open_of_possible_human" in {one.problem.rule for one in among.check(dig["p"])}
