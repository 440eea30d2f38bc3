"""The assemblage at the desk: tables by topic, their charts and files, and the records behind each figure.

What is asked for stands in the address, as the line of a selection does for the commands, so that a link is the table.
Not here: any figure (server.analysis), the words of a table (server.analysis.wording), the report.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from flask import abort, current_app, request, url_for
from werkzeug.wrappers import Response

from fieldapp.assets import knowledge, texts
from fieldapp.domain.alphabet import alphabetical
from fieldapp.domain.assemblage.results import Result
from fieldapp.domain.assemblage.selection import CHOICES, LISTS, Selection, SelectionError, chosen
from fieldapp.domain.rules.groups import COMPARED
from server.analysis import topics, writing
from server.analysis.asking import Asked, Settled, Table, settled
from server.analysis.kept import Kept
from server.analysis.wording import Wording
from server.review import blind, desk
from server.review.desk import pages
from server.review.groups import AT_ONCE

EXTENSION = "bonedocket.analyses"
ON_A_PAGE = 12
"""Tables on one page: of a table by context there are as many as contexts."""
ROWS_SHOWN = 200
"""Rows of a table on a page; the files have them all."""
RECORDS_SHOWN = 500
OF_ONE_BONE = ("mne", "likely")
"""Tables with a row for each bone of an animal: of which lefts and rights can be laid side by side."""
LONGEST = 4000
"""Letters of what is asked for: it stands in every link of a page and in every line of a file."""
OPTION = "option."
PATIENCE_S = 0.9
"""So long a page waits for the specimens to be gathered; longer, and it says how far that is."""


@dataclass(frozen=True, slots=True)
class View:
    """A question as a page has it: what was understood, and what could not be."""

    table: Table
    topic: str
    asked: Asked
    fault: SelectionError | None
    chosen: Settled


def kept() -> Kept:
    """The analyses of the cabin's ledger, for as long as the server runs."""
    found = current_app.extensions.get(EXTENSION)
    if found is None:
        found = current_app.extensions.setdefault(EXTENSION, Kept(desk.ledger()))
    assert isinstance(found, Kept)
    return found


def wording(asked: Asked) -> Wording:
    """The words of the language that is spoken."""
    return Wording(texts(), asked.gathered.numbers)


@pages.get("/analysis")
@desk.needs_sign_in
def analysis() -> Response:
    """What can be worked out, by topic."""
    if not kept().soon(PATIENCE_S):
        return wait()
    asked = kept().asked(Selection(), {}, hidden())
    said = wording(asked)
    shown = {
        topic: [(one.key, said.say(f"{one.key}.title")) for one in topics.tables(topic)] for topic in topics.TOPICS
    }
    left = [said.say(f"left_out.{one.why}", n=len(one.records), pieces=one.pieces) for one in asked.left_out()]
    return desk.page("analysis", topics=shown, said=said, n=len({one.id for one in asked.animals}), left=left)


@pages.get("/analysis/<topic>/<table>")
@desk.needs_sign_in
def analysis_table(topic: str, table: str) -> Response:
    """One table for what the address asks for, a unit below another."""
    if not kept().soon(PATIENCE_S):
        return wait()
    view = _view(topic, table)
    if view.fault is not None:
        return _page(view, (), 400)
    return _page(view, kept().results(view.chosen))


@pages.get("/analysis/<topic>/<table>/file.<any(csv, json):form>")
@desk.needs_sign_in
def analysis_file(topic: str, table: str, form: str) -> Response:
    """All of it as a file."""
    view = _understood(topic, table)
    results, said = kept().results(view.chosen), wording(view.asked)
    made = writing.as_csv(results, said) if form == "csv" else writing.as_json(results, said)
    kind = "text/csv; charset=utf-8" if form == "csv" else "application/json"
    answer = Response(made.encode("utf-8", "replace"), 200, mimetype=None, content_type=kind)
    answer.headers["Content-Disposition"] = f'attachment; filename="{view.table.key}.{form}"'
    return answer


@pages.get("/analysis/<topic>/<table>/<int:n>/chart-<int:which>.<any(svg, png):form>")
@desk.needs_sign_in
def analysis_chart(topic: str, table: str, n: int, which: int, form: str) -> Response:
    """A chart of the n-th table."""
    from server.analysis import charts  # matplotlib takes its time, and only pictures need it

    view = _understood(topic, table)
    result = _nth(view, n)
    if not 0 <= which < len(result.charts):
        abort(404)
    chart, said = result.charts[which], wording(view.asked)
    drawn = charts.draw(chart, said, said.chart_title(result, chart), form)
    return Response(drawn, 200, content_type=charts.FORMATS[form])


