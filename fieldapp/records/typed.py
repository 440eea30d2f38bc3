"""Short typed codes for the lab: a line of words, each of which says one thing of the fragment in hand. Pure.

A word is looked for in the site's own table of codes first, then as the beginning of a name (typed_names): `hum l roe
deer +dis d:f Bd34` says humerus, left, roe deer, distal portions mostly there, distal fused, Bd 34 mm. What could mean
two things is said and not taken; so is what contradicts a word before it, unless it names what may be human. Capitals
are taken as they are meant. The same on a tablet and at the desk. Not here: what is shown, and what a line is taken
into (Piece).

    +x ~x -x     portions with a word that begins so, or the end of that name: most, part, absent;  +* -*: the rest
    x:u x:g x:f x:l   the centre x is unfused, fusing, fused, a loose epiphysis
    Bd34.5 Bd 34.5    a measurement; `Bd` alone waits for the callipers
    w12.3 w 12.3      the weight in grams; `w` alone waits for the balance
    x3           so many alike
    =            the same bone of the same animal as the docket before
    ?s ?q ?n ?c ??    may be human in the ground, lifted, nothing points to it, cannot be told, not asked
    "words       a note, to the end of the line
"""

from __future__ import annotations

import re
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple, Protocol

from fieldapp.domain import human
from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.measures import Taking
from fieldapp.records import answers as readings
from fieldapp.records import choosing
from fieldapp.records.answers import Answers
from fieldapp.records.typed_names import Meaning, Names, narrowest

PORTION = {"+": "most", "~": "part", "-": "absent"}
FUSION = {"u": "unfused", "g": "fusing", "f": "fused", "l": "loose_epiphysis", "n": "not_visible"}
HUMAN = {"s": human.STOP, "q": human.QUERY, "n": human.NO_SIGN, "c": human.NOT_EXCLUDED, "?": human.NOT_ASKED}
MATERIAL = {"loose_tooth": "tooth", "antler": "antler", "horn_core": "horn_core"}
WEIGHT, SAME = "w", "="
"""Codes that are no bone's."""
_FIGURE = re.compile(r"(?P<code>.*?[^\d.,])(?P<figure>\d+(?:[.,]\d+)?)\Z")
_NUMBER = re.compile(r"\d+(?:[.,]\d+)?(?:mm|g)?\Z")
_COUNT = re.compile(r"[xX]\d{1,6}\Z")


class Piece(Protocol):
    """The fragment in hand: what a line is taken into."""

    @property
    def answers(self) -> Answers:
        """{slot: value} as it stands (records.answers)."""

    def choose(self, name: str, value: Any, /) -> None:
        """Answers material, element, taxon or side, with what hangs on it (records.choosing)."""

    def put(self, name: str, changes: Mapping[str, Any], /) -> None:
        """Sets slots of a field."""

    def answer_human(self, answer: str, /) -> None:
        """Answers the human question."""

    def measured(self, code: str, mm: float, /) -> None:
        """Writes a measurement down."""

    def same_again(self) -> bool:
        """The same bone of the same animal as the docket before; False if there was none."""


class Wrong(NamedTuple):
    """A word that was not taken. `why`: unknown, several, twice (another word of the line says otherwise), no_figure,
    no_bone (none is named yet), no_portions and nothing_joins (it has none), no_portion, no_centre, nothing_before,
    left (a code for which no figure came); `names`: what it may mean, what the line says already, what the bone has."""

    why: str
    word: str
    names: tuple[str, ...] = ()


@dataclass
class Told:
    """What a line did. `waits`: the code that waits for a figure; `wrong`: what was not taken; `said`: what its words
    have answered so far, by slot."""

    waits: str = ""
    wrong: list[Wrong] = field(default_factory=list)
    said: dict[str, Meaning] = field(default_factory=dict, compare=False)


def is_figure(line: str) -> bool:
    """Whether a line is a number alone, as callipers and a balance type it."""
    return bool(_NUMBER.match(line.strip()))


def takings(answers: Answers, knowledge: Knowledge) -> list[Taking]:
    """What can be measured on the bone in hand: what can be taken now first."""
    most = [key for key, state in readings.portion_states(answers, knowledge).items() if state == "most"]
    found = knowledge.measures.possible(
        answers.get("element"),
        answers.get("taxon"),
        most,
        readings.fusion_states(answers, knowledge),
        answers.get("position"),
    )
    return sorted(found, key=lambda one: bool(one.lacking))


