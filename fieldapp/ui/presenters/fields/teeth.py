"""Teeth, one by one: which, whether it stands in the jaw, how far it has come or worn. Pure.

Not here: which teeth an animal has and what a stage means (the tables).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fieldapp.domain.teeth import COMING, JAWS
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.presenters.fields import Body, Room, number_of, paged, shown, take_pad
from fieldapp.ui.texts import say, word

if TYPE_CHECKING:
    from fieldapp.ui.presenters.form import Form

WIDER = ("tooth", "front", "cheek", "I", "C", "P", "dP", "M", "M1_2", "M3")
"""What is offered where the animal is not known, and for what cannot be placed."""
SEATS = ("in_jaw", "loose", "socket_only")
STATES = (*COMING, "shed", "lost_in_life", "never_formed")
WEAR = "0123456789ABCDEFGHJKLMNP"


def jaw_of(form: Form) -> str:
    """The jaw of the element in hand: "lower", "upper", or "" for a loose tooth."""
    return form.desk.knowledge.teeth.bearers.get(form.answers.get("element", ""), "")


def applies(form: Form) -> bool:
    """Whether the element can hold teeth, or some are written down."""
    bears = form.answers.get("element") in form.desk.knowledge.teeth.bearers
    return bears or form.answers.get("material") == "tooth" or bool(teeth(form))


def teeth(form: Form) -> dict[str, dict[str, Any]]:
    """{slot: tooth} of what is written down."""
    return {slot: one for slot, one in form.answers.items() if slot.startswith("tooth/") and isinstance(one, dict)}


def value(form: Form) -> str:
    """The teeth there are, with their wear."""
    found = [
        " ".join(part for part in (str(one.get("tooth")), one.get("wear")) if part) for one in teeth(form).values()
    ]
    return ", ".join(found[:3]) + (" …" if len(found) > 3 else "")


def body(form: Form, room: Room) -> Body:
    """The row of teeth; or one of them."""
    what, _, rest = form.state.shelf.partition(":")
    slot = f"tooth/{rest.partition(':')[0]}"
    if what == "one" and slot in form.answers:
        return _one(form, slot, room)
    if what == "wear" and slot in form.answers:
        return _wear(form, slot, room, rest)
    jaw = jaw_of(form)
    pads: list[Choice] = []
    for one in (jaw,) if jaw else JAWS:
        own = form.desk.knowledge.teeth.teeth_of(form.answers.get("taxon"), one)
        pads += [_pad(form, key, one) for key in (_in_order(own) if own else WIDER)]
    if not jaw:
        # A loose tooth is of one jaw or the other: which is the first thing to say.
        pads.sort(key=lambda pad: JAWS.index(pad.ident.split(".")[2]))
    page = rest if what == "page" else ""
    return Body(paged("teeth", pads, [], room, int(page) if page.isdigit() else 0), asks=say("teeth.which"))


def _in_order(own: tuple[str, ...]) -> list[str]:
    """An animal's teeth from front to back, the milk teeth behind, and last the tooth of which more is not known."""
    order = [("dP", "dI", "dC"), ("I",), ("C",), ("P",), ("M",)]
    milk, *later = order
    rank = {key: at for at, keys in enumerate([*later, milk]) for key in keys}
    named = sorted(own, key=lambda one: (rank.get(one.rstrip("0123456789"), 0), one))
    return [*named, *(["tooth"] if "tooth" not in own else [])]


def _pad(form: Form, key: str, jaw: str) -> Choice:
    there = _slot_of(form, key, jaw)
    one = form.answers.get(there, {}) if there else {}
    note = one.get("wear") or word("eruption_state", one.get("stage")) or (word("seat", one.get("seat")) if one else "")
    name = say("teeth.any") if key == "tooth" else key.replace("_", "/")
    return Choice(
        f"teeth.at.{jaw}.{key}", name, note=note or ("" if jaw_of(form) else word("jaw", jaw)), chosen=bool(there)
    )


def _slot_of(form: Form, key: str, jaw: str) -> str:
    for slot, one in teeth(form).items():
        if one.get("tooth") == key and one.get("jaw") in (jaw, None):
            return slot
    return ""


def _one(form: Form, slot: str, room: Room) -> Body:
    tooth = form.answers[slot]
    seats = [Choice(f"teeth.seat.{key}", word("seat", key), chosen=tooth.get("seat") == key) for key in SEATS]
    states = [
        Choice(f"teeth.stage.{key}", word("eruption_state", key), chosen=tooth.get("stage") == key) for key in STATES
    ]
    found = form.desk.knowledge.teeth.schemes_for(form.answers.get("taxon"), tooth.get("tooth", ""), tooth.get("jaw"))
    more = [
        Choice(
            f"teeth.wear.{scheme.key}",
            tooth.get("wear") if tooth.get("scheme") == scheme.key and tooth.get("wear") else say("blank"),
            note=say("teeth.wear", scheme=scheme.name.split(",")[0]),
            chosen=tooth.get("scheme") == scheme.key,
        )
        for scheme in found
    ]
    crown = tooth.get("crown_height_mm")
    more.append(Choice("teeth.wear.crown", shown(crown) or say("blank"), note=say("teeth.crown")))
    last = [
        Choice("teeth.row", say("teeth.row"), sign="up"),
        *seats,
        Choice("teeth.drop", say("measures.drop"), sign="rub"),
    ]
    asks = say("teeth.asks", tooth=word("tooth", tooth.get("tooth")), jaw=word("jaw", tooth.get("jaw")))
    # On a standing tablet there is no room for a line over four rows of pads.
    return Body([*in_rows(states, 5), more, last], asks=asks if room.down >= 4 else "")


