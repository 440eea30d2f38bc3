"""What the forms about the site's record say, section by section: values by path, or why they cannot be.

Each reads the request's form. Not here: what is written and over what, the page (site_setup).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from typing import Any

from flask import abort, request

from fieldapp.assets import knowledge, texts
from fieldapp.domain import short_codes
from fieldapp.records import place
from fieldapp.records.fold import Record
from server import grid as grids
from server.context_list import year_of
from server.grid import Fit, Grid, GridError, Point
from server.review import desk, once, standards
from server.review.showing import as_text

ALWAYS = (
    "side", "certainty", "portions", "fusion", "sex", "age", "tooth", "measure", "count", "weight_g", "longest_mm",
    "burning", "burn_colour", "weathering", "preservation", "roots", "staining", "breaks", "fracture", "digestion",
    "mark", "pathology", "joins", "photo",
)  # fmt: skip
"""Fields of a docket that a site may say it always fills in."""
NUMBERS = ("east0", "north0", "rotation_deg", "scale")
_CODE = re.compile(r"\S{1,20}")


class NotSo(ValueError):
    """What a form says cannot be; its text is a key of the sentences `review.site.fault`, `fields` what fills it in."""

    def __init__(self, fault: str, **fields: Any) -> None:
        super().__init__(fault)
        self.fields = fields


def as_object(value: Any) -> dict[str, Any]:
    """A value as the object that it should be."""
    return dict(value) if isinstance(value, Mapping) else {}


def _protocol(site: Record) -> dict[str, Any]:
    now = as_object(site.value("protocol"))
    always = [one for one in ALWAYS if one in request.form.getlist("always")]
    countable = now.get("countable")
    chosen = dict(countable) if isinstance(countable, dict) else {}
    element = desk.field("element")
    if element:
        known = {one.key for one in knowledge().portions_of(element)}
        picked = [one for one in request.form.getlist("portion") if one in known]
        chosen = (
            {**chosen, element: picked} if picked else {key: each for key, each in chosen.items() if key != element}
        )
    if desk.field("countable") != "some":
        return {"protocol": {"countable": "all", "always": always, "note": desk.field("note") or None}}
    if not chosen:
        raise NotSo("countable")
    order = list(knowledge().portions)
    chosen = dict(sorted(chosen.items(), key=lambda one: order.index(one[0]) if one[0] in order else len(order)))
    return {"protocol": {"countable": chosen, "always": always, "note": desk.field("note") or None}}


def _trench(site: Record) -> dict[str, Any]:
    path, value = _named(site, "trench")
    if value is not None:
        value["outline"] = outline(desk.pasted("outline"))
    return {path: value}


def _phase(site: Record) -> dict[str, Any]:
    path, value = _named(site, "phase")
    if value is not None:
        value |= _years("")
        order = desk.field("order")
        if order and not (order.isascii() and order.isdigit() and len(order) < 7):
            raise NotSo("order")
        value["order"] = int(order) if order else None
    return {path: value}


def _named(site: Record, section: str) -> tuple[str, dict[str, Any] | None]:
    """The path of a trench or phase and its name and note; None where it is taken away."""
    path, name = f"{section}/{once.id_of(desk.field('key'))}", " ".join(desk.field(f"{section}-name").split())
    if request.form.get("do") == "drop":
        return path, None
    if not name or len(name) > 100:
        raise NotSo("name")
    others = [as_object(one).get("name") for key, one in site.items(section).items() if f"{section}/{key}" != path]
    if name.casefold() in {as_text(one).casefold() for one in others}:
        raise NotSo("name_twice")
    return path, {"name": name, "note": desk.field(f"{section}-note") or None}


def outline(text: str) -> list[list[float]] | None:
    """Corners, one a line, east and north; or a POLYGON in well-known text. Raises NotSo."""
    inside = re.fullmatch(r"\s*polygon\s*\(\s*\((.*)\)\s*\)\s*", text, re.IGNORECASE | re.DOTALL)
    parts = inside[1].split(",") if inside else text.splitlines()
    corners = [_numbers(part) for part in parts if part.strip()]
    if any(len(one) != 2 for one in corners):
        raise NotSo("outline")
    if len(corners) > 1 and corners[0] == corners[-1]:
        corners.pop()
    if corners and len(corners) < 3:
        raise NotSo("outline")
    return corners or None


def _numbers(text: str) -> list[float]:
    """The figures of a line, whatever stands between them. Raises NotSo."""
    split = re.split(r"[;\t]" if re.search(r"[;\t]", text) else r"[,\s]+", text.strip())
    try:
        found = [float(one.strip().replace(",", ".")) for one in split if one.strip()]
    except ValueError:
        raise NotSo("outline") from None
    if not all(map(math.isfinite, found)):
        raise NotSo("outline")
    return found


def _grid(site: Record) -> dict[str, Any]:
    if not any(desk.field(name) for name in ("epsg", *NUMBERS)):
        return {"grid": None}
    epsg = _epsg()
    told = {}
    for name in NUMBERS:
        try:
            told[name] = float(desk.field(name).replace(",", "."))
        except ValueError:
            raise NotSo("grid_figures") from None
    if not all(map(math.isfinite, told.values())):
        raise NotSo("grid_figures")
    if not Grid(epsg, **told).is_usual:
        raise NotSo("scale")
    return {"grid": {"epsg": epsg, **told, "note": desk.field("grid-note") or None}}


def _epsg() -> int:
    text = desk.field("epsg").upper().removeprefix("EPSG:").strip()
    try:
        epsg = int(text) if text.isascii() and text.isdigit() and len(text) < 7 else 0
        grids.name_of(epsg)
    except GridError:
        raise NotSo("epsg") from None
    return epsg


def fitted() -> tuple[Fit, list[Point]]:
    """The grid that fits the points of the form: a name, then east and north in the site, then in the land."""
    epsg, points = _epsg(), []
    for nr, line in enumerate(filter(str.strip, desk.pasted("points").splitlines()), 1):
        split = [
            one.strip()
            for one in re.split(r"[;\t]" if re.search(r"[;\t]", line) else r"[,\s]+", line.strip())
            if one.strip()
        ]
        try:
            east, north, far_east, far_north = (float(one.replace(",", ".")) for one in split[-4:])
        except ValueError:
            raise NotSo("points") from None
        if not all(map(math.isfinite, (east, north, far_east, far_north))):
            raise NotSo("points")
        points.append(Point(" ".join(split[:-4]) or str(nr), (east, north), (far_east, far_north)))
    try:
        return grids.fit(epsg, points, scale=1.0 if request.form.get("fixed") == "yes" else None), points
    except GridError as fault:
        raise NotSo(f"fit_{fault.reason}") from None


def _region(site: Record) -> dict[str, Any]:
    region, dating = desk.field("region"), _years("site-")
    if region and region not in knowledge().words["region"]:
        abort(400)
    return {"region": region or None, "dating": dating if any(one is not None for one in dating.values()) else None}


def _plausible(site: Record) -> dict[str, Any]:
    taxon, how = desk.field("taxon"), desk.field("how")
    if taxon not in knowledge().taxa or how not in ("always", "years", "drop"):
        abort(400)
    span = _years("plausible-")
    if how == "years" and span == {"from": None, "to": None}:
        raise NotSo("years")
    return {f"plausible/{taxon}": True if how == "always" else span if how == "years" else None}


def _years(prefix: str) -> dict[str, int | None]:
    found: dict[str, int | None] = {}
    for name in ("from", "to"):
        text = desk.field(prefix + name)
        found[name] = year_of(text) if text else None
        if text and found[name] is None:
            raise NotSo("years")
    begin, end = found["from"], found["to"]
    if begin is not None and end is not None and begin > end:
        raise NotSo("years")
    return found


def _fusion(site: Record) -> dict[str, Any]:
    found = {}
    for taxon in knowledge().taxa:
        name, sources = f"fusion-{taxon}", knowledge().sources_of(taxon)
        if name in request.form:
            said = desk.field(name)
            if said and said not in map(str, range(len(sources))):
                abort(400)
            found[f"fusion_source/{taxon}"] = sources[int(said)] if said else None
    return found


def _short(site: Record) -> dict[str, Any]:
    code, slot, word = desk.field("code").lower(), desk.field("slot"), desk.field("word")
    if not _CODE.fullmatch(code):
        raise NotSo("code")
    if request.form.get("do") == "drop":
        return {f"short/{code}": None}
    known = short_codes.words_of(slot, knowledge())
    of = short_codes.SLOTS.get(slot) or slot
    names = {texts().get(f"{of}.{key}", key).casefold(): key for key in known}
    value = {"slot": slot, "key": word if word in known else names.get(word.casefold(), "")}
    if short_codes.meaning(value, knowledge()) is None:
        raise NotSo("word")
    return {f"short/{code}": value}


def _standard(site: Record) -> dict[str, Any]:
    name = " ".join(desk.field("standard-name").split())
    if not name or len(name) > 100:
        raise NotSo("name")
    before = {path: None for path, one in standards.of(site).items() if as_text(one.get("name")) == name}
    if request.form.get("do") == "drop":
        return dict(before)
    source, lines = desk.field("standard-source"), desk.pasted("standard-lines")
    if not source:
        raise NotSo("standard_source")
    try:
        return {**before, **standards.read(site.id, name, source, lines, knowledge(), texts())}
    except standards.LineFault as fault:
        raise NotSo(f"standard_{fault.what}", line=fault.line) from None


def _place(site: Record) -> dict[str, Any]:
    told: dict[str, str | None] = {one: desk.field(one) or None for one in place.PATHS if one in request.form}
    if "place_text" in told:
        lines = (told["place_text"] or "").splitlines()
        told["place_text"] = "\n".join(one for one in lines if not one.lstrip().startswith("#")).strip() or None
        if told["place_text"] and not (told.get("place_source") and told.get("place_checked")):
            raise NotSo("place_unsourced")
    return dict(told)


READ: dict[str, Callable[[Record], dict[str, Any]]] = {
    "protocol": _protocol,
    "trench": _trench,
    "phase": _phase,
    "grid": _grid,
    "region": _region,
    "plausible": _plausible,
    "fusion": _fusion,
    "short": _short,
    "standard": _standard,
    "place": _place,
}
"""{section: what its form says, as {path: value}; it raises NotSo}."""
