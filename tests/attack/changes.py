"""What a recorder's token can push against a hold: each attack writes changes of the rogue's notebook, or others', and
pushes them. Not here: what has to stand afterwards."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from fieldapp.domain.ids import context_id, site_id
from fieldapp.records import changes
from tests.attack.people import Rogue
from tests.server.review.scene import replace_tablet
from tests.server.tablets import CODE, SITE, Osteologist, Tablet, an_id, entries, hold_of

STOP, HOLD = an_id("stop"), hold_of("stop")
SHEEP = {"verdict": "non_human", "taxon": "sheep", "element": "femur", "bone_seen": "bone", "reasons": "invented"}
GO_ON = {"word_of": "nobody", "reference": "none"}
PATH, RELEASE = f"assessment/{an_id('forged')}", f"release/{an_id('forged')}"

Attack = Callable[[Rogue], None]
ATTACKS: dict[str, Attack] = {}


def attack(one: Attack) -> Attack:
    ATTACKS[one.__name__] = one
    return one


def _assess(rogue: Rogue, value: dict[str, Any]) -> None:
    rogue.write("docket", STOP, {PATH: value}, {"human": rogue.seen(), **rogue.heads(STOP)})


# -- assessments and releases that nobody entitled has made


@attack
def an_assessment_without_a_signature(rogue: Rogue) -> None:
    _assess(rogue, {**SHEEP, "seen": rogue.seen()})


@attack
def an_assessment_in_the_osteologists_name_with_a_key_of_ones_own(rogue: Rogue) -> None:
    account, _ = rogue.scene.accounts["human_osteologist"]
    forger = Osteologist()
    forger.id, forger.key = account.person, account.key
    rogue.write("docket", STOP, forger.assess(STOP, rogue.seen()))


@attack
def an_assessment_by_somebody_the_cabin_does_not_know(rogue: Rogue) -> None:
    rogue.write("docket", STOP, Osteologist("a stranger").assess(STOP, rogue.seen()))


@attack
def a_verdict_altered_after_it_was_signed(rogue: Rogue) -> None:
    told = {**SHEEP, "verdict": "cannot_tell", "seen": rogue.seen()}
    _assess(rogue, {**rogue.signed("human_osteologist", PATH, record=STOP, **told), "verdict": "non_human"})


@attack
def readings_added_to_what_was_seen_after_it_was_signed(rogue: Rogue) -> None:
    signed = rogue.signed("human_osteologist", PATH, record=STOP, **SHEEP, seen=[])
    _assess(rogue, {**signed, "seen": rogue.seen()})


@attack
def a_signature_made_for_another_docket(rogue: Rogue) -> None:
    _assess(rogue, rogue.signed("human_osteologist", PATH, record=an_id("query"), **SHEEP, seen=rogue.seen()))


@attack
def a_signature_made_for_another_path(rogue: Rogue) -> None:
    _assess(rogue, rogue.signed("human_osteologist", PATH + "0", record=STOP, **SHEEP, seen=rogue.seen()))


@attack
def a_signature_made_for_another_site(rogue: Rogue) -> None:
    other = site_id("OTH26")
    _assess(rogue, rogue.signed("human_osteologist", PATH, record=STOP, site=other, **SHEEP, seen=rogue.seen()))


@attack
def an_assessment_by_those_who_may_not(rogue: Rogue) -> None:
    for role in ("recorder", "supervisor", "zooarchaeologist", "director", "administrator"):
        path = f"assessment/{an_id(role)}"
        rogue.write("docket", STOP, {path: rogue.signed(role, path, record=STOP, **SHEEP, seen=rogue.seen())})


@attack
def an_assessment_with_a_key_that_was_revoked(rogue: Rogue) -> None:
    value = rogue.signed("human_osteologist", PATH, record=STOP, **SHEEP, seen=rogue.seen())
    account, _ = rogue.scene.accounts["human_osteologist"]
    rogue.scene.cabin.accounts.withdraw(account.person, account.role, revoke_keys=True)
    _assess(rogue, value)


@attack
def an_assessment_that_names_no_reading_by_its_id(rogue: Rogue) -> None:
    for n, seen in enumerate(([], ["human/*"], [f"human/{an_id('stop first')}"], "all", None, [None])):
        path = f"assessment/{an_id(f'loose {n}')}"
        rogue.write("docket", STOP, {path: rogue.signed("human_osteologist", path, record=STOP, **SHEEP, seen=seen)})


@attack
def people_and_rules_of_ones_own(rogue: Rogue) -> None:
    person = Osteologist("self-made")
    record = {"name": "Self-made", "role": person.role, "active": True, f"key/{person.key}": person.grant}
    policy = {"zooarchaeologists_may_assess": [person.id], "second_reader": False}
    for kind in ("person", "docket", "bag"):
        rogue.write(kind, person.id, record)
    for kind in ("site", "context"):
        rogue.write(kind, SITE, {"policy": policy, "mode": "licensed"}, rogue.heads(SITE))
    rogue.write("docket", STOP, person.assess(STOP, rogue.seen()))


@attack
def a_release_without_a_signature_or_by_another_role_or_for_another_hold(rogue: Rogue) -> None:
    seen = rogue.seen()
    rogue.write("hold", HOLD, {RELEASE: {**GO_ON, "seen": seen}})
    for role in ("supervisor", "human_osteologist", "administrator"):
        path = f"release/{an_id(role)}"
        rogue.write("hold", HOLD, {path: rogue.signed(role, path, record=HOLD, **GO_ON, seen=seen)})
    path = f"release/{an_id('moved')}"
    moved = rogue.signed("director", path, record=hold_of("query"), **GO_ON, seen=seen)
    rogue.write("hold", HOLD, {path: moved})
    rogue.write("docket", STOP, {path: moved})
    path = f"release/{an_id('altered')}"
    signed = rogue.signed("director", path, record=HOLD, **GO_ON, seen=["human/other@0"])
    rogue.write("hold", HOLD, {path: {**signed, "seen": seen}})


# -- readings written over, by old and new versions


@attack
def a_milder_answer_over_the_heads_of_the_raise(rogue: Rogue) -> None:
    path = f"human/{an_id('stop first')}"
    for value in ({"answer": "no_sign"}, {"answer": "not_asked"}, None, False, {}):
        rogue.write("docket", STOP, {path: value}, {path: rogue.heads(STOP)[path]})


@attack
def an_older_version_that_had_one_field_for_the_question(rogue: Rogue) -> None:
    path = f"human/{an_id('stop first')}"
    old = {"human": "no", "possible_human": False, "raised": False, path: "no"}
    rogue.write("docket", STOP, old, {path: rogue.heads(STOP)[path], "human": rogue.heads(STOP)[path]})


@attack
def a_newer_format_that_says_it_clears(rogue: Rogue) -> None:
    tablet = rogue.tablet
    body: dict[str, Any] = json.loads(tablet.write("docket", STOP, {"note/x": {"text": "x"}}).body)
    for more in (
        {"format": 99, "clears": rogue.seen(), "drop": ["human/"]},
        {"format": 2, "set": {f"human/{an_id('stop first')}": {"v2": {"answer": "non_human"}}}},
    ):
        written = changes.read(changes.canonical({**body, **more, "n": body["n"] + 1}))
        tablet.changes.append(written)


@attack
def bodies_that_are_no_changes(rogue: Rogue) -> None:
    texts = ("{", "null", "[]", json.dumps({"record": STOP, "deleted": True}), "x" * 1000)
    assert set(rogue.push([(changes.change_id(one), one) for one in texts])) == {"kept_unread"}


# -- deletions, moves, and other claims


@attack
def everything_deleted_with_every_head_named(rogue: Rogue) -> None:
    pit = context_id(SITE, "1057")
    for kind, record in (("docket", STOP), ("hold", HOLD), ("context", pit)):
        rogue.write(kind, record, {"deleted": True}, rogue.heads(record))


@attack
def other_kinds_claimed(rogue: Rogue) -> None:
    for kind in ("aaa", "bag", "context", "group", "photo", "zzz"):
        rogue.write(kind, STOP, {"x": 1})
        rogue.write(kind, HOLD, {"x": 1})
    rogue.write("hold", STOP, {"docket": an_id("rib")})
    rogue.write("docket", HOLD, {"label": "x"})


@attack
def the_hold_pointed_at_another_docket_and_context(rogue: Rogue) -> None:
    values = {"docket": an_id("rib"), "context": context_id(SITE, "1042")}
    rogue.write("hold", HOLD, values, rogue.heads(HOLD, *values))


@attack
def the_hold_pointed_at_nothing(rogue: Rogue) -> None:
    values = {"docket": None, "context": None}
    rogue.write("hold", HOLD, values, rogue.heads(HOLD, *values))


@attack
def a_milder_tier(rogue: Rogue) -> None:
    rogue.write("hold", HOLD, {"tier": "query"}, rogue.heads(HOLD, "tier"))


@attack
def a_second_hold_for_the_docket(rogue: Rogue) -> None:
    rogue.write("hold", an_id("rogue hold"), {"docket": STOP, "tier": "query", "zone": "nothing", "in_place": False})
    rogue.write("hold", an_id("rogue hold"), {"deleted": True})


@attack
def joined_to_what_was_assessed_as_an_animal_and_parted_again(rogue: Rogue) -> None:
    record, path = an_id("lamb"), f"assessment/{an_id('lamb')}"
    rogue.tablet.docket("lamb", label=f"{CODE} R9")
    rogue.tablet.human("lamb", "query", "lamb first")
    rogue.push()
    seen = rogue.seen("lamb")
    signed = rogue.signed("human_osteologist", path, record=record, **SHEEP, seen=seen)
    rogue.scene.cabin.ledger.write("docket", record, {path: signed}, {}, rogue.scene.accounts["director"][0].by)
    for one, other in ((STOP, record), (record, STOP)):
        rogue.write("docket", one, {f"same_as/{other}": True})
    rogue.push()
    for one, other in ((STOP, record), (record, STOP)):
        link = f"same_as/{other}"
        rogue.write("docket", one, {link: None}, rogue.heads(one, link))


@attack
def the_seal_spoilt_by_something_that_does_not_open(rogue: Rogue) -> None:
    for value in ("x", None, 7, {"place": "x"}):
        rogue.write("hold", HOLD, {"place_sealed": value})


# -- notebooks that are not what they say


@attack
def a_copy_of_the_notebook_that_never_saw_the_raise(rogue: Rogue) -> None:
    twin = replace_tablet(rogue.scene.a)
    twin.changes = twin.changes[:1]
    twin.docket("stop", label=f"{CODE} A7", reading=None)
    twin.write("docket", STOP, {"deleted": True}, {"label": [twin.changes[-1].id]})
    assert set(rogue.push(twin.entries(1))) == {"taken"}


@attack
def another_site_claimed(rogue: Rogue) -> None:
    for site in ("00000000-0000-0000-0000-000000000000", "ffffffff-ffff-ffff-ffff-ffffffffffff", ""):
        stranger = Tablet(f"of site {site}", site)
        stranger.id, stranger.site = an_id(f"of site {site}"), site
        written = [stranger.write("docket", STOP, {"x": 1}), stranger.write("hold", HOLD, {"x": 1})]
        rogue.push(entries(written))


@attack
def the_cabins_last_number_given_away(rogue: Rogue) -> None:
    cabin = Tablet("in the cabin's name")
    cabin.id = rogue.scene.cabin.ledger.names().notebook
    last = cabin.write("bag", an_id("a bag"), {"label": "x"}, n=changes.BIGGEST_N, prev="0" * 64)
    assert rogue.push(entries([last])) == ["taken"]


@attack
def ids_that_are_none(rogue: Rogue) -> None:
    pit = context_id(SITE, "1057")
    for odd in ("", "no uuid", "..", "none", "a/b", "?", "ü", "\x00", "x" * 3000, STOP.upper()):
        rogue.write("docket", odd, {"context": pit, "label": odd, "same_as/": True})
        rogue.write("hold", odd, {"docket": odd, "context": pit, "tier": "query"})
