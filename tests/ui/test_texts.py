"""The words of the screens: each key that is asked for has a sentence, in each sentence only fields that are given."""

from __future__ import annotations

import ast
import string
from collections.abc import Iterator
from pathlib import Path

import pytest

import fieldapp.ui
from fieldapp import assets
from fieldapp.domain.aid import ANSWERS
from fieldapp.domain.naming import ANSWERS as SAID
from fieldapp.ui.presenters import cards, contexts, finding, form_fields, hold, manner, more, quick
from fieldapp.ui.presenters.assess import PARTS, WORDS
from fieldapp.ui.presenters.cabin import KINDS
from fieldapp.ui.presenters.fields import find, words
from fieldapp.ui.presenters.form import FIRST, SECOND
from fieldapp.ui.presenters.hold import QUERY_STEPS, STOP_STEPS
from fieldapp.ui.presenters.licensed import LICENSED_STEPS
from fieldapp.ui.texts import word

HERE = Path(fieldapp.ui.__file__).parent


def calls() -> Iterator[tuple[str, str, set[str | None]]]:
    """(where, key, fields) of every `say` whose key stands in the source; None among the fields for a mapping."""
    for path in sorted(HERE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say" and node.args:
                first = node.args[0]
                options = [first.body, first.orelse] if isinstance(first, ast.IfExp) else [first]
                for one in options:
                    if isinstance(one, ast.Constant) and isinstance(one.value, str):
                        fields = {given.arg for given in node.keywords}
                        yield f"{path.name}:{node.lineno}", one.value, fields


def test_every_key_has_a_sentence_with_the_fields_it_is_given() -> None:
    texts = assets.texts()
    found = list(calls())
    assert len(found) > 100
    for where, key, fields in found:
        assert f"ui.{key}" in texts, where
        if None in fields:
            continue  # fields handed through
        wanted = {name for _, name, _, _ in string.Formatter().parse(texts[f"ui.{key}"]) if name}
        assert wanted <= fields, (where, key)


@pytest.mark.parametrize(
    ("prefix", "keys"),
    [
        ("stop", (*STOP_STEPS, *QUERY_STEPS, *LICENSED_STEPS)),
        ("assess", (*PARTS, *WORDS, *(f"{one}_hint" for one in WORDS), *(f"said.{one}" for one in SAID))),
        ("human", form_fields.HUMAN),
        ("human", tuple(f"{one}.note" for one in form_fields.HUMAN)),
        ("phrase", form_fields.PHRASES),
        ("aid", ANSWERS),
        ("by_rule", tuple(one.key for one in assets.knowledge().rules.values() if one.raises)),
        ("field", (*FIRST, *SECOND, "more", "first")),
        ("nothing", SECOND[:-1]),
        ("slot", (*words.SURFACE, *words.AGE, *find.FIGURES, "find_no", "finder", "joins")),
        (
            "card",
            (
                *cards.SLOTS,
                *(f"{way}.{one.path}" for way in ("slot", "asks") for own in cards.SLOTS.values() for one in own),
            ),
        ),
        ("more", (*more.HERE, "here", "tablet")),
        ("go", more.TABLET),
        ("look", quick.LOOKS),
        ("quick", (*quick.ANSWERS, *(f"asks.{one}" for one in ("looks", "sizes", "human", "rest")))),
        ("manner", manner.TOGGLES),
        ("find", (*finding.MARKS, "text", "kind", "any")),
        ("kind", (*finding.KINDS, *KINDS)),
        ("slot", tuple(f"{one}.why" for one in (*find.FIGURES, "find_no"))),
        ("need", ("need_number", "need_type", "need_grave", "need_what", "need_whom", "need_note")),
        ("nothing", ("element", "portions", "fusion", "side", "taxon")),
        ("setup", ("address", "code", "site", "letter", "cabin", "alone", "cabin.how", "alone.how")),
    ],
)
def test_keys_that_are_put_together_have_sentences(prefix: str, keys: tuple[str, ...]) -> None:
    assert [key for key in keys if f"ui.{prefix}.{key}" not in assets.texts()] == []


@pytest.mark.parametrize(
    ("of", "keys"),
    [
        ("fusion_state", form_fields.FUSION),
        ("burning", form_fields.BURNING),
        ("context_type", contexts.TYPES),
        ("grave_like", contexts.GRAVE_LIKE),
        ("step", hold.WHAT),
        ("whom", hold.WHOM),
        ("how", hold.HOW),
        ("form", ("ruminant", "equid", "pig", "carnivore", "bird", "human")),
        ("standing", ("human", "stop", "query", "not_excluded", "not_asked", "no_sign", "non_human")),
        ("level", ("impossible", "check", "note")),
    ],
)
def test_words_of_lists_are_words(of: str, keys: tuple[str, ...]) -> None:
    texts = assets.texts()
    for key in keys:
        assert f"ui.short.{of}.{key}" in texts or f"{of}.{key}" in texts, key
        assert word(of, key)


def test_no_sentence_of_the_screens_is_left_over() -> None:
    source = "\n".join(path.read_text(encoding="utf-8") for path in HERE.rglob("*") if path.suffix in (".py", ".kv"))
    made = (
        "assess",
        "stop",
        "human",
        "phrase",
        "by_rule",
        "aid",
        "field",
        "need",
        "nothing",
        "setup",
        "short",
        "hold",
        "action",
        "plate",
        "history",
        "shelf",
        "beside",
        "skeleton",
        "slot",
        "card",
        "carry",
        "go",
        "look",
        "quick",
        "kind",
        "lab",
        "manner",
        "more",
        "print",
        "find",
    )
    for key in assets.texts():
        area, _, rest = key.partition(".")
        if area == "ui" and rest.partition(".")[0] not in made:
            assert f'"{rest}"' in source or f"'{rest}'" in source, key


def test_a_word_of_a_newer_version_is_shown_as_it_is() -> None:
    assert word("material", "from_a_later_list") == "from a later list"
    assert word("side", None) == ""
