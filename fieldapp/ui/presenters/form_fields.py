"""How the fields of the docket form are laid out: tabs, and the rows of choices below each. Pure.

Rows are what fits an 8-inch panel at 15 mm a button. Not here: what a tap does (form).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from fieldapp import assets
from fieldapp.domain import human
from fieldapp.domain.ids import hold_id
from fieldapp.domain.plates import Plate
from fieldapp.domain.usual import USUAL
from fieldapp.records import answers as reading_parts
from fieldapp.ui.presenters import beside, lately, shelves
from fieldapp.ui.presenters.choices import Choice, in_rows
from fieldapp.ui.presenters.context import what_it_is
from fieldapp.ui.presenters.fields import Body, Field, Room, find, marks, measures, teeth, words
from fieldapp.ui.presenters.form import FIRST, SECOND, Form
from fieldapp.ui.presenters.hold import when
from fieldapp.ui.presenters.problems import Found
from fieldapp.ui.texts import say, word

MATERIALS = (("bone", "tooth", "antler"), ("horn_core", "shell", "eggshell"), ("not_bone", "unsure"))
HUMAN = (human.STOP, human.QUERY, human.NOT_EXCLUDED, human.NO_SIGN, human.NOT_ASKED)
FUSION = ("unfused", "fusing", "fused", "loose_epiphysis", "not_visible")
SHORT = 22
"""Letters of a note that its tab shows; a longer one is counted."""
BURNING = ("unburnt", "burnt", "charred", "calcined", "mixed")
PHRASES = ("fresh_break", "worked", "eroded", "concreted")
"""Gnawing and cuts are marks: they have a field of their own."""

FURTHER: Mapping[str, Field] = {
    "teeth": teeth,
    "measures": measures,
    "marks": marks,
    "surface": words.surface,
    "age": words.age,
    "find": find,
}
"""The fields of the second page that are modules of their own."""

# Which path of a docket a tab speaks for, so that a problem is shown beside its field.
_CONCERNS = {
    "material": "material",
    "human": "human",
    "element": "element",
    "taxon": "taxon",
    "certainty": "taxon",
    "side": "side",
    "portions": "portions",
    "fusion": "fusion",
    "note": "note",
    "tooth": "teeth",
    "measure": "measures",
    "mark": "marks",
    "pathology": "marks",
    "sex": "age",
    "age": "age",
    "texture": "age",
    "position": "age",
    **dict.fromkeys((slot.partition(".")[0] for slot in words.SURFACE), "surface"),
    **dict.fromkeys(("count", "weight_g", "longest_mm", "finder", "find_no", "place", "joins", "same_as"), "find"),
}


@dataclass(frozen=True, slots=True)
class Tab:
    """One field of the form as its tab shows it. `mark`: a word of attention, "" if nothing is wrong."""

    ident: str
    name: str
    value: str
    open: bool
    applies: bool
    mark: str = ""


def tabs(form: Form) -> list[Tab]:
    """The tabs of the page that is open, the last one turning to the other page."""
    marked: dict[str, str] = {}
    for one in pressing(form):
        # Worst first, so the first to name a tab marks it.
        marked.setdefault(concern(one), one.level)
    first = form.state.field in FIRST
    here, there = (FIRST, SECOND) if first else (SECOND, FIRST)
    found = [
        Tab(
            ident=f"field.{name}",
            name=say(f"field.{name}"),
            value=value(form, name),
            open=form.state.field == name,
            applies=applies(form, name),
            mark=word("mark", marked.get(name)),
        )
        for name in here
    ]
    mark = next((word("mark", marked[name]) for name in there if name in marked), "")
    held = sum(bool(value(form, name)) for name in there)
    other = "more" if first else "first"
    return [
        *found,
        Tab(f"field.{other}", say(f"field.{other}"), say("fields_held", n=held) if held else "", False, True, mark),
    ]


def applies(form: Form, name: str) -> bool:
    """Whether there is anything to record in a field."""
    return FURTHER[name].applies(form) if name in FURTHER else form.applies(name)


def open_tab(form: Form, name: str) -> None:
    """Opens the field of a tab; the last tab turns the page: to the note, or to what is asked next."""
    form.open_field({"more": "note", "first": form.next_field("") or "element"}.get(name, name))


def take_typed(form: Form) -> None:
    """Takes what a keypad holds and nobody took yet: whoever goes on from it means the figure."""
    if form.state.typed and form.state.field in FURTHER:
        FURTHER[form.state.field].tap(form, "key.=")


def further(form: Form, room: Room) -> Body:
    """The body of a field that is a module of its own."""
    return FURTHER[form.state.field].body(form, room)


def concern(found: Found) -> str:
    """The tab that a problem is about; the element's if it names none of ours."""
    first, _, rest = found.problem.path.partition("/")
    return _CONCERNS.get(rest.partition("/")[0] if first == "reading" else first, "element")


