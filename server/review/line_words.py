"""What the words of a typed line mean at this site, and why one was not taken, in the language that is shown.

Not here: what a line is taken into (entry_lines, edit_lines), nor how it is read (fieldapp.records.typed).
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence

from fieldapp.assets import texts
from fieldapp.domain.knowledge import Knowledge
from fieldapp.records.fold import Record
from fieldapp.records.typed import Reader, Wrong
from server.review import words

NEAREST, NEAR = 5, 0.6


def reader(known: Knowledge, site: Record) -> Reader:
    """What typed words mean at this site, in the language that is shown."""
    return Reader(known, site.items("short"), lambda of, key: texts().get(f"{of}.{key}") or key)


def why(wrong: Wrong, codes: Sequence[str], read: Reader) -> str:
    """Why a word was not taken, with the nearest of the words and of the bone's `codes`."""
    if wrong.why != "unknown":
        most = NEAREST if wrong.why == "several" else None
        return words.say(f"entry.wrong.{wrong.why}", word=wrong.word, names=", ".join(wrong.names[:most]))
    near = difflib.get_close_matches(wrong.word.lower(), dict.fromkeys([*codes, *read.words()]), NEAREST, NEAR)
    said = words.say("entry.wrong.unknown", word=wrong.word)
    return f"{said} {words.say('entry.nearest', words=', '.join(near))}" if near else said
