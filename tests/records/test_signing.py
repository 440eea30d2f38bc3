"""Signatures hold for one value at one place by one granted key, and standings read from records obey them."""

from __future__ import annotations

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.domain import human, ids
from fieldapp.records.fold import fold
from fieldapp.records.signing import grants, public_text, sign, signer
from fieldapp.records.standing import authority, is_released, joined_answer, joined_to, standing_of
from tests.records.makers import DOCKET, SITE, Pen

NAMES = assets.knowledge().names
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
OTHER = Ed25519PrivateKey.from_private_bytes(bytes(range(1, 33)))
VERDICT = {"verdict": "non_human", "taxon": "cattle", "element": "tibia", "bone_seen": "bone"}


def person(key=KEY, role="human_osteologist", revoked=False, who="p-ost"):
    value = {"public": public_text(key), "role": role, "revoked": revoked}
    return Pen("cabin").write({"name": "Ost", "role": role, "key/k1": value}, record=who, kind="person")


def people(*changes):
    return authority(None, fold(changes), NAMES)


def signed(seen, key=KEY, path="assessment/1", record=DOCKET, who="p-ost", **more):
    return sign(
        {**VERDICT, "seen": seen, **more}, private=key, person=who, key="k1", site=SITE, record=record, path=path
    )


def docket(*sets):
    pen = Pen("A")
    changes = [pen.write({"human/1": {"answer": "stop"}})]
    reading = f"human/1@{changes[0].id}"
    changes += [pen.write(one(reading) if callable(one) else one) for one in sets]
    return fold(changes).records[DOCKET]


def test_a_signed_assessment_that_names_the_reading_clears_it():
    record = docket(lambda reading: {"assessment/1": signed([reading])})
    assert standing_of(record, people(person())).answer == human.NON_HUMAN


@pytest.mark.parametrize(
    "who",
    [people(), people(person(revoked=True)), people(person(OTHER)), people(person(who="p-somebody-else"))],
    ids=["no key granted", "key revoked", "another key", "another person's key"],
)
def test_a_signature_without_a_granted_key_clears_nothing(who):
    record = docket(lambda reading: {"assessment/1": signed([reading])})
    assert standing_of(record, who).answer == human.STOP


@pytest.mark.parametrize(
    "place",
    [{"site": ids.site_id("OTHER")}, {"record": "another bone"}, {"path": "assessment/2"}],
    ids=["site", "record", "path"],
)
def test_a_signature_cannot_be_carried_to_another_place(place):
    known = grants(fold([person()]))
    here = {"site": SITE, "record": DOCKET, "path": "assessment/1"}
    value = signed([])
    assert signer(value, known, **here) is not None
    assert signer(value, known, **{**here, **place}) is None


@given(st.sampled_from(["verdict", "taxon", "element", "seen", "bone_seen", "signer", "key"]), st.text(max_size=5))
def test_whatever_is_altered_after_signing_voids_it(field, text):
    value = signed(["a"])
    changed = {**value, field: text}
    known = grants(fold([person()]))
    assert signer(changed, known, site=SITE, record=DOCKET, path="assessment/1") is None


@given(
    st.recursive(
        st.none() | st.text(max_size=4) | st.integers(),
        lambda s: st.lists(s) | st.dictionaries(st.sampled_from(["signer", "key", "signature"]), s),
        max_leaves=5,
    )
)
def test_whatever_stands_in_place_of_a_signed_value_is_unsigned(value):
    assert signer(value, grants(fold([person()])), site=SITE, record=DOCKET, path="assessment/1") is None


def test_a_key_about_which_the_record_disagrees_is_no_key():
    other = {"public": public_text(OTHER), "role": "human_osteologist", "revoked": False}
    intruder = Pen("tablet").write({"key/k1": other}, record="p-ost", kind="person")
    assert grants(fold([person(), intruder])) == {}


