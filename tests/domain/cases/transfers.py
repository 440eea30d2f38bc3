"""Cases of the rules about transfers and photos."""

from __future__ import annotations

from typing import Any

from tests.domain.cases.records import CONTEXT, PHOTO, QUERY, TRANSFER, VERDICT, Case, Cases, c, docket, shin

RAISED = docket(human__2=QUERY)
CLEARED = docket(human__2=QUERY, assessment__1={**VERDICT, "seen": ["human/2@abc"]})
HUMAN = docket(human__2=QUERY, assessment__1={**VERDICT, "verdict": "human", "seen": ["human/2@abc"]})
UNREAD = docket(reading=None)


def t(about: dict[str, Any] | None = None, **changes: Any) -> Case:
    """A transfer's case."""
    return c({**TRANSFER, **changes}, context=CONTEXT, subject=docket() if about is None else about, whole=True)


def p(about: dict[str, Any] | None = None, **changes: Any) -> Case:
    """A photo's case."""
    return c({**PHOTO, **changes}, context=CONTEXT, subject=docket() if about is None else about, whole=True)


def marked(kind: str, **around: Any) -> Case:
    """The case of a docket with a mark."""
    return Case(docket(mark__1={"kind": kind}), c({}, whole=True, **around).around)


def shown_in(photo: str, **around: Any) -> Case:
    """The case of a docket with a photo."""
    return Case(docket(**{f"photo__{photo}": True}), c({}, photos={"p1": PHOTO}, whole=True, **around).around)


CASES: Cases = [
    ("transfer", "transfer_about_nothing", "docket", t(docket=None), t(docket=None, bag="b1")),
    ("transfer", "subject_not_here", "docket", c(TRANSFER, whole=True), c(TRANSFER)),
    ("photo", "subject_not_here", "docket", p(docket(deleted=True)), p()),
    ("transfer", "transfer_without_authority", "authority", t(authority=""), t(authority="", kind="worked_bone")),
    ("transfer", "transfer_without_receiver", "to", t(to=None), t(to=None, kind="discard")),
    ("transfer", "destructive_without_photo", "photo_before", t(photo_before=None), t(photo_before=None, kind="loan")),
    (
        "transfer",
        "destructive_without_measurements",
        "measured_before",
        t(measured_before=False),
        t(measured_before=False, kind="loan"),
    ),
    ("transfer", "destructive_without_lab_code", "lab_code", t(lab_code=None), t(lab_code=None, kind="display")),
    ("transfer", "destructive_without_remainder", "remainder_g", t(remainder_g=None), t(remainder_g=0)),
    ("transfer", "transfer_weight_not_possible", "taken_g", t(taken_g=-1), t(taken_g=0)),
    ("transfer", "parts_heavier_than_whole", "taken_g", t(taken_g=4), t(taken_g=3)),
    ("transfer", "transfer_of_possible_human", "docket", t(RAISED), t(CLEARED)),
    ("transfer", "human_transfer_without_reference", "reference", t(HUMAN, reference=None), t(HUMAN)),
    (
        "transfer",
        "discard_before_recording",
        "bag",
        c({**TRANSFER, "kind": "discard", "docket": None, "bag": "b1"}, inside=[docket(), UNREAD]),
        c({**TRANSFER, "kind": "discard", "docket": None, "bag": "b1"}, inside=[docket()]),
    ),
    ("transfer", "discarded_but_back", "back", t(kind="discard", back=True), t(kind="loan", back=True)),
    (
        "docket",
        "worked_without_transfer",
        "mark/1",
        marked("worked"),
        marked("worked", transfers={"t1": {**TRANSFER, "kind": "worked_bone"}}),
    ),
    ("docket", "photo_missing", "photo/p2", shown_in("p2"), shown_in("p1")),
    ("photo", "photo_about_nothing", "docket", c({**PHOTO, "docket": None}), p(docket=None, context="c1")),
    ("photo", "photo_without_scale", "scale", p(scale=False), p(scale=True)),
    ("photo", "photo_without_picture", "sha256", p(sha256=None), p()),
    ("photo", "photo_open_of_possible_human", "closed", p(HUMAN), p(HUMAN, closed=True)),
]

MORE = {
    "a bone joined to one that may be human": c(TRANSFER, subject=docket(), joined={"d2": RAISED}),
    "a bone in the bag that may be human": c({**TRANSFER, "docket": None, "bag": "b1"}, inside=[docket(), RAISED]),
    "an assessment that has not seen the answer": t(docket(human__2=QUERY, assessment__1=VERDICT)),
    "an assessment from pictures": t(
        docket(human__2=QUERY, assessment__1={**VERDICT, "bone_seen": "pictures", "seen": ["human/2@abc"]})
    ),
    "a path that was answered twice, one of them unseen": t(
        docket(**{"human/2@abc": QUERY, "human/2@abd": QUERY, "assessment/1": {**VERDICT, "seen": ["human/2@abc"]}})
    ),
    "a bone read as human": t(docket(shin(taxon="human"))),
    "an answer of a newer version": t(docket(human__2={"answer": "scanned"})),
}
"""Transfers of bone that may be human, in other ways than the case above."""
