"""The site's own record at the desk, part by part: what is recorded and counted, trenches, phases, the grid, animals to
be expected, sources, short codes, and the words of the place.

Each form carries the heads of the paths that it is about, and names them; where two have written at once, what is saved
here takes the place of both. The grid is for finds: no page puts the place of what is on hold into it. Not here:
contexts (adding_contexts), people, tablets, the licence and who may assess.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from typing import Any

from flask import abort, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge, places, texts
from fieldapp.domain import short_codes
from fieldapp.records import place
from fieldapp.records.changes import canonical
from fieldapp.records.fold import Record
from server import grid as grids
from server import place_drafts
from server.grid import Fit, Grid, GridError, Point
from server.ledger import lines
from server.review import desk, given, once, standards, words
from server.review.desk import pages
from server.review.showing import as_text
from server.review.site_forms import ALWAYS, NUMBERS, READ, NotSo, as_object, fitted

SECTIONS = (
    "contexts", "protocol", "trench", "phase", "grid", "region", "plausible", "fusion", "short", "standard", "place",
    "others",
)  # fmt: skip
PATHS: dict[str, tuple[str, ...]] = {
    "protocol": ("protocol",),
    "trench": ("trench/",),
    "phase": ("phase/",),
    "grid": ("grid",),
    "region": ("region", "dating"),
    "plausible": ("plausible/",),
    "fusion": ("fusion_source/",),
    "short": ("short/",),
    "standard": ("standard/",),
    "place": place.PATHS,
}
"""{section with a form: the paths it is about}; one that ends with a stroke is all paths below it."""


@pages.get("/site")
@desk.needs_sign_in
def site_setup() -> Response:
    """All of it. `key`: a trench or phase to be changed; `element`: whose portions are picked; `draft`: of a place."""
    return _page()


@pages.post("/site/<section>")
@desk.needs_sign_in
def site_keep(section: str) -> Response:
    """`heads`, and what the form of a section asks."""
    desk.must("set_place" if section == "place" else "set_up_site")
    if section not in PATHS:
        abort(404)
    site = desk.ledger().site()
    try:
        if section == "grid" and request.form.get("do") == "fit":
            return _page(at=section, fit=fitted())
        values = READ[section](site)
    except NotSo as fault:
        return _page(400, at=section, fault=str(fault), about=fault.fields)
    shown = given.shown(site, [*_paths(site, section), *values])
    # What had no heads when the form was opened is new.
    shown = shown._replace(heads={**{path: [] for path in values}, **shown.heads})
    changes = given.changed(shown, values)
    # A form that was sent twice: it stands already.
    disputed = site.disagreements()
    changes = {
        path: value
        for path, value in changes.items()
        if path in disputed or canonical(site.value(path)) != canonical(value)
    }
    if changes:
        desk.write("site", site.id, changes, shown.all_of(changes))
    return redirect(url_for("review.site_setup", at=section, done="kept", _anchor=section))


def _paths(site: Record, section: str) -> list[str]:
    """The paths of a section, those that are there among them."""
    found = [one for one in PATHS[section] if not one.endswith("/")]
    return found + [
        path for path in site.heads if path.startswith(tuple(one for one in PATHS[section] if one[-1] == "/"))
    ]


# -- the page


def _page(
    status: int = 200, *, at: str = "", fault: str = "", about: Mapping[str, Any] | None = None,
    fit: tuple[Fit, list[Point]] | None = None,
) -> Response:  # fmt: skip
    site, known = desk.ledger().site(), knowledge()
    form = {name: request.form.get(name, "") for name in request.form} if at else {}
    if fit is not None:
        found = fit[0].grid
        form |= {name: f"{getattr(found, name):.10g}" for name in ("rotation_deg", "scale")}
        form |= {name: f"{getattr(found, name):.4f}" for name in ("east0", "north0")}
    key, element, draft = (request.args.get(name, "") for name in ("key", "element", "draft"))
    element = element if known.portions_of(element) else desk.field("element") if at == "protocol" else ""
    draft = draft if draft in places() and desk.may("set_place") == "yes" else ""
    with desk.ledger().database.reading() as connection:
        contexts = lines.contexts(connection)
    named = {section: _rows(site, section, contexts) for section in ("trench", "phase")}
    chosen_in = next((section for section, (rows, _) in named.items() if key in {one[0] for one in rows}), "")
    chosen = next((one for each, one, _ in named[chosen_in][0] if each == key), None) if chosen_in else None
    grid, plausible = _grid_of(site), site.items("plausible")
    return desk.page(
        "site_setup",
        status,
        sections=SECTIONS,
        at=at or request.args.get("at", ""),
        done=request.args.get("done") == "kept",
        fault=fault,
        about=about or {},
        form=form,
        heads={one: given.heads(site, _paths(site, one), again=one == at) for one in PATHS},
        disputed={section for section in PATHS if site.disagreements().keys() & set(_paths(site, section))},
        contexts=len(contexts),
        protocol=_protocol_of(site),
        always=ALWAYS,
        elements=words.named("element", filter(known.portions_of, known.portions)),
        element=element,
        portions=[one.key for one in known.portions_of(element)] if element else [],
        trenches=named["trench"][0],
        phases=named["phase"][0],
        unnamed={section: loose for section, (_, loose) in named.items()},
        new_keys={section: {one: once.new() for one in loose} for section, (_, loose) in named.items()},
        chosen=chosen,
        chosen_in=chosen_in,
        known_outline=_outline_text(chosen) if chosen_in == "trench" else "",
        key_of={
            section: as_text(form.get("key")) if at == section else key if chosen_in == section else once.new()
            for section in ("trench", "phase")
        },
        grid=grid[0],
        grid_name=grid[1],
        globe=grid[2],
        fit=fit[0] if fit else None,
        points=fit[1] if fit else [],
        regions=known.words["region"],
        site_region=as_text(site.value("region")),
        dating=_span(site.value("dating")),
        plausible=[(one, plausible[one]) for one in words.named("taxon", plausible)],
        taxa=words.named("taxon", known.taxa),
        fusion=[
            (one, sources, site.value(f"fusion_source/{one}"))
            for one in known.taxa
            if (sources := known.sources_of(one))
        ],
        short=[_meant(code, value) for code, value in sorted(site.items("short").items())],
        slots=tuple(short_codes.SLOTS),
        standards=standards.shown(site),
        place={name: as_text(site.value(name)) for name in place.PATHS},
        drafts=words.named("place", places()),
        draft=draft,
        draft_text="\n".join(place_drafts.rules(places()[draft])) if draft else "",
    )


def _rows(
    site: Record, section: str, contexts: list[dict[str, Any]]
) -> tuple[list[tuple[str, dict[str, Any], int]], list[str]]:
    """(key, what is known, how many contexts) of trenches or phases in their order; names that only contexts use."""
    used = Counter(as_text(one[section]) for one in contexts if one[section])
    by_name: Counter[str] = Counter()
    for name, n in used.items():
        by_name[name.casefold()] += n
    rows = [(key, _shaped(as_object(one))) for key, one in site.items(section).items()]
    rows.sort(key=lambda one: (_order(one[1]), lines.sort_key(one[1]["name"]), one[0]))
    known = {one["name"].casefold() for _, one in rows}
    loose = sorted((name for name in used if name.casefold() not in known), key=lines.sort_key)
    return [(key, one, by_name[one["name"].casefold()]) for key, one in rows], loose


def _shaped(told: Mapping[str, Any]) -> dict[str, Any]:
    """A trench or phase with everything that the page asks of it, whatever is written."""
    figures = {name: value if given.is_figure(value := told.get(name)) else None for name in ("from", "to", "order")}
    corners = told.get("outline")
    outline = [one for one in corners if isinstance(one, list)] if isinstance(corners, list) else []
    return {"name": as_text(told.get("name")), "note": as_text(told.get("note")), **figures, "outline": outline}


def _order(one: Mapping[str, Any]) -> float:
    return math.inf if one["order"] is None else float(one["order"])


def _protocol_of(site: Record) -> dict[str, Any]:
    told = as_object(site.value("protocol"))
    always, countable = told.get("always"), told.get("countable")
    shaped = {
        key: [one for one in each if isinstance(one, str)]
        for key, each in as_object(countable).items()
        if isinstance(each, list)
    }
    return {
        "always": [one for one in always if isinstance(one, str)] if isinstance(always, list) else [],
        "countable": "all" if countable == "all" else shaped or None,
        "note": as_text(told.get("note")),
    }


def _grid_of(site: Record) -> tuple[dict[str, Any] | None, str, tuple[float, float] | None]:
    """The grid as it stands, the name of the national one, and where its origin lies on the globe."""
    told = as_object(site.value("grid"))
    epsg = told.get("epsg")
    if (
        not isinstance(epsg, int)
        or isinstance(epsg, bool)
        or not all(given.is_figure(told.get(name)) for name in NUMBERS)
    ):
        return None, "", None
    numbers = {name: float(told[name]) for name in NUMBERS}
    shown = {"epsg": epsg, **numbers, "note": as_text(told.get("note"))}
    try:
        globe = Grid(epsg, **numbers).on_globe(0.0, 0.0)
        return shown, grids.name_of(epsg), globe if all(map(math.isfinite, globe)) else None
    except GridError:
        return shown, "", None


def _outline_text(trench: Mapping[str, Any] | None) -> str:
    corners = trench.get("outline") if trench else None
    if not isinstance(corners, list):
        return ""
    return "\n".join(
        " ".join(f"{one:.10g}" for one in each if given.is_figure(one)) for each in corners if isinstance(each, list)
    )


def _span(value: Any) -> dict[str, Any]:
    told = as_object(value)
    return {name: told.get(name) for name in ("from", "to")} if told else {}


def _meant(code: str, value: Any) -> tuple[str, str, str]:
    meant = short_codes.meaning(value, knowledge())
    if meant is None:
        return code, "", canonical(value)
    slot, key = meant
    return code, slot, texts().get(f"{short_codes.SLOTS[slot] or slot}.{key}", key)
