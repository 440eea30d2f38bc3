"""Where an element or a taxon is found on the form: the usual ones at once, all others one shelf away. Pure.

The usual ones (domain.usual) are laid out by hand; the shelves follow the tables: nothing in them is out of reach.
Not here: what a choice does (form).
"""

from __future__ import annotations

from collections.abc import Mapping

from fieldapp.domain.knowledge import Knowledge

ACROSS, DOWN = 5, 4
_CLASSES = ("bird", "fish", "amphibian", "reptile", "mollusc")
_REGIONS = ("head", "trunk", "forelimb", "hindlimb", "feet", "unidentified")
_MAMMALS = ("sea_mammal", "large_mammal", "medium_mammal", "small_mammal", "micro_mammal")
_TAXA = (*_MAMMALS, "bird", "fish", "amphibian", "reptile", "mollusc")


def shelves(name: str, knowledge: Knowledge, taxon: str | None = None) -> dict[str, list[str]]:
    """{shelf: keys} of a field, in the order of the tables; empty shelves are left out.

    Every key lies on one shelf. Of the elements, those that the animal in hand does not have are left out.
    """
    found: dict[str, list[str]] = {}
    if name == "taxon":
        for key in knowledge.taxa:
            found.setdefault(next((one for one in _TAXA if knowledge.is_a(key, one)), "wider"), []).append(key)
        return {one: found[one] for one in (*_TAXA[1:5], "sea_mammal", *_TAXA[5:], "wider") if one in found}
    # A bone of several classes stands with those of the animal in hand.
    classes = sorted(_CLASSES, key=lambda one: taxon is None or not knowledge.is_a(taxon, one))
    for key, row in knowledge.elements.items():
        if taxon is None or knowledge.occurs(key, taxon):
            mammals = not row.only or any(knowledge.share(one, "mammal") for one in row.only)
            wanted = (one for one in classes if any(knowledge.share(one, own) for own in row.only))
            found.setdefault(row.region if mammals else next(wanted, row.region), []).append(key)
    return {one: found[one] for one in (*_REGIONS, *_CLASSES) if one in found}


LETTERS = {"2": "abc", "3": "def", "4": "ghi", "5": "jkl", "6": "mno", "7": "pqrs", "8": "tuv", "9": "wxyz"}
"""Keys with several letters each, for gloves: three taps tell most names apart."""

_PLAIN = str.maketrans("äöüéèêáàâíóúñß", "aoueeeaaaiouns")
_KEY_OF = {letter: key for key, letters in LETTERS.items() for letter in letters}


def by_letters(names: Mapping[str, str], typed: str) -> list[str]:
    """The keys of names of which a word begins with letters of the keys typed, those that begin so first."""

    def keyed(text: str) -> str:
        return "".join(_KEY_OF.get(one, "1") for one in text.lower().translate(_PLAIN))

    first = [key for key, name in names.items() if keyed(name).startswith(typed)]
    within = [key for key, name in names.items() if any(keyed(part).startswith(typed) for part in name.split()[1:])]
    return list(dict.fromkeys([*first, *within])) if typed else []


def page(keys: list[str], at: int) -> tuple[list[str], int]:
    """The keys of one page of a shelf, and how many pages there are. Two places of a page are for going on and back."""
    room = ACROSS * DOWN - 2
    pages = max(1, -(-len(keys) // room))
    start = at % pages * room
    return keys[start : start + room], pages