def value(form: Form, name: str) -> str:
    """What a field holds, in few words; "" while it is open to answer."""
    answers = form.answers
    knowledge = form.desk.knowledge
    if name in FURTHER:
        return FURTHER[name].value(form)
    if name == "element":
        return element_word(answers.get("element"))
    if name == "taxon":
        cf = say("cf_short") + " " if answers.get("certainty") == "cf" else ""
        return cf + word("taxon", answers.get("taxon")) if answers.get("taxon") else ""
    if name == "human":
        return word("human", answers.get("human")) or standing_word(form)
    if name == "portions":
        if not form.applies("portions"):
            return ""
        states = list(reading_parts.portion_states(answers, knowledge).values())
        return (
            ""
            if set(states) == {"not_examined"}
            else say("portions_value", n=states.count("most") + states.count("part"), whole=len(states))
        )
    if name == "fusion":
        found = [answers[f"fusion.{one.key}"] for one in form.visible_centres() if f"fusion.{one.key}" in answers]
        if not found:
            return ""
        return word("fusion_state", found[0]) if len(set(found)) == 1 else say("fusion_value", n=len(found))
    if name == "note":
        notes = [*earlier_notes(form), *([answers["note"]] if answers.get("note") else [])]
        told = notes[0] if len(notes) == 1 and len(notes[0]) <= SHORT else say("notes_value", n=len(notes))
        bits = [say("ask_value") if answers.get("ask") else "", told if notes else ""]
        photos = sum(slot.startswith("photo/") for slot in answers)
        bits.append(say("photos_value", n=photos) if photos else "")
        return ", ".join(bit for bit in bits if bit)
    return word(name, answers.get(name))


def earlier_notes(form: Form) -> list[str]:
    """The notes that the docket has already; a new one is added to them."""
    record = form.record
    if record is None:
        return []
    return [str(one.get("text") or "") for one in record.added("note").values() if isinstance(one, Mapping)]


def standing_word(form: Form) -> str:
    """Where an existing docket stands on the human question, "" for a new one."""
    record = form.record
    return word("standing", form.desk.standing(record)) if record is not None else ""


def element_word(element: object) -> str:
    """The short name of an element."""
    return word("element", element)


def rows(form: Form) -> list[list[Choice]]:
    """The choices of the field that is open, in rows; none for portions and fusion, which have bodies of their own."""
    name, answers = form.state.field, form.answers
    if name == "human":
        found = [
            [
                Choice(
                    f"human.{key}",
                    say(f"human.{key}"),
                    note=say(f"human.{key}.note"),
                    chosen=answers.get("human") == key,
                    tone="clay" if key == human.STOP else "plain",
                    sign="stop" if key == human.STOP else "",
                )
                for key in pair
            ]
            for pair in (HUMAN[:2], HUMAN[2:4], HUMAN[4:])
        ]
        found[-1].append(Choice("go.aid", say("go.aid"), note=say("go.aid.note"), chosen=bool(answers.get("aid"))))
        if form.desk.record(hold_id(form.state.docket)) is not None and not form.is_changed():
            found[-1].append(Choice("go.hold", say("go.hold"), sign="hold"))
        elif beside.of(form.desk.knowledge, form.answers.get("element", "")):
            found[-1].append(Choice("go.beside", say("go.beside"), note=say("go.beside.note")))
        return found
    if name in USUAL:
        return shelf_rows(form, name)
    if name == "side":
        known = form.desk.knowledge.elements.get(answers.get("element", ""))
        ends = ("midline", "unsided") if known is None or known.midline else ("unsided",)
        return [[_choice(form, name, key) for key in row] for row in (("left", "right"), ends)]
    return [[_choice(form, name, key) for key in row] for row in (MATERIALS if name == "material" else ())]


