"""Names as they are typed: one word or several, whole or begun, and what each may stand for. Pure.

A name of several words is one name: `red deer` is the red deer, and not a deer that is red. Not here: lines (typed).
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

from fieldapp.domain import short_codes
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.usual import USUAL

SIDES = {"l": "left", "r": "right"}
_BETWEEN = re.compile(r"[^\w.]+|_+")
"""What parts the words of a name: `sheep/goat` may be typed `sheep goat`."""


class Meaning(NamedTuple):
    """What a word may stand for: a slot of the form and its value, and its name."""

    slot: str
    value: str
    name: str


def list_of(slot: str) -> str:
    """The list that the words of a slot come from."""
    return short_codes.SLOTS[slot] or slot


class Names:
    """Every name that a line may have, in the order they are looked for; parameters as of typed.Reader."""

    def __init__(self, knowledge: Knowledge, own: Mapping[str, Any], word: Callable[[str, str], str]) -> None:
        self.own: dict[str, Meaning] = {}
        for code, value in own.items():
            if meant := short_codes.meaning(value, knowledge):
                self.own[code.lower()] = Meaning(*meant, word(list_of(meant[0]), meant[1]))
        self._coded = {
            code: Meaning(slot, key, word(list_of(slot), key)) for code, (slot, key) in knowledge.short_words.items()
        } | {code: Meaning("side", key, word("side", key)) for code, key in SIDES.items()}
        self.every = {
            slot: [Meaning(slot, key, word(list_of(slot), key)) for key in short_codes.words_of(slot, knowledge)]
            for slot in short_codes.SLOTS
        }
        self._begun: dict[tuple[str, ...], list[tuple[tuple[str, ...], Meaning]]] = defaultdict(list)
        for one in (one for every in self.every.values() for one in every):
            for parts in dict.fromkeys((_parts(one.name), _parts(one.value))):
                for most in range(1, len(parts)):
                    self._begun[parts[:most]].append((parts, one))

    def of_word(self, text: str) -> list[Meaning] | Meaning:
        """All that one word may mean, or the one that it does: a code, a whole key or a whole name."""
        text = text.lower()
        if code := self.own.get(text) or self._coded.get(text):
            return code
        found: list[Meaning] = []
        for every in self.every.values():
            for one in every:
                if text in (one.value, one.name.lower()):
                    return one
                if one.value.startswith(text) or one.name.lower().startswith(text):
                    found.append(one)
        return found

    def of_several(self, tokens: Sequence[str]) -> tuple[int, list[Meaning]]:
        """(how many words make the longest name that they begin with, all that it may mean); (0, []) for none.

        All its words but the last are whole, and a side is none of them.
        """
        words: tuple[str, ...] = ()
        best: tuple[int, list[Meaning]] = 0, []
        if tokens[0].lower() in self.own:
            return best
        for n, token in enumerate(tokens, 1):
            more = _parts(token)
            before = (*words, *more[:-1])
            if not more or (n > 1 and token.lower() in SIDES) or (before and before not in self._begun):
                break
            words = (*words, *more)
            if n > 1 and (found := self._beginning(words)):
                best = n, found
        return best

    def _beginning(self, words: tuple[str, ...]) -> list[Meaning]:
        here = self._begun[words[:-1]]
        whole = [one for parts, one in here if parts == words]
        return list(dict.fromkeys(whole or [one for parts, one in here if parts[len(words) - 1].startswith(words[-1])]))


def narrowest(found: list[Meaning]) -> list[Meaning]:
    """Those of the first slot alone; without those that are seldom met, if that leaves one."""
    slots = {one.slot for one in found}
    if len(slots) > 1:
        first = next(slot for slot in short_codes.SLOTS if slot in slots)
        found = [one for one in found if one.slot == first]
        slots = {first}
    usual = {key for name in slots for row in USUAL.get(name, ()) for key in row}
    common = [one for one in found if one.value in usual]
    return common if len(common) == 1 else found


def _parts(text: str) -> tuple[str, ...]:
    return tuple(part for part in _BETWEEN.split(text.lower()) if part)