class Reader:
    """Reads lines.

    knowledge  the site's
    own        the site's own codes: {code: the value at `short/<code>` of its record}
    word       (list, key) -> the word, as whoever types speaks
    """

    def __init__(self, knowledge: Knowledge, own: Mapping[str, Any], word: Callable[[str, str], str]) -> None:
        self.knowledge, self._word = knowledge, word
        self._names = Names(knowledge, own, word)

    # -- single words

    def meanings(self, answers: Answers, text: str, answered: Container[str] = ()) -> list[Meaning]:
        """What a word may mean: the site's own code alone, a whole key or name, or all that begin so.

        answers   those of the piece in hand
        answered  slots that the words before it answer
        """
        found = self._names.of_word(text)
        if isinstance(found, Meaning):
            return [found]
        # What is answered already is not what is meant, unless nothing else is.
        open_ = [one for one in found if one.slot not in answers and one.slot not in answered]
        return narrowest(open_ or found)

    def words(self) -> Iterable[str]:
        """Every word and code that stands for something by itself."""
        yield from self._names.own
        for every in self._names.every.values():
            for one in every:
                yield one.name.lower()

    # -- lines

    def take(self, piece: Piece, line: str, waits: str = "") -> Told:
        """Takes a line into the piece, word by word; `waits`: the code that the last line left waiting for a figure."""
        told = Told(waits=waits)
        text, _, note = line.partition('"')
        if note.strip():
            before = piece.answers.get("note")
            piece.put("note", {"note": f"{before}; {note.strip()}" if before else note.strip()})
        tokens = text.split()
        while tokens:
            tokens = tokens[self._next(piece, told, tokens) :]
        return told

    def _next(self, piece: Piece, told: Told, tokens: Sequence[str]) -> int:
        """Takes the next word or name of several; how many words that was."""
        if told.waits and _NUMBER.match(tokens[0]):
            self._figure(piece, told, told.waits, tokens[0])
            return 1
        if told.waits:
            told.wrong.append(Wrong("left", told.waits))
        told.waits = ""
        n, found = self._names.of_several(tokens)
        if n:
            self._meant(piece, told, " ".join(tokens[:n]), narrowest(found))
            return n
        self._token(piece, told, tokens[0])
        return 1

    def _token(self, piece: Piece, told: Told, token: str) -> None:
        if token == SAME:
            if not piece.same_again():
                told.wrong.append(Wrong("nothing_before", token))
        elif token[0] in PORTION and len(token) > 1:
            self._portion(piece, told, token)
        elif ":" in token:
            self._fusion(piece, told, token)
        elif token[0] == "?" and token[1:].lower() in HUMAN:
            piece.answer_human(HUMAN[token[1:].lower()])
        elif _COUNT.match(token) and token.isascii():
            piece.put("find", {"count": int(token[1:])})
        else:
            self._coded(piece, told, token)

    def _coded(self, piece: Piece, told: Told, token: str) -> None:
        figured = _FIGURE.match(token)
        code = (figured["code"] if figured else token).rstrip("=")
        codes = self._codes(piece)
        if code not in codes:
            found = self.meanings(piece.answers, token)
            alike = [one for one in codes if one.lower() == code.lower()]
            if found or len(alike) != 1:
                self._meant(piece, told, token, found)
                return
            (code,) = alike
        if figured:
            self._figure(piece, told, code, figured["figure"])
        else:
            told.waits = code

    def _codes(self, piece: Piece) -> set[str]:
        return {WEIGHT, *(one.measurement.code for one in takings(piece.answers, self.knowledge))}

    def _figure(self, piece: Piece, told: Told, code: str, figure: str) -> None:
        told.waits = ""
        value = float(figure.removesuffix("mm").removesuffix("g").replace(",", "."))
        if not 0 < value < 1e9:
            told.wrong.append(Wrong("no_figure", figure))
        elif code == WEIGHT:
            piece.put("find", {"weight_g": value})
        else:
            piece.measured(code, value)

    def _portion(self, piece: Piece, told: Told, token: str) -> None:
        state, rest = PORTION[token[0]], token[1:].lower()
        answers, word = piece.answers, self._word
        states = readings.portion_states(answers, self.knowledge)
        element = answers.get("element", "")
        names = {key: word(f"portion.{element}", key).lower() for key in states}
        if rest == "*":
            keys = [key for key, now in states.items() if now == readings.NOT_EXAMINED]
        else:
            keys = [key for key, name in names.items() if any(part.startswith(rest) for part in (key, *name.split()))]
            keys += [key for key in self._of_end(answers, rest) if key not in keys]
        if keys:
            piece.put("portions", {f"portion.{key}": state for key in keys})
        elif not states:
            told.wrong.append(Wrong("no_portions" if element else "no_bone", token))
        else:
            told.wrong.append(Wrong("no_portion", token, tuple(names.values())))

    def _of_end(self, answers: Answers, rest: str) -> list[str]:
        """The portions of the ends whose name begins so: the epiphysis and what it grows on."""
        element, taxon = answers.get("element", ""), answers.get("taxon")
        found = []
        for one in self.knowledge.centres_of(element, taxon):
            if one.key.startswith(rest):
                found += [part.key for part in self.knowledge.epiphysis(element, one.key, taxon)]
                found += [one.metaphysis] if one.metaphysis else []
        return found

    def _fusion(self, piece: Piece, told: Told, token: str) -> None:
        name, _, state = token.lower().partition(":")
        know, answers = self.knowledge, piece.answers
        seen = [one.key for one in readings.centres(answers, know) if not readings.cannot_be_seen(one, answers, know)]
        found = [key for key in seen if key.startswith(name)]
        if state in FUSION and found:
            piece.put("fusion", {f"fusion.{key}": FUSION[state] for key in found})
        else:
            why = "no_centre" if seen else "nothing_joins" if answers.get("element") else "no_bone"
            told.wrong.append(Wrong(why, token, tuple(seen)))

    def _more_cautious(self, one: Meaning, before: Meaning) -> bool:
        """Whether a word names what may be human, and the word before it what is less: it is heard all the same."""
        answers = [self.knowledge.human_answer(each.value) if each.slot == "taxon" else "" for each in (one, before)]
        return human.CAUTION.get(answers[0], -1) > human.CAUTION.get(answers[1], -1)

    def _meant(self, piece: Piece, told: Told, typed: str, found: Sequence[Meaning]) -> None:
        if len(found) > 1:
            told.wrong.append(Wrong("several", typed, tuple(one.name for one in found)))
        elif not found:
            told.wrong.append(Wrong("unknown", typed))
        elif (before := told.said.get(found[0].slot, found[0])) != found[0] and not self._more_cautious(
            found[0], before
        ):
            told.wrong.append(Wrong("twice", typed, (before.name,)))
        else:
            told.said[found[0].slot] = found[0]
            _answer(piece, found[0])