def shelf_rows(form: Form, name: str) -> list[list[Choice]]:
    """The usual elements or taxa, the list of shelves, or one page of a shelf: whatever is open."""
    shelf, _, at = form.state.shelf.partition(":")
    taxon = form.answers.get("taxon") if name == "element" else None
    all_ = shelves.shelves(name, form.desk.knowledge, taxon)
    back = Choice("shelf.", say("shelf.usual"), sign="up")
    if shelf == "list":
        names = [
            Choice(f"shelf.{one}", say(f"shelf.{name}.{one}"), note=say("shelf.size", n=len(keys)))
            for one, keys in all_.items()
        ]
        recent = [key for key in lately.recent(form.desk, name) if key in {one for own in all_.values() for one in own}]
        ways = [Choice("shelf.search", say("shelf.search"), sign="find")]
        if recent:
            ways.append(Choice("shelf.recent", say("shelf.recent"), note=say("shelf.size", n=len(recent))))
        return in_rows([*ways, *names, back], 4)
    if shelf == "search":
        return []  # a body of its own
    if shelf == "recent":
        return in_rows([*(_choice(form, name, key) for key in lately.recent(form.desk, name)), back], shelves.ACROSS)
    if shelf in all_:
        number = int(at) if at.isdigit() else 0
        keys, pages = shelves.page(all_[shelf], number)
        on = Choice(f"shelf.{shelf}:{number + 1}", say("page", n=number % pages + 1, of=pages), sign="down")
        own = [_choice(form, name, key) for key in keys]
        return in_rows([*own, back, *([on] if pages > 1 else [])], shelves.ACROSS)
    found = [[_choice(form, name, key) for key in row] for row in USUAL[name]]
    if name == "taxon":
        cf = form.answers.get("certainty") == "cf"
        found[-1].append(Choice("taxon.cf", say("cf"), note=say("cf.note"), chosen=cf, weight=1.3))
    if name == "element":
        found[1].append(Choice("shelf.map", say("shelf.map")))
        # Its place is kept where there is nothing to repeat: no other pad moves between one docket and the next.
        found[2].extend(again(form) or [Choice("", "")])
    chosen = form.answers.get(name)
    elsewhere = isinstance(chosen, str) and all(chosen not in row for row in USUAL[name])
    note = word(name, chosen) if elsewhere else ""
    found[-1].append(Choice("shelf.list", say("shelf.more"), note=note, chosen=elsewhere, sign="down"))
    return found


def again(form: Form) -> list[Choice]:
    """The button that takes the bone and animal of the docket before; none where there was no docket."""
    before = lately.before(form.desk) if form.state.new else {}
    return [Choice("again.bone", say("again"), note=what_it_is(before, None))] if before else []


