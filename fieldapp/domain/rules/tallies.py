"""Rules about tallies: what was counted and not recorded one by one.

The human question is asked of single bones, and a tally has no place for its answers. So these rules raise nothing:
they say which tallies hide bones that have to be recorded singly. Not here: how tallies are counted (domain.counting).
"""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.caution import BURNT, CREMATION_PLACES, NOT_BODILY, like_a_grave
from fieldapp.domain.rules.findings import Around, Finding, Record, by_name, shown, term, text


def tally_may_be_human(tally: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Counted as human, or by the name that leaves human open."""
    taxon = text(tally.values.get("taxon"))
    if taxon is not None and know.may_be_human(taxon):
        yield "taxon", {"taxon": term("taxon", taxon)}


def tally_from_grave(tally: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Counted from something like a grave, or where the dead were burnt."""
    context = around.context
    if context is None or not _bodily(tally, know):
        return
    if like_a_grave(context) or text(context.get("type")) in CREMATION_PLACES:
        yield "context", {"context": shown(context.get("number") or around.context_id)}


def tally_burnt_unnamed(tally: Record, around: Around, know: Knowledge) -> Iterator[Finding]:
    """Burnt, and counted under no animal's name: fire hides what tells human from animal."""
    burning, taxon = text(tally.values.get("burning")), text(tally.values.get("taxon"))
    if burning in BURNT and _bodily(tally, know) and taxon not in know.names.animals:
        yield "burning", {"burning": term("burning", burning)}


def _bodily(tally: Record, know: Knowledge) -> bool:
    row = know.elements.get(text(tally.values.get("element")) or "")
    return row is None or row.material not in NOT_BODILY


RULES = by_name(tally_may_be_human, tally_from_grave, tally_burnt_unnamed)
