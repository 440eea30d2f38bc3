"""A made-up language on every screen: English with other vowels. What still shows a plain vowel was never in the texts.

Lengthened by two fifths, as translators fear, nothing may break; what then no longer fits is counted.
"""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from fieldapp import assets
from tests.ui.conftest import Tablet
from tests.ui.test_screens import clipped, drawn
from tests.ui.tour import tour

pytestmark = pytest.mark.ui

PSEUDO = "qaa"  # of the codes that ISO 639-2 leaves to private use (common practice, no source)
VOWELS = str.maketrans("aeiouAEIOU", "äéïöüÄÉÏÖÜ")
FIELD = re.compile(r"(\{[^}]*\})")
DATA = re.compile(
    r"\b(HLG\w*|Ana|Ben|(Cleo|Dora|Emil) Example|[A-Z]\d+-\w|GB|MB|English|Deutsch|photos-in)\b"
    # What comes from the tables as it is: codes of measurements and teeth, and where a thing was published.
    r"|\b(GL\w*|Bd\w*|Bp\w*|SD|Dd|Dp|BT|[A-Z]{1,3}[a-z]?)\b"
    # A box in which a keyboard, or the one who records, typed.
    r"|hum l sheep.*|\bodd\b|10\.0\.0\.\d+\S*|192\.168\S*|^[a-z]$"
    # Keys that a sentence quotes because the bone in hand has no such part.
    r"|\"[a-z_]+\""
    r"|Söürcé: .*"
)
SOURCES = re.compile(r"\d{4}|recalled|practice|decision|Uberon", re.I)


def pseudo(text: str, longer: bool = False) -> str:
    """A text in the made-up language; its fields stay."""
    parts = FIELD.split(text)
    said = "".join(part if part.startswith("{") else part.translate(VOWELS) for part in parts)
    return said + " ö" * max(1, len(text) // 5) if longer and len(text) > 3 else said


@pytest.fixture
def speak(monkeypatch: pytest.MonkeyPatch) -> Callable[[bool], None]:
    """Puts the made-up language in the place of English."""

    def begin(longer: bool) -> None:
        english = assets.texts_in("en")
        made = {key: pseudo(text, longer) for key, text in english.items()}
        # Below `texts`, which other modules have by name.
        monkeypatch.setattr(assets, "texts_in", lambda lang: made)

    return begin


@pytest.mark.proof
def test_every_word_of_every_screen_comes_from_the_texts(
    start: Callable[..., Tablet], speak: Callable[[bool], None]
) -> None:
    speak(False)
    tablet = start()
    found: dict[str, str] = {}
    stops = 0
    # Where the folder of carry-files is named, however it is broken into lines.
    folder = re.compile(r"\s?".join(map(re.escape, str(tablet.folder / "carry"))))
    for name in tour(tablet):
        stops += 1
        tablet.hand.frames(2)
        for widget in drawn(tablet):
            for setting, _, _ in widget.settings:
                text = " ".join(setting.lines)
                rest = DATA.sub("", folder.sub("", text))
                if re.search("[aeiou]", rest) and not SOURCES.search(text):
                    found.setdefault(text, name)
    assert stops > 45
    assert not found, "\n".join(f"{name}: {text}" for text, name in found.items())


@pytest.mark.proof
def test_texts_two_fifths_longer_break_nothing(
    start: Callable[..., Tablet], speak: Callable[[bool], None], capsys: pytest.CaptureFixture[str]
) -> None:
    speak(True)
    tablet = start(ppi=224.0, size=(1920, 1200))
    seen = faults = 0
    for _ in tour(tablet):
        tablet.hand.frames(2)
        seen += sum(len(widget.settings) for widget in drawn(tablet))
        faults += len(clipped(tablet))
    with capsys.disabled():
        print(f"\ntexts two fifths longer: {faults} of {seen} do not fit on 10 inches")
    assert faults / seen < 0.02