@pages.get("/analysis/<topic>/<table>/<int:n>/records")
@desk.needs_sign_in
def analysis_records(topic: str, table: str, n: int) -> Response:
    """The records that a row's figures are made of (`row`), or that were left out of a table (`left`)."""
    view = _understood(topic, table)
    result, said = _nth(view, n), wording(view.asked)
    row, left = request.args.get("row", type=int), request.args.get("left", type=int)
    if row is not None and 0 <= row < len(result.rows):
        cells = zip(result.columns, result.rows[row].cells, strict=True)
        heads = [(said.heading(column), said.cell(column, cell)) for column, cell in cells]
        records, what = result.rows[row].records, ""
    elif left is not None and 0 <= left < len(result.left_out):
        heads, records = [], result.left_out[left].records
        what = [*said.left_out(result)][left][0]
    else:
        abort(404)
    seen = [one for one in records if one not in view.asked.hidden]
    gathered = view.asked.gathered
    labels, numbers, shown = gathered.labels, gathered.numbers, {*seen[:RECORDS_SHOWN]}
    contexts = {one.id: numbers.get(one.context, "") for one in gathered.specimens if one.id in shown}
    found = desk.ledger().get(seen[:RECORDS_SHOWN])
    listed = [
        (one, labels.get(one, ""), contexts.get(one, ""), found[one]) for one in seen[:RECORDS_SHOWN] if one in found
    ]
    dockets = [one for one in seen if one in found and found[one].kind == "docket"]
    laid = row is not None and result.key in OF_ONE_BONE and 1 < len(dockets) == len(seen) <= AT_ONCE
    return desk.page(
        "analysis_records", view=view, result=result, said=said, heads=heads, what=what, listed=listed, n=len(seen),
        back_to=_address("analysis_table", view),
        compared=url_for("review.group_form", relation=COMPARED, docket=dockets) if laid else "",
    )  # fmt: skip


def wait() -> Response:
    """Says how far the gathering is, and asks again by itself; without a script."""
    done, of = kept().progress
    answer = desk.page("analysis_wait", done=done, of=of, again=desk.inside(request.full_path.rstrip("?")))
    answer.headers["Refresh"] = "1"
    return answer