def _answer(piece: Piece, meaning: Meaning) -> None:
    slot, value = meaning.slot, meaning.value
    if slot in ("element", "taxon", "side", "material"):
        if slot == "element" and not piece.answers.get("material"):
            piece.choose("material", MATERIAL.get(value, "bone"))
        piece.choose(slot, value)
        return
    piece.put("surface" if slot == "burning" else "age", {slot: value})


class Slip:
    """A fragment that lines alone are taken into, from nothing.

    before  answers of the docket before, for "same again"
    new_id  code -> the id that its measurement gets
    """

    def __init__(self, knowledge: Knowledge, before: Mapping[str, Any], new_id: Callable[[str], str]) -> None:
        self.answers: dict[str, Any] = {}
        self._knowledge, self._before, self._new_id = knowledge, before, new_id

    def choose(self, name: str, value: Any) -> None:
        """See Piece."""
        self.put(name, choosing.chosen(self.answers, name, value, self._knowledge))

    def put(self, name: str, changes: Mapping[str, Any]) -> None:
        """See Piece."""
        self.answers = {slot: value for slot, value in {**self.answers, **changes}.items() if value is not None}

    def answer_human(self, answer: str) -> None:
        """See Piece. Of several answers in one line the most cautious counts: a line lowers nothing."""
        given = self.answers.get("human", answer)
        self.put("human", {"human": max(given, answer, key=human.CAUTION.__getitem__)})

    def measured(self, code: str, mm: float) -> None:
        """See Piece."""
        self.put("measures", {f"measure/{self._new_id(code)}": {"code": code, "mm": mm}})

    def same_again(self) -> bool:
        """See Piece."""
        if not self._before.get("element"):
            return False
        changes = choosing.again(self.answers, self._before, self._knowledge)
        if not self.answers.get("material"):
            changes["material"] = self._before.get("material", "bone")
        self.put("element", changes)
        return True
