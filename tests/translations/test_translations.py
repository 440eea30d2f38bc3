"""The second language is whole, says the same things, and is what is shipped."""

from __future__ import annotations

import re

import pytest

from fieldapp import assets
from tests.translations.catalogue import FILE, brought_up, compiled, fields, read, written

LANGUAGES = assets.languages()[1:]


def test_there_is_a_second_language() -> None:
    assert LANGUAGES


@pytest.fixture(params=LANGUAGES)
def lang(request: pytest.FixtureRequest) -> str:
    """A language besides English."""
    return str(request.param)


def known(lang: str) -> dict[str, tuple[str, str]]:
    return read(assets.root() / "translations" / lang / "LC_MESSAGES" / FILE)


def test_every_text_is_translated_and_none_is_left_over(lang: str) -> None:
    english, own = {key: text for key, text in assets.texts_in("en").items() if text}, known(lang)
    assert own.keys() == english.keys(), "run `make texts`"
    assert [key for key, (was, _) in own.items() if was != english[key]] == [], "the English has changed"
    assert [key for key, (_, text) in own.items() if not text.strip()] == [], "wait for a translator"


def test_the_shipped_catalogue_is_made_from_the_translators_file(lang: str) -> None:
    path = assets.root() / "translations" / lang / "LC_MESSAGES" / FILE
    catalogue = brought_up(lang, assets.texts_in("en"), known(lang), {})
    assert path.read_bytes() == written(catalogue)
    assert path.with_suffix(".mo").read_bytes() == compiled(catalogue)


class Filled:
    """Stands in a text for anything, with or without its noun."""

    def __format__(self, spec: str) -> str:
        return f"x {spec}"


def test_a_translation_has_the_fields_of_the_english(lang: str) -> None:
    own = assets.texts_in(lang)
    for key, text in assets.texts_in("en").items():
        assert fields(own[key]) == fields(text), key
        own[key].format(**dict.fromkeys(fields(text), Filled()))


def test_a_translation_keeps_codes_of_commands_and_sources(lang: str) -> None:
    own = assets.texts_in(lang)
    for key, text in assets.texts_in("en").items():
        for code in re.findall(r"`[^`]+`", text):
            assert code in own[key], key


def test_two_answers_to_one_question_stay_two(lang: str) -> None:
    own, english = assets.texts_in(lang), assets.texts_in("en")
    groups: dict[str, list[str]] = {}
    for key in english:
        if key.count(".") == 1 and not key.startswith(("ui.", "review.", "sheets.", "cabin.", "rule.", "criterion.")):
            groups.setdefault(key.partition(".")[0], []).append(key)
    for group, keys in groups.items():
        words: dict[str, str] = {}
        for key in keys:
            other = words.setdefault(own[key].casefold(), key)
            assert english[other].casefold() == english[key].casefold() or other == key, (group, other, key)


def test_numbers_of_the_english_are_in_the_translation(lang: str) -> None:
    """A limit or an age that got lost on the way would be a fault of substance."""
    own = assets.texts_in(lang)
    lost = []
    for key, text in assets.texts_in("en").items():
        if key.startswith(("rule.", "weathering.", "ui.stop", "criterion.")):
            for number in re.findall(r"\d+(?:\.\d+)?", text):
                if number not in own[key] and number.replace(".", ",") not in own[key]:
                    lost.append((key, number))
    assert lost == []