def _page(view: View, results: tuple[Result, ...], status: int = 200) -> Response:
    said = wording(view.asked)
    page = max(1, request.args.get("page", 1, int))
    last = max(1, -(-len(results) // ON_A_PAGE))
    page = min(page, last)
    first = (page - 1) * ON_A_PAGE
    shown = [(n, one) for n, one in enumerate(results)][first : first + ON_A_PAGE]

    notes = [[said.note(one) for one in result.notes] for _, result in shown]
    # What all say stands once, above them.
    common = [one for one in notes[0] if all(one in told for told in notes)] if len(notes) > 1 else []
    sources = dict.fromkeys(source for _, result in shown for source in result.sources)

    def here(**more: Any) -> str:
        return _address("analysis_table", view, **more)

    def of(name: str, **values: Any) -> str:
        return _address(name, view, **values)

    def report(form: str) -> str:
        query = [one for one in _query(view) if not one[0].startswith(OPTION)]
        return f"{url_for('review.analysis_report', form=form)}{'?' if query else ''}{urlencode(query)}"

    return desk.page(
        "analysis_table", status, report=report,
        view=view, said=said, shown=shown, results=results, page_n=page, last=last,
        here=here, of=of, form=_form(view, said), tables=[one.key for one in topics.tables(view.topic)],
        rows_shown=ROWS_SHOWN, common=common, sources=sources, asked_in_words=said.selection(view.asked.selection),
        chosen_in_words=said.options(view.chosen.options),
        refused=[*_refused(view, said), *said.nowhere(view.asked.nowhere)],
        fault=_fault(view, said), late=view.asked.gathered.late, astray=view.asked.astray,
    )  # fmt: skip


def _fault(view: View, said: Wording) -> str:
    if view.fault is None:
        return ""
    if not view.fault.field:
        return said.say("too_long", n=view.fault.value, most=LONGEST)
    return said.say("refused", field=said.say(f"field.{view.fault.field}"), value=view.fault.value)


def _refused(view: View, said: Wording) -> Iterator[str]:
    for key, word in view.chosen.refused.items():
        yield said.say("option_refused", option=said.say(f"option.{key}"), word=word)


def _view(topic: str, table: str) -> View:
    found = topics.table(topic, table)
    if found is None:
        abort(404)
    selection, fault = selection_asked()
    given = {one.key: request.args.get(f"{OPTION}{one.key}", "") for one in found.options}
    options = {key: word for key, word in given.items() if word}
    asked = kept().asked(selection, options, hidden())
    chosen = settled(found, asked)
    return View(found, topic, chosen.asked, fault, chosen)


def selection_asked() -> tuple[Selection, SelectionError | None]:
    """What the address asks for, and what in it could not be understood."""
    selection = Selection()
    asked = sum(len(name) + len(one) for name, one in request.args.items(multi=True) if name in (*CHOICES, *LISTS))
    if asked > LONGEST:
        return selection, SelectionError("", str(asked))
    try:
        for name in CHOICES:
            if name in request.args:
                selection = chosen(selection, name, request.args.getlist(name)[:1], knowledge())
        for name in LISTS:
            given = [one for many in request.args.getlist(name) for one in _words(name, many)]
            selection = chosen(selection, name, given, knowledge())
    except SelectionError as error:
        return selection, error
    return selection, None


def _words(name: str, given: str) -> list[str]:
    """Contexts are typed, with a comma or semicolon between; everything else is chosen."""
    return [one.strip() for one in given.replace(";", ",").split(",")] if name == "context" else [given]


def _understood(topic: str, table: str) -> View:
    view = _view(topic, table)
    if view.fault is not None:
        abort(400)
    return view


def _nth(view: View, n: int) -> Result:
    results = kept().results(view.chosen)
    if not 0 <= n < len(results):
        abort(404)
    return results[n]


def hidden() -> frozenset[str]:
    """Dockets that who asks is to read a second time, blind."""
    return frozenset(blind.mine())


def _query(view: View) -> list[tuple[str, str]]:
    selection, usual = view.asked.selection, Selection()
    asked = [(name, getattr(selection, name)) for name in CHOICES if getattr(selection, name) != getattr(usual, name)]
    asked += [(name, one) for name in LISTS for one in getattr(selection, name)]
    return asked + [(f"{OPTION}{key}", word) for key, word in view.asked.options.items()]


def _address(name: str, view: View, **values: Any) -> str:
    """The address of a page of this question; `table` and `page` may be others."""
    page, more = values.pop("page", None), values.pop("query", {})
    where = {"topic": view.topic, "table": view.table.key, **values}
    query = [*_query(view), *more.items(), *([("page", str(page))] if page else [])]
    if where["table"] != view.table.key:
        query = [one for one in query if not one[0].startswith(OPTION)]
    address = url_for(f"review.{name}", **where)
    return f"{address}?{urlencode(query)}" if query else address


def _form(view: View, said: Wording) -> dict[str, Any]:
    """What the form of choices offers: what there is on this site, and what was asked for."""
    asked = view.asked
    there: dict[str, set[str]] = {name: set() for name in ("trench", "phase", "taxon", "element", "stage")}
    for one in asked.gathered.specimens:
        # An animal that one bone alone is of would be told by its being offered.
        for name, found in () if one.id in asked.hidden else there.items():
            if word := getattr(one, name):
                found.add(word)
    place = {name: asked.gathered.order(name) for name in ("trench", "phase")}
    stages = {one: n for n, one in enumerate(knowledge().words["stage"])}
    offered = {}
    for name, found in there.items():
        listed = [(one, said.listed(name, one)) for one in found]
        offered[name] = sorted(listed, key=lambda one: alphabetical(one[1]))
        if name in place:
            offered[name].sort(key=lambda one: place[name](one[0]))
        elif name == "stage":
            offered[name].sort(key=lambda one: stages.get(one[0], len(stages)))
    options = []
    for option in view.table.options:
        choices = view.chosen.choices[option.key]
        told = [(one, said.word(option.of, one) if option.of else one) for one in choices]
        options.append((option.key, told, asked.option(option.key, choices[0] if choices else "")))
    return {"choices": CHOICES, "lists": offered, "options": options}
