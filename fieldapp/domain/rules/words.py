"""The rule about words: what is written in a place that has a closed list must be one of the list.

Which list belongs to which place stands here, kind by kind; the lists themselves are tables. A word that is not known
is kept as it came. Not here: numbers, free text, and whether a word is true of the bone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Docket, Finding, Record, Rule, shown

READING = {
    "side": "side",
    "certainty": "certainty",
    "stage": "stage",
    "sex": "sex",
    "age": "age_class",
    "texture": "bone_texture",
}
"""{field of a reading: list}."""

PARTS = (("portions", "portion_state"), ("fusion", "fusion_state"))

PLAIN: dict[str, dict[str, str]] = {
    "docket": {
        "material": "material",
        "burning": "burning",
        "burn_colour": "burn_colour",
        "preservation": "preservation",
        "roots": "roots",
        "staining": "staining",
        "breaks": "break",
        "digestion": "digestion",
        "antler_base": "antler_base",
    },
    "context": {
        "type": "context_type",
        "grave_like": "grave_like",
        "state": "context_state",
        "deposit": "deposit",
    },
    "bag": {"recovery": "recovery"},
    "group": {"relation": "relation"},
    "sample": {"type": "sample_type"},
    "tally": {"taxon": "taxon", "element": "element", "burning": "burning", "preservation": "preservation"},
    "transfer": {"kind": "transfer_kind"},
    "photo": {"view": "view"},
    "site": {"mode": "site_mode", "region": "region"},
}
"""{kind of record: {path: list}}."""

ITEMS: dict[str, dict[str, tuple[tuple[str, str], ...]]] = {
    "docket": {
        "human": (("answer", "human_answer"),),
        "assessment": (("verdict", "verdict"),),
        "tooth": (("stage", "eruption_state"), ("side", "side"), ("jaw", "jaw"), ("seat", "seat")),
        "mark": (
            ("kind", "mark_kind"),
            ("aspect", "aspect"),
            ("direction", "mark_direction"),
            ("tool", "tool"),
            ("tone", "mark_tone"),
        ),
        "pathology": (("kind", "pathology"),),
        "joins": (("break", "break"),),
    },
    "sample": {"fraction": (("part", "fraction_part"),), "cremation": (("region", "body_region"),)},
}
"""{kind of record: {first part of the path: (field, list) pairs}}."""

NAMED: dict[str, dict[str, str]] = {"bag": {"step": "bag_step"}}
"""{kind of record: {first part of the path: list}} where the word is the second part of the path."""

_TABLES = ("taxon", "element")
"""Lists that are tables of their own, as they stand outside a reading."""

ALSO = {"view": "aspect"}
"""Lists whose place takes the words of another list too."""

_REQUIRED = frozenset({"human", "assessment"})
"""Items in which no word at all is as unclear as an unknown one."""

_NO_ITEMS: dict[str, tuple[tuple[str, str], ...]] = {}


def _rule(kind: str) -> Rule:
    plain, items, named = PLAIN[kind], ITEMS.get(kind, _NO_ITEMS), NAMED.get(kind, {})

    def word_unknown(record: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
        """A word that is not in the project's lists. It is kept as it came."""
        if isinstance(record, Docket):
            yield from _in_reading(record, know)
        for first, there in record.heads.items():
            if first in plain:
                if not _known(plain[first], record.values.get(first), know):
                    yield first, {"word": shown(record.values.get(first))}
            elif first in items:
                pairs, required = items[first], first in _REQUIRED
                for path, value in there:
                    if path != first:
                        yield from _in_item(path, value, pairs, required, know)
            elif first in named:
                # What was said twice stands at its path twice, each with its change behind it.
                for path in dict.fromkeys(one.partition("@")[0] for one, value in there if value is not None):
                    word = path.partition("/")[2]
                    if path != first and not _known(named[first], word, know):
                        yield path, {"word": shown(word)}

    return word_unknown


BY_KIND: dict[str, dict[str, Rule]] = {kind: {"word_unknown": _rule(kind)} for kind in PLAIN}
"""The rule for each kind of record."""


def lists() -> set[str]:
    """The names of all lists that the rule looks into."""
    found = {*READING.values(), *(of for _, of in PARTS), *ALSO.values()}
    found.update(of for places in (*PLAIN.values(), *NAMED.values()) for of in places.values())
    found.update(of for places in ITEMS.values() for pairs in places.values() for _, of in pairs)
    return found.difference(_TABLES)


def _in_reading(docket: Docket, know: Knowledge) -> Iterator[Finding]:
    written, reading = docket.values.get("reading"), docket.reading
    if written is not None and not isinstance(written, Mapping):
        yield "reading", {"word": shown(written)}
    if docket.element_row is None and reading.get("element") is not None:
        yield "reading/element", {"word": shown(reading.get("element"))}
    if docket.taxon_row is None and reading.get("taxon") is not None:
        yield "reading/taxon", {"word": shown(reading.get("taxon"))}
    for field, of in READING.items():
        word = reading.get(field)
        if word is not None and not know.is_word(of, word) and not _known(of, word, know):
            yield f"reading/{field}", {"word": shown(word)}
    for field, of in PARTS:
        part = reading.get(field)
        if part is not None and not isinstance(part, Mapping):
            yield f"reading/{field}", {"word": shown(part)}
        elif part:
            words = know.words.get(of, ())
            for key, state in part.items():
                if state not in words:
                    yield f"reading/{field}/{key}", {"word": shown(state)}


def _in_item(
    path: str, value: Any, pairs: tuple[tuple[str, str], ...], required: bool, know: Knowledge
) -> Iterator[Finding]:
    if not isinstance(value, Mapping):
        # Taken away, or of a wrong shape, which the shapes name; an answer is never to be passed over.
        if required:
            yield path, {"word": shown(value)}
        return
    for field, of in pairs:
        word = value.get(field)
        if (required or (word is not None and word != "")) and not _known(of, word, know, required):
            yield path if len(pairs) == 1 else f"{path}/{field}", {"word": shown(word)}


def _known(of: str, word: Any, know: Knowledge, required: bool = False) -> bool:
    if not required and (word is None or word == ""):
        return True
    if of in _TABLES:
        return isinstance(word, str) and word in (know.taxa if of == "taxon" else know.elements)
    return know.is_word(of, word) or (of in ALSO and know.is_word(ALSO[of], word))
