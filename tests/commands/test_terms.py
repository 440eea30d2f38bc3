"""The search among the terms of the vocabulary, and the two commands that list what the project knows.

Run through their modules, as the command line runs them.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import tomllib
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldapp import assets
from fieldapp.commands import rules, terms
from fieldapp.domain.terms import KINDS, ROLES_FROM, Term, all_terms, find, plain

TERMS = all_terms(assets.knowledge(), assets.texts())


def run(module: ModuleType, *argv: str) -> tuple[int, str]:
    parser = argparse.ArgumentParser()
    module.register(parser)
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = module.run(parser.parse_args(argv))
    return code, out.getvalue()


def test_the_command_is_found_by_its_entry_point():
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["entry-points"]["bonedocket.commands"]["terms"] == terms.__name__


def test_every_entry_of_every_table_is_a_term():
    know = assets.knowledge()
    held = {kind: [term for term in TERMS if term.kind == kind] for kind in KINDS}
    assert {term.key for term in held["taxon"]} == know.taxa.keys()
    assert {term.key for term in held["element"]} == know.elements.keys()
    assert len(held["portion"]) == sum(len(rows) for rows in know.portions.values())
    assert len(held["centre"]) == sum(len(rows) for rows in know.centres.values())
    assert len(held["fusion_age"]) == len(know.fusion_ages)
    assert len(held["count"]) == len(know.skeleton_counts)
    assert len(held["word"]) == len(know.glossary)
    assert {term.key for term in held["tooth"]} == know.teeth.teeth.keys()
    assert len(held["eruption"]) == len(know.teeth.eruption)
    assert len(held["wear"]) == sum(1 + len(scheme.stages) for scheme in know.teeth.schemes.values())
    assert len(held["measure"]) == len(know.measures.measurements)
    assert len(held["size"]) == len(know.measures.ranges)
    assert len(held["presence"]) == len(know.presence.limits)
    assert len(held["role"]) == len(know.roles)
    assert all(term.name and term.key and term.source for term in TERMS)


def test_every_term_says_where_it_is_from_as_its_table_does():
    assert all(term.seen in ("memory", "-") or term.seen.startswith("verified:") for term in TERMS)
    assert {(row["source"], row["seen"]) for row in assets.table("roles")} == {(ROLES_FROM, "-")}


def test_every_kind_and_every_sentence_of_the_terms_has_its_text():
    texts = assets.texts()
    assert [kind for kind in KINDS if f"terms.kind.{kind}" not in texts] == []
    assert [term for term in TERMS if any(part.startswith("terms.") for part in (term.definition, term.where))] == []


@pytest.mark.parametrize(
    ("sought", "kind", "key"),
    [
        ("astragalus", "element", "astragalus"),
        ("UBERON:0000979", "element", "tibia"),
        ("bos taurus", "taxon", "cattle"),
        ("NCBI:9913", "taxon", "cattle"),
        ("TIBIÓTARSUS", "form", "tibia.bird"),
        ("sheep/goat", "taxon", "sheep_goat"),
        ("not examined", "word", "not_examined"),
        ("acetabulum", "centre", "pelvis.acetabulum"),
        ("dP4", "tooth", "dP4"),
        ("grant_1982.g", "wear", "grant_1982.g"),
        ("tibia.Bd", "measure", "tibia.Bd"),
    ],
)
def test_a_term_is_found_first_by_its_key_name_latin_name_or_code(sought, kind, key):
    found = find(TERMS, sought)
    assert (kind, key) in [(term.kind, term.key) for term in found[:3]]


def test_the_best_match_comes_first():
    def term(key: str, name: str, definition: str = "") -> Term:
        return Term("word", key, name, (), definition, "s", "-", "")

    exact, start, inside = term("a", "neck"), term("b", "neck of the rib"), term("c", "bottleneck")
    defined, other = term("d", "x", "the neck"), term("e", "head")
    assert find([other, defined, inside, start, exact], "Neck") == [exact, start, inside, defined]


def test_every_word_must_be_held_by_the_term():
    found = find(TERMS, "tibia proximal silver")
    assert found
    held = [plain(f"{term.key} {term.name} {' '.join(term.also)} {term.definition} {term.source}") for term in found]
    assert all(word in one for one in held for word in ("tibia", "proximal", "silver"))


def test_the_sources_of_one_age_stand_side_by_side_with_the_chosen_one_first():
    found = [term for term in find(TERMS, "sheep.tibia.proximal") if term.kind == "fusion_age"]
    ages = [term for term in found if term.key == "sheep.tibia.proximal"]
    assert len({term.source for term in ages}) > 1
    assert found[: len(ages)] == ages
    chosen = assets.texts()["terms.chosen"]
    assert chosen in ages[0].definition
    assert not any(chosen in term.definition.split("; ") for term in ages if term.source != ages[0].source)


def test_a_number_with_one_end_or_none_is_told_as_it_is():
    texts = assets.texts()
    rows = {(row.min_months, row.max_months) for row in assets.knowledge().fusion_ages}
    assert any(low == high for low, high in rows)
    told = [term.definition for term in TERMS if term.kind == "fusion_age"]
    assert not any("None" in one or "nan" in one for one in told)
    assert texts["terms.number.range"].format(low=42, high=48, unit="months") in " ".join(told)


@given(st.text(max_size=40))
def test_any_text_can_be_searched_for(text):
    found = find(TERMS, text)
    assert all(isinstance(term, Term) for term in found)
    assert found == [] or plain(text)


@settings(max_examples=30)
@given(st.lists(st.text(max_size=12), max_size=3))
def test_the_command_answers_any_words_and_never_fails(words):
    code, out = run(terms, "--", *words)
    assert code in (0, 1)
    assert out
    assert out.encode("utf-8")


@given(st.text(alphabet=st.characters(categories=["L", "N", "Zs", "P"]), max_size=30))
def test_case_and_accents_and_punctuation_make_no_difference(text):
    assert plain(plain(text)) == plain(text)
    assert find(TERMS, text) == find(TERMS, plain(text))


def test_without_a_word_the_kinds_are_listed_with_their_numbers():
    code, out = run(terms)
    assert code == 0
    assert all(kind in out for kind in KINDS)
    assert str(len(TERMS)) in out


def test_what_is_shown_fits_a_terminal_and_says_where_it_comes_from():
    code, out = run(terms, "cattle", "--all")
    assert code == 0
    assert all(len(line) <= 100 or "http" in line for line in out.splitlines())
    assert "(from memory)" in out
    assert "(seen at http" in out


def test_long_answers_show_the_best_and_say_how_many_there_are():
    code, out = run(terms, "a")
    assert code == 0
    assert out.count("source: ") == terms.SHOWN
    assert "--all" in out
    _, out = run(terms, "a", "--all")
    assert out.count("source: ") == len(find(TERMS, "a"))


def test_all_fields_are_given_as_json_and_one_kind_can_be_asked_for():
    code, out = run(terms, "tibia", "--kind", "portion", "--json")
    assert code == 0
    rows = json.loads(out)
    assert rows
    assert all(set(row) == set(Term.__dataclass_fields__) and row["kind"] == "portion" for row in rows)


def test_nothing_found_is_said_with_near_words_and_an_exit_code():
    code, out = run(terms, "tibbia")
    assert code == 1
    assert "tibia" in out
    assert terms.near(TERMS, "astragulus")[0] == "astragalus"
    code, out = run(terms, "qqqqqqqq")
    assert (code, "Nothing is near it" in out) == (1, True)
    assert run(terms, "qqqqqqqq", "--json") == (1, "[]\n")


def test_rules_can_be_searched_and_narrowed_and_are_counted_by_level():
    know = assets.knowledge()
    code, out = run(rules)
    assert code == 0
    levels = {level: sum(row.level == level for row in know.rules.values()) for level in rules.LEVELS}
    assert f"{len(know.rules)} rules: {', '.join(f'{number} {level}' for level, number in levels.items())}" in out
    code, out = run(rules, "--family", "fusion", "--json")
    assert code == 0
    assert {row["key"] for row in json.loads(out)} == {
        key for key, row in know.rules.items() if "fusion" in row.families
    }
    code, out = run(rules, "LOOSE", "shaft", "--json")
    assert "loose_with_shaft" in [row["key"] for row in json.loads(out)]
    code, out = run(rules, "--family", "astrology")
    assert (code, "fusion" in out) == (1, True)
