"""A small answer of each kind, for tests of what is made of answers."""

from __future__ import annotations

from fieldapp.domain.assemblage.results import (
    Chart,
    Column,
    LeftOut,
    Note,
    Result,
    Row,
    Series,
    Span,
    Word,
)
from fieldapp.domain.assemblage.selection import Selection, Unit

COLUMNS = (Column("taxon"), Column("nisp", "span"), Column("share", "percent"), Column("remark"))
CATTLE, PIG = Word("taxon", "cattle"), Word("taxon", "pig")
RESULT = Result(
    key="shares",
    selection=Selection(by="phase", taxon=("cattle", "pig")),
    unit=Unit("phase", "=2+2", "sieve:4"),
    columns=COLUMNS,
    rows=(
        Row((CATTLE, Span(3, 5), 62.5, "@SUM(A1)"), ("a", "b")),
        Row((PIG, 3, None, ""), ("c",)),
        Row((Word("analysis.row", "total"), Span(6, 8), 100.0, None), ("a", "b", "c"), total=True),
    ),
    left_out=(LeftOut("possible_human", ("h",), 2),),
    notes=(Note("human_apart", {"n": 1}),),
    sources=("a source (seen)",),
)

KINDS = {
    "bars": Chart("bars", "", "", (Series(None, (CATTLE, PIG), (3.0, None), (2.0, None), (5.0, None)),)),
    "ranges": Chart("ranges", "", "", (Series("one", (CATTLE, PIG), (3.0, None), (2.0, None), (5.0, None), n=(4, 0)),)),
    "stacked": Chart("stacked", "", "", (Series("one", (CATTLE,), (40.0,)), Series("two", (CATTLE,), (60.0,)))),
    "steps": Chart("steps", "", "", (Series("one", (0, 6, 12), (1.0, 0.5, 0.0), (0.9, 0.3, 0.0), (1.0, 0.8, 0.1)),)),
    "lines": Chart("lines", "", "", (Series(None, (0, 1), (0.0, 2.0)),)),
    "points": Chart("points", "", "", (Series("one", (1.0, 2.0), (3.0, 4.0), records=("a", "b")),)),
    "density": Chart("density", "", "", (Series("one", (0, 1), (0.2, 0.8)),), more={"rug": ((0.5,),), "zero": 0.0}),
    "skeleton": Chart("skeleton", form="ruminant", shares={"humerus": 1.0, "atlas": 0.2, "no_such_bone": 0.5}),
    "plate": Chart(
        "plate",
        form="ruminant",
        more={"element": "humerus", "counts": {"lower_shaft": 3}, "marks": (("cranial", 0.5, 0.5, "cut"),)},
    ),
    "no plate": Chart("plate", form="ruminant", more={"element": "no_such_bone"}),
}
