"""What the site has agreed to record of every bone: in analysis, what is left unsaid cannot be counted as a nought.

What is added piece by piece (marks, teeth, measurements) is none where none was added; so only what has one value is
asked for. Not here: what the site counts (its `protocol` says so, and the counts follow it).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fieldapp.domain.knowledge import Knowledge
from fieldapp.domain.rules.findings import Around, Docket, Finding, by_name, term

PLAIN = (
    "count", "weight_g", "longest_mm", "burning", "burn_colour", "weathering", "preservation", "roots", "staining",
    "breaks", "fracture", "digestion",
)  # fmt: skip
"""Of what a site may agree to record, what has one value a docket."""
_BURNT = ("burn_colour",)


def agreed_not_recorded(docket: Docket, around: Around, know: Knowledge) -> Iterator[Finding]:
    """A field that is always recorded here, and was not, of a bone read in analysis."""
    agreed = around.site.get("protocol") if around.site is not None else None
    always = agreed.get("always") if isinstance(agreed, Mapping) else None
    if not isinstance(always, list) or docket.reading.get("stage") != "analysis":
        return
    burnt = docket.values.get("burning") not in (None, "", "unburnt")
    for name in PLAIN:
        if name in always and docket.values.get(name) in (None, "") and (burnt or name not in _BURNT):
            yield name, {"field": term("sheets.field", name)}
    if "certainty" in always and docket.taxon and not docket.reading.get("certainty"):
        yield "reading/certainty", {"field": term("sheets.field", "certainty")}
    sided = docket.element_row is not None and docket.element_row.sided
    if "side" in always and sided and not docket.reading.get("side"):
        yield "reading/side", {"field": term("sheets.field", "side")}
    if "portions" in always and "not_examined" in docket.portions.values():
        yield "reading/portions", {"field": term("sheets.field", "portions")}


RULES = by_name(agreed_not_recorded)
NEEDS = {"agreed_not_recorded": "stage"}
