"""The drafts of what local law and practice are said to ask, as somebody edits them before a site sets its own words.

For: the command and the desk. Nothing of a draft is shown at a stop, or counts, until a site has set it.
"""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.assets import texts
from fieldapp.domain.places import PlaceLine


def rules(lines: tuple[PlaceLine, ...]) -> Iterator[str]:
    """A rule a line, with what is known of its source in brackets; lines with # name the sources and are no rules."""
    words, before = texts(), ""
    for line in lines:
        if line.source != before:
            yield f"# {line.source}:"
        before = line.source
        mark = "draft_seen" if line.address else "draft_recalled"
        yield f"{words[line.text]} [{words[f'cabin.cli.{mark}'].format(address=line.address)}]"