def test_a_policy_about_which_the_record_disagrees_names_nobody():
    pens = Pen("cabin"), Pen("other")
    site = fold(
        pen.write(
            {"policy": {"zooarchaeologists_may_assess": [f"p-{i}"], "second_reader": False}}, record=SITE, kind="site"
        )
        for i, pen in enumerate(pens)
    ).records[SITE]
    assert authority(site, [], NAMES).policy == human.Policy(names=NAMES)


def test_a_deletion_does_not_take_a_raise_away():
    record = docket({"deleted": True})
    assert standing_of(record, people()).answer == human.STOP


def test_dockets_joined_as_one_bone_are_found_from_either_end():
    a, b = Pen("A"), Pen("B")
    state = fold(
        [
            a.write({"human/1": {"answer": "query"}}, record="one"),
            b.write({"human/2": {"answer": "no_sign"}, "same_as/one": True}, record="two"),
        ]
    )
    mild = state.records["two"]
    assert [one.id for one in joined_to(mild, state.records.get)] == ["two", "one"]
    assert [
        one.id for one in joined_to(state.records["one"], state.records.get, lambda one: {"one": ["two"]}.get(one, ()))
    ] == ["one", "two"]
    assert joined_answer(joined_to(mild, state.records.get), people()) == human.QUERY


def test_a_chain_of_joined_dockets_is_followed_to_its_end_from_either_end():
    pen = Pen("A")
    state = fold(
        [
            pen.write({"same_as/b": True}, record="a"),
            pen.write({"same_as/c": True}, record="b"),
            pen.write({}, record="c"),
        ]
    )
    pointing = {"b": ["a"], "c": ["b"]}
    for start in "abc":
        joined = joined_to(state.records[start], state.records.get, lambda one: pointing.get(one, ()))
        assert {one.id for one in joined} == {"a", "b", "c"}


def test_a_parting_that_is_in_dispute_leaves_dockets_joined():
    ana, ben = Pen("A"), Pen("B")
    link = ana.write({"same_as/two": True}, record="one")
    parted = ana.write({"same_as/two": None}, {"same_as/two": [link.id]}, record="one")
    again = ben.write({"same_as/two": True}, {"same_as/two": [link.id]}, record="one")
    state = fold([link, parted, again, ben.write({}, record="two")])
    assert [one.id for one in joined_to(state.records["one"], state.records.get)] == ["one", "two"]


def test_dockets_that_were_parted_again_stand_alone():
    a = Pen("A")
    link = a.write({"same_as/two": True}, record="one")
    state = fold(
        [link, a.write({"same_as/two": None}, {"same_as/two": [link.id]}, record="one"), a.write({}, record="two")]
    )
    assert [one.id for one in joined_to(state.records["one"], state.records.get)] == ["one"]


def released_hold(bone):
    """A hold with the director's signed word over every answer the bone has now."""
    record = ids.hold_id(DOCKET)
    word = {"seen": list(bone.added("human")), "word_of": "the licence holder, letter 12"}
    release = sign(word, private=KEY, person="p-dir", key="k1", site=SITE, record=record, path="release/1")
    change = Pen("cabin").write({"docket": DOCKET, "release/1": release}, record=record, kind="hold")
    return fold([change]).records[record]


def test_a_hold_is_released_by_a_director_s_signed_word_over_every_reading():
    bone = docket()
    hold = released_hold(bone)
    assert is_released(hold, bone, people(person(role="director", who="p-dir")))
    assert not is_released(hold, bone, people(person(role="supervisor", who="p-dir")))
    assert not is_released(hold, docket({"human/2": {"answer": "query"}}), people(person(role="director", who="p-dir")))


def test_a_verdict_human_after_the_written_word_opens_the_hold_again():
    hold = released_hold(docket())
    director = people(person(role="director", who="p-dir"))
    mild = docket({"assessment/1": {"verdict": "cannot_tell", "seen": []}})
    assert is_released(hold, mild, director)
    unsigned = docket({"assessment/1": {"verdict": "human", "seen": []}})
    assert not is_released(hold, unsigned, director)
