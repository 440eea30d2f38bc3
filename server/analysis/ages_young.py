"""The unborn and the newborn: how many of the bones of each animal.

For: the table `neonatal`. Not for: ages in months (ages_survival), or why they died.
"""

from __future__ import annotations

from collections.abc import Iterator

from fieldapp.domain.assemblage.results import Column, Note, Result, Row, Span, Word
from fieldapp.domain.assemblage.shares import percent, wilson
from fieldapp.domain.assemblage.young import Young, young
from server.analysis import ages_asked as ask
from server.analysis.asking import Asked, Table
from server.analysis.count_common import human_notes
from server.analysis.count_pieces import together

_COLUMNS = (
    Column("taxon"),
    Column("young_foetal", "span"),
    Column("young_newborn", "span"),
    Column("young_woven", "span"),
    Column("young", "span"),
    Column("n", "count"),
    Column("percent_young", "percent"),
    Column("wilson", "interval"),
    Column("young_told", "count"),
    Column("percent_young_told", "percent"),
)
_WILSON = "Wilson 1927, interval of a share, J. Am. Stat. Assoc. 22: 209-212 (memory)"


def neonatal(asked: Asked) -> Iterator[Result]:
    """One table a unit: a row an animal."""
    know = asked.knowledge
    for unit, specimens in asked.units.items():
        found = young(specimens, know, together(asked))
        rows = [_row(taxon, found[taxon]) for taxon in know.taxa if taxon in found]
        tallies, nameless = ask.tallies(specimens), [one for one in specimens if one.kind != "tally"
                                                      and one.taxon not in found]  # fmt: skip
        notes = [*human_notes(asked.left_out(unit), specimens)]
        if not rows:
            notes.append(Note("ages_nothing_named"))
        few = sum(one.n < ask.FEW for one in found.values())
        if few:
            notes.append(Note("ages_few", {"rows": few, "least": ask.FEW}))
        if silent := sum(not one.told for one in found.values()):
            notes.append(Note("ages_young_unsaid", {"rows": silent}))
        left = (*asked.left_out(unit), *ask.outs(("ages_tally", tallies), ("ages_unnamed", nameless)))
        yield Result(
            "neonatal", asked.selection, unit, _COLUMNS, tuple(rows), left, tuple(notes), (_WILSON,)
        )  # fmt: skip


def _row(taxon: str, own: Young) -> Row:
    """Where nobody wrote anything of age or texture nothing is said: that none were young is not known."""
    n = own.n if own.told else 0
    young = (own.foetal, own.newborn, own.woven, own.young) if own.told or own.young.high else (None,) * 4
    interval = wilson(own.sure, n)
    return Row(
        (
            Word("taxon", taxon),
            *young,
            own.n,
            percent(own.sure, n),
            Span(100 * interval[0], 100 * interval[1]) if interval else None,
            own.told,
            percent(own.sure, own.told),
        ),
        own.records,
    )


NEONATAL = Table("neonatal", neonatal)
