"""What the demonstration's people do on their tablets, as steps for server.demo.playing.

Wren (tablet A) and Moss (tablet B) enrol in the morning, record a day without the cabin, sync, look again at the same
bones without knowing of each other, and sync again. One of their disagreements is settled, one stays open. The site is
invented (demo_data.site). No record is written here: the steps are taps, and what they lead to is the app's doing.
"""

from __future__ import annotations

from demo_data.site import CODE
from fieldapp.domain.labels import Label

Steps = list[list[str]]


def label(letter: str, number: int) -> str:
    """The label a tablet hands out as its `number`-th."""
    return str(Label(CODE, letter, number))


def _press(*idents: str) -> Steps:
    return [["press", ident] for ident in idents]


def _keys(text: str) -> Steps:
    return [["press", f"key.{one}"] for one in text]


def enrol(address: str, code: str, name: str, letter: str) -> Steps:
    """First start: enrol at the cabin, which tells what it knows, and say who records."""
    return [
        ["picture", f"{letter}-01-first-start"],
        ["press", "setup.cabin"],
        ["press", "entry.address"],
        ["type", address],
        ["press", "entry.code"],
        ["type", code],
        ["picture", f"{letter}-02-enrol"],
        ["press", "setup.go"],
        ["wait", "people.new"],
        ["picture", f"{letter}-03-who-records"],
        ["press_text", "person.", name],
        ["wait", "contexts.new"],
        ["picture", f"{letter}-04-contexts"],
    ]


def sync(picture: str) -> Steps:
    """Go to the sync screen, sync, wait, take a picture."""
    return [
        ["press", "go.more"],
        ["press", "go.sync"],
        ["press", "sync.now"],
        ["wait", "sync.now"],
        ["picture", picture],
    ]


def only_sync() -> Steps:
    """Sync and go back to work."""
    return [
        ["press", "go.more"],
        ["press", "go.sync"],
        ["press", "sync.now"],
        ["wait", "sync.now"],
        ["press", "sync.leave"],
    ]


def _states(portions: dict[str, int], plate: bool = True) -> Steps:
    """Taps on portions: one for `most`, two for `part`; the rest is absent."""
    group = "plate" if plate else "portion"
    taps = [["press", f"{group}.{portion}"] for portion, times in portions.items() for _ in range(times)]
    return [*taps, ["press", "portion.rest_absent"]]


def wren_s_day() -> Steps:
    """Tablet A, offline: three fragments from the ditch, the last one a rib of the same kind twice."""
    return [
        *_press("context.1042", "bag.new", "recovery.hand.0", "docket.new"),
        ["picture", "A-05-new-docket"],
        *_press("material.bone"),
        ["picture", "A-06-human-question"],
        *_press("human.no_sign"),
        ["picture", "A-07-element"],
        *_press("shelf.map"),
        ["picture", "A-07-skeleton"],
        *_press("region.hind_limb"),
        ["picture", "A-07-skeleton-hind-limb"],
        *_press("shelf.", "element.tibia"),
        ["picture", "A-08-taxon"],
        *_press("taxon.sheep_goat", "side.left"),
        *_states({"lower_shaft": 1, "distal_metaphysis": 1, "distal_medial": 1, "distal_lateral": 2}),
        *_press("field.portions"),
        ["picture", "A-09-portions"],
        *_press("field.fusion", "fusion.distal.fused"),
        ["picture", "A-10-fusion"],
        *_press("field.more", "note.fresh_break"),
        ["picture", "A-11-note"],
        *_press("action.save", "docket.new"),
        *_press("material.bone", "human.no_sign", "element.humerus", "taxon.cattle", "side.right"),
        *_states({"trochlea": 1, "capitulum": 1, "distal_metaphysis": 1, "lower_shaft": 2}, plate=False),
        *_press("field.portions"),
        ["picture", "A-12-right-humerus"],
        *_press("field.fusion", "fusion.distal.fused", "action.save", "docket.new"),
        *_press("material.bone", "human.not_excluded", "element.rib", "taxon.sheep"),
        ["picture", "A-13-a-rule-speaks"],
        *_press("action.save"),
        ["picture", "A-14-context"],
    ]


def moss_s_day() -> Steps:
    """Tablet B, offline: a new context like a grave, a bone that may be human in the ground, one already lifted."""
    return [
        *_press("contexts.new", *(f"key.{one}" for one in "1061"), "type.fill", "grave.yes"),
        ["picture", "B-05-make-context"],
        *_press("contexts.make", "bag.new", "recovery.hand.0", "docket.new", "material.bone", "human.stop"),
        ["picture", "B-06-stop"],
        *_press("stop.confirm"),
        ["picture", "B-07-hold"],
        *_press("step.what.covered", "hold.add"),
        *_press("step.what.told", "step.whom.supervisor", "step.how.in_person", "hold.add"),
        *_press("step.what.told", "step.whom.director", "step.how.radio", "hold.add"),
        ["picture", "B-08-hold-log"],
        *_press("hold.more", "hold.place"),
        ["press", "hold.note"],
        ["type", "2.4 m east of peg 7, at 1.1 m"],
        ["picture", "B-09-exact-place"],
        *_press("hold.seal", "hold.leave", "docket.new"),
        *_press("material.bone", "human.query", "element.femur", "taxon.human"),
        ["picture", "B-10-query"],
        *_press("side.right"),
        *_states({"upper_shaft": 1, "lower_shaft": 2}, plate=False),
        *_press("field.portions"),
        ["picture", "B-11-human-plate"],
        *_press("field.human", "go.beside"),
        ["picture", "B-11-human-beside-animals"],
        *_press("beside.leave"),
        *_press("action.save"),
        ["picture", "B-12-query-hold"],
        *_press("hold.leave"),
    ]


def wren_looks_again() -> Steps:
    """Tablet A, offline again: the tibia is a sheep's; the humerus has another centre to see."""
    return [
        *_press(f"docket.{label('A', 2)}", "field.taxon", "taxon.sheep"),
        *_press("action.save", f"docket.{label('A', 3)}", "field.taxon", "taxon.cf", "action.save"),
        *_press(f"docket.{label('A', 4)}", "field.side", "side.left", "action.save"),
        ["picture", "A-15-looked-again"],
    ]


def moss_looks_too() -> Steps:
    """Tablet B, offline, not knowing of it: a goat's, and its end is not fused at all."""
    return [
        *_press("go.contexts", "context.1042", f"docket.{label('A', 2)}"),
        ["picture", "B-13-another-s-docket"],
        *_press("field.taxon", "taxon.goat", "field.fusion", "fusion.distal.unfused", "action.save"),
        *_press(f"docket.{label('A', 3)}", "field.taxon", "taxon.large_mammal", "action.save"),
        *_press(f"docket.{label('A', 4)}", "field.side", "side.right", "action.save"),
        ["picture", "B-14-looked-too"],
    ]


def after(letter: str) -> Steps:
    """Sync, then the context as everybody left it."""
    return [
        *sync(f"{letter}-16-sync"),
        *_press("sync.leave"),
        ["picture", f"{letter}-17-merged"],
        *_press(f"docket.{label('A', 2)}"),
        ["picture", f"{letter}-18-docket-in-disagreement"],
        *_press("action.leave"),
    ]


def settled() -> Steps:
    """Tablet A after the review: the settled docket and its history."""
    return [
        *sync("A-19-sync-after-review"),
        *_press("sync.leave", f"docket.{label('A', 2)}"),
        ["picture", "A-20-settled"],
    ]