def _wear(form: Form, slot: str, room: Room, rest: str) -> Body:
    """The stages of a scheme; those that are numbers with letters, and the crown's height, by keypad."""
    _, _, place = rest.partition(":")
    scheme, _, page = place.partition(":")
    tooth = form.answers[slot]
    known = form.desk.knowledge.teeth.schemes.get(scheme)
    back = Choice("teeth.one", say("action.back"), sign="up")
    if known is None or known.code != "list":
        crown = known is None
        now = (
            shown(tooth.get("crown_height_mm"))
            if crown
            else str(tooth.get("wear") or "")
            if tooth.get("scheme") == scheme
            else ""
        )
        return Body(
            [[Choice("teeth.unworn", say("measures.drop"), sign="rub")], [back, take_pad("teeth")]],
            asks=say("teeth.crown") if crown else word("wear_scheme", scheme),
            definition="" if crown or known is None else word("wear_scheme", f"{known.key}.how"),
            keys="figure" if crown else "wear",
            typed=form.state.typed or now,
        )
    stages = [Choice(f"teeth.worn.{key}", key, chosen=tooth.get("wear") == key, note="") for key in known.stages]
    return Body(
        paged("teeth", stages, [back], room, int(page) if page.isdigit() else 0),
        asks=word("wear_scheme", scheme),
        definition=_definition(form, slot, scheme),
    )


def _definition(form: Form, slot: str, scheme: str) -> str:
    wear = form.answers[slot].get("wear")
    known = form.desk.knowledge.teeth.schemes.get(scheme)
    return word(f"wear_stage.{scheme}", wear) if known is not None and wear in known.stages else ""


def tap(form: Form, key: str) -> None:
    """A tooth of the row, or something about the one that is open."""
    what, _, rest = key.partition(".")
    _, _, place = form.state.shelf.partition(":")
    one, _, place = place.partition(":")
    slot, scheme = f"tooth/{one}", place.partition(":")[0]
    tooth = form.answers.get(slot)
    if what == "at":
        _open(form, *rest.split(".", 1))
    elif what == "page":
        _turn(form, rest)
    elif what == "row":
        form.open_shelf("")
    elif what == "key":
        _key(form, rest)
    elif not isinstance(tooth, dict):
        return
    elif what == "one":
        form.open_shelf(f"one:{one}")
    elif what == "wear":
        form.open_shelf(f"wear:{one}:{rest}")
    elif what == "drop":
        form.put("teeth", {slot: None})
    elif what == "unworn":
        gone = ("crown_height_mm",) if scheme == "crown" else ("scheme", "wear")
        form.put("teeth", {slot: {name: had for name, had in tooth.items() if name not in gone}}, shelf=f"one:{one}")
    elif what == "worn":
        form.put("teeth", {slot: {**tooth, "scheme": scheme, "wear": rest}}, shelf=form.state.shelf)
    elif what in ("seat", "stage"):
        same = tooth.get(what) == rest
        after = {name: had for name, had in tooth.items() if name != what} | ({} if same else {what: rest})
        form.put("teeth", {slot: after}, shelf=f"one:{one}")


def _turn(form: Form, page: str) -> None:
    what, _, rest = form.state.shelf.partition(":")
    if what == "wear":
        one, scheme = rest.split(":")[:2]
        form.open_shelf(f"wear:{one}:{scheme}:{page}")
    else:
        form.open_shelf(f"page:{page}")


def _open(form: Form, jaw: str, key: str) -> None:
    """Opens a tooth; one that is not there yet is written down as it usually is: in the jaw, or loose."""
    slot = _slot_of(form, key, jaw)
    if not slot:
        new = form.desk.new_id()
        tooth: dict[str, Any] = {"tooth": key, "jaw": jaw, "seat": "in_jaw" if jaw_of(form) else "loose"}
        if form.answers.get("side") in ("left", "right"):
            tooth["side"] = form.answers["side"]
        form.put("teeth", {f"tooth/{new}": tooth}, shelf=f"one:{new}")
    else:
        form.open_shelf(f"one:{slot.removeprefix('tooth/')}")


def _key(form: Form, key: str) -> None:
    what, _, rest = form.state.shelf.partition(":")
    one, _, scheme = rest.partition(":")
    slot, crown = f"tooth/{one}", scheme == "crown"
    tooth = form.answers.get(slot)
    if what != "wear" or not isinstance(tooth, dict):
        return
    if key != "=":
        form.press_key(key, "0123456789." if crown else WEAR, 6)
        return
    typed = form.state.typed
    height = number_of(typed)
    if crown and height:
        form.put("teeth", {slot: {**tooth, "crown_height_mm": height}}, shelf=f"one:{one}")
    elif not crown and typed:
        form.put("teeth", {slot: {**tooth, "scheme": scheme, "wear": typed}}, shelf=f"one:{one}")
    else:
        form.open_shelf(f"one:{one}")
