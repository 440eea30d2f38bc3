"""Gettext catalogues of the texts: English by key in, .po and .mo out, the same bytes for the same texts."""

from __future__ import annotations

import string
from collections.abc import Mapping
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

FILE = "bonedocket.po"
_NEVER = datetime(2026, 1, 1, tzinfo=UTC)
"""No time is written: a catalogue changes only with its texts."""


class _Unsigned(Catalog):
    """A catalogue that does not say which release of Babel wrote it, for the same reason."""

    def _get_mime_headers(self) -> list[tuple[str, str]]:
        *headers, (last, value), _ = super()._get_mime_headers()
        return [*headers, (last, f"{value}\n")]

    mime_headers = property(_get_mime_headers, Catalog._set_mime_headers)


def read(path: Path) -> dict[str, tuple[str, str]]:
    """{key: (English, translation)} of a .po."""
    with path.open("rb") as opened:
        return {str(one.context): (str(one.id), str(one.string)) for one in read_po(opened) if one.id}


def brought_up(
    lang: str, english: Mapping[str, str], known: Mapping[str, tuple[str, str]], new: Mapping[str, str]
) -> Catalog:
    """Every English text with its translation: a new one, or the known one where the English is what it was."""
    catalogue = _Unsigned(
        locale=lang,
        project="Bonedocket",
        version="1",
        copyright_holder="",
        creation_date=_NEVER,
        revision_date=_NEVER,
        last_translator="",
        language_team="",
        fuzzy=False,
    )
    catalogue.header_comment = "# Texts of Bonedocket. The context of a text is its key."
    for key in sorted(key for key, text in english.items() if text):
        was, text = known.get(key, ("", ""))
        found = new.get(key) or (text if was == english[key] else "")
        flags = ["python-brace-format"] if fields(english[key]) else []
        catalogue.add(english[key], found, context=key, flags=flags)
    return catalogue


def fields(text: str) -> set[str]:
    """The names in braces of a text."""
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def written(catalogue: Catalog) -> bytes:
    """The catalogue as a .po."""
    out = BytesIO()
    write_po(out, catalogue, width=120, sort_output=False, omit_header=False)
    return out.getvalue()


def compiled(catalogue: Catalog) -> bytes:
    """The catalogue as a .mo."""
    out = BytesIO()
    write_mo(out, catalogue)
    return out.getvalue()