def search_body(form: Form, room: Room) -> Body:
    """Elements or taxa by their letters: a keypad, and beside it what the letters allow."""
    name = form.state.field
    taxon = form.answers.get("taxon") if name == "element" else None
    keys = [key for own in shelves.shelves(name, form.desk.knowledge, taxon).values() for key in own]
    found = shelves.by_letters({key: word(name, key) for key in keys}, form.state.typed)
    back = Choice("shelf.", say("shelf.usual"), sign="up")
    across = max(2, room.across // 2)
    pads = [_choice(form, name, key) for key in found[: across * (room.down + 1) - 1]]
    return Body(
        in_rows([*pads, back], across), asks=say("search.asks"), keys="grouped", typed=letters_of(form.state.typed)
    )


def letters_of(typed: str) -> str:
    """The keys typed, as their letters: "abc def"."""
    return " ".join(shelves.LETTERS.get(one, "").upper() for one in typed)


def portion_rows(
    form: Form, across: int, most: int = 4, seen: Collection[str] = (), page: int = 0, view: Choice | None = None
) -> list[list[Choice]]:
    """The grid beside the plate: one button a portion, with its state in words and as a drawn pattern.

    `most` rows have room; what has none comes on a further page, the portions `seen` in the picture first. `view`
    goes to another picture.
    """
    states = reading_parts.portion_states(form.answers, form.desk.knowledge)
    element = form.answers.get("element", "")
    found = [
        Choice(
            f"portion.{one.key}",
            word(f"portion.{element}", one.key),
            # What nobody has looked at yet is told by its pattern alone: the names need the room.
            note=word("portion_state", states[one.key]) if states[one.key] != reading_parts.NOT_EXAMINED else "",
            sign=f"portion.{states[one.key]}",
        )
        for one in form.desk.knowledge.portions_of(element, form.answers.get("taxon"))
    ]
    rest = [Choice("portion.rest_absent", say("rest_absent")), Choice("portion.rest_most", say("rest_most"))]
    rest += [view] if view else []
    room = across * most
    if len(found) + len(rest) > room:
        found.sort(key=lambda one: one.ident.removeprefix("portion.") not in seen)
        each = max(1, room - len(rest) - 1)
        pages = -(-len(found) // each)
        page %= pages
        found = found[page * each : (page + 1) * each]
        rest.append(Choice("view.more", say("page", n=page + 1, of=pages), sign="down"))
    # The buttons that are no portions get a row of their own where they can.
    if -(-len(found) // across) + -(-len(rest) // across) <= most:
        return [*in_rows(found, across), *in_rows(rest, across)]
    return in_rows([*found, *rest], across)


def skeleton_place(form: Form) -> tuple[str, str | None]:
    """Which skeleton the element is chosen on, and the region that is enlarged, None for the whole."""
    _, _, rest = form.state.shelf.partition(":")
    body, _, region = rest.partition(":")
    if body not in assets.MAPS:
        taxon = form.desk.knowledge.taxa.get(form.answers.get("taxon", ""))
        body = assets.skeleton_form(taxon.form if taxon else "")
    return body, region if region in assets.skeleton(body).regions() else None


def skeleton_ways(form: Form) -> list[Choice]:
    """The buttons beside the skeleton: the whole of it, another body, the usual bones by name."""
    body, region = skeleton_place(form)
    after = assets.MAPS[(assets.MAPS.index(body) + 1) % len(assets.MAPS)]
    whole = [Choice(f"shelf.map:{body}", say("skeleton.whole"), sign="leave")] if region else []
    return [
        *whole,
        Choice(f"shelf.map:{after}", word("form", after), note=say("skeleton.other"), sign="again"),
        *again(form),
        Choice("shelf.", say("skeleton.names"), sign="up"),
    ]


def view_choice(plates: Sequence[Plate], shown: int, near: bool) -> Choice | None:
    """The button from a place shown large to the whole bone, or to the next picture of it; None if there is one."""
    if near:
        return Choice("view.whole", say("view.whole"), sign="leave")
    if len(plates) < 2:
        return None
    after = plates[(shown + 1) % len(plates)]
    name = word("view", after.view)
    if after.view == plates[shown].view:
        name = say("view.sided", side=word("side", after.side), view=name)
    return Choice("view.next", say("view.next", view=name), sign="after")


def fusion_rows(form: Form) -> list[tuple[str, list[Choice]]]:
    """One row a centre that can be seen: its name, and a button a state."""
    return [
        (
            word(f"centre.{centre.element}", centre.key),
            [
                Choice(
                    f"fusion.{centre.key}.{state}",
                    word("fusion_state", state),
                    chosen=form.answers.get(f"fusion.{centre.key}") == state,
                )
                for state in FUSION
            ],
        )
        for centre in form.visible_centres()
    ]


def note_rows(form: Form) -> list[list[Choice]]:
    """Phrases that save typing, burning, how many, a picture, and the wish that the specialist look at it."""
    answers = form.answers
    phrases = [Choice(f"note.{key}", say(f"phrase.{key}")) for key in PHRASES]
    burning = [Choice(f"burning.{key}", word("burning", key), chosen=answers.get("burning") == key) for key in BURNING]
    count = [
        Choice("find.less", "", sign="less"),
        Choice("find.keys.count", say("count_value", n=answers.get("count", 1)), weight=1.2),
        Choice("find.more", "", sign="more"),
        Choice("note.ask", say("ask"), chosen=bool(answers.get("ask")), sign="query", weight=1.3),
        Choice("note.photo", say("photo"), sign="photo", weight=1.1),
    ]
    # A second reading asks nobody, and its pictures are the docket's.
    return [phrases, burning, count[:3] if form.state.second else count]


def pressing(form: Form) -> list[Found]:
    """The problems that are marked while recording. Notes wait in their list; and as long as a new docket has fields
    open, so does the advice that a piece cannot be excluded from human, which most answers still to come settle."""
    waits = human.NOT_EXCLUDED if form.state.new and form.next_field("") else None
    return [one for one in form.found() if one.level != "note" and not (waits and one.raises == waits)]


def strip(form: Form) -> list[Found]:
    """The problems worth interrupting for: those of the field that is open first. Notes wait in their list."""
    return sorted(pressing(form), key=lambda one: concern(one) != form.state.field)


def intro(form: Form) -> str:
    """The line over a field's body, "" for none."""
    name = form.state.field
    if name in ("portions", "fusion") and not form.applies(name):
        return say(f"nothing.{name}") if form.answers.get("element") else say("nothing.element")
    if not applies(form, name):
        return say(f"nothing.{name}")
    if name != "human":
        return ""
    people, rules = form.earlier_answers()
    found = [say("human.earlier", answers=", ".join(word("human", one) for one in people))] if people else []
    found += [say(f"by_rule.{rule}") for rule in rules]
    return " ".join(found) if found else say("intro.human")


def differing(form: Form) -> list[tuple[str, str, str]]:
    """(change id, reading in words, who and when) of each reading in disagreement; none if there is no disagreement."""
    record = form.record
    if record is None or "reading" not in record.disagreements() or form.state.took:
        return []
    changes = {one.id: one for one in form.desk.notebook.history(record.id)}
    found = []
    for change, reading in sorted(record.heads["reading"].items()):
        made = changes.get(change)
        who = say("by_at", name=made.by.get("name") or say("nobody"), at=when(made.at)) if made else ""
        found.append((change, reading_words(reading), who))
    return found


def reading_words(reading: object) -> str:
    """A whole reading in one line: what it is, its side, and what of it is there."""
    if not isinstance(reading, Mapping):
        return say("no_reading")
    parts = [what_it_is(reading, None), word("side", reading.get("side"))]
    for group, of, part in (("portions", "portion_state", "portion"), ("fusion", "fusion_state", "centre")):
        states = reading.get(group)
        if isinstance(states, Mapping):
            for state in dict.fromkeys(states.values()):
                if state in ("absent", "not_examined", "not_visible"):
                    continue
                keys = [word(f"{part}.{reading.get('element')}", key) for key, one in states.items() if one == state]
                parts.append(f"{word(of, state)}: {', '.join(keys)}")
    return "; ".join(part for part in parts if part) or say("no_reading")


def _choice(form: Form, name: str, key: str) -> Choice:
    return Choice(f"{name}.{key}", word(name, key), chosen=form.answers.get(name) == key)
