"""Printed things from the desk: what is loaded for a sheet, what may stand on it, and which files are given out."""

from __future__ import annotations

import io
from typing import Any

from pypdf import PdfReader

from fieldapp.assets import knowledge
from fieldapp.records.fold import Record
from fieldapp.sheets.entries import ContextSheet
from fieldapp.sheets.selecting import of_context
from server.ledger import Ledger
from server.review.sheets import PART
from tests.server.review.conftest import BOTH
from tests.server.review.scene import Scene, Visitor, label
from tests.server.review.test_photos import bring, picture
from tests.server.tablets import CODE, SITE, an_id, context_id, hold_of

DITCH, PIT = context_id(SITE, "1042"), context_id(SITE, "1057")
ELSEWHERE = context_id(SITE, "1099")


def printed(visitor: Visitor, path: str) -> str:
    answer = visitor.get(path)
    assert (answer.status_code, answer.mimetype) == (200, "application/pdf"), path
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.data)).pages).replace("\n", " ")


def _sheet(ledger: Ledger, context: Record, records: list[Record]) -> ContextSheet:
    heads = {one for record in ledger.on_sheet(context.id) for each in record.heads.values() for one in each}
    who = {one: (written.change.by["name"], "", written.change.at) for one, written in ledger.who(heads).items()}
    authority = ledger.authority()
    given: dict[str, Any] = {"site": ledger.site(), "authority": authority, "knowledge": knowledge(), "source": "x"}
    return of_context(context, records, who=who, **given)


@BOTH
def test_what_is_loaded_for_a_sheet_makes_the_same_sheet_as_everything_there_is(scene: Scene) -> None:
    a, b = scene.a, scene.b
    a.write("context", ELSEWHERE, {"number": "1099", "state": "open", "trench": "C"})
    a.write("bag", an_id("far bag"), {"label": label("A", 60), "context": ELSEWHERE, "recovery": "sieve"})
    # In dispute: where a bag lies, in which bag a docket is, of which docket a hold and a photograph are.
    b.write("bag", an_id("bag"), {"context": ELSEWHERE})
    a.docket("torn", label=label("A", 61), bag=an_id("bag"), context=None)
    b.write("docket", an_id("torn"), {"bag": an_id("far bag")})
    a.docket("moved", label=label("A", 62), context=DITCH)
    b.write("docket", an_id("moved"), {"context": PIT})
    b.write("hold", hold_of("query"), {"docket": an_id("moved")})
    a.write("photo", an_id("shot"), {"docket": an_id("torn"), "sha256": "a" * 64})
    b.write("photo", an_id("shot"), {"docket": an_id("moved"), "sha256": "b" * 64})
    a.write("photo", an_id("same"), {"context": ELSEWHERE, "sha256": "b" * 64, "closed": True})
    a.docket("bone", label=label("A", 63), context=ELSEWHERE, **{f"same_as/{an_id('moved')}": True})
    a.write("docket", an_id("rib"), {f"photo/{an_id('named')}": True, f"joins/{an_id('heavy')}": {"break": "old"}})
    a.write("photo", an_id("named"), {"sha256": "c" * 64})
    for n, member in enumerate(("rib", "bone")):
        a.write(
            "group", an_id(f"group {n}"), {"label": f"G{n}", "relation": "associated", f"member/{an_id(member)}": True}
        )
    a.write("tally", an_id("tally"), {"label": label("A", 64), "bag": an_id("bag"), "context": PIT, "count": 9})
    a.write("tally", an_id("loose"), {"label": label("A", 65), "context": PIT, "taxon": "cattle", "count": 2})
    a.write(
        "docket",
        an_id("heavy"),
        {"deleted": True},
        {path: list(ids) for path, ids in scene.record("heavy").head_ids().items()},
    )
    # Claimed for other kinds.
    b.write("docket", an_id("group 0"), {"x": 1})
    scene.send()
    ledger = scene.cabin.ledger
    kinds = ("bag", "docket", "group", "hold", "tally", "photo", "context", "sample")
    everything = list({one.id: one for kind in kinds for one in ledger.records(kind, deleted=True)}.values())
    for context in (DITCH, PIT, ELSEWHERE):
        record = ledger.record(context)
        assert record is not None
        wanted, found = _sheet(ledger, record, everything), _sheet(ledger, record, ledger.on_sheet(context))
        # Which labels stand ready to be named is no part of what is said.
        named = {one: name for one, name in wanted.labels.items() if one in found.labels}
        assert {**_plain(found), "labels": named} == {**_plain(wanted), "labels": named}
        assert found.dockets
    on = {one.id for one in ledger.on_sheet(DITCH)}
    assert {an_id("torn"), an_id("moved")} <= on & {one.id for one in ledger.on_sheet(PIT)} | {an_id("torn")}


def _plain(sheet: ContextSheet) -> dict[str, Any]:
    return {name: getattr(sheet, name) for name in ContextSheet.__dataclass_fields__}


def test_a_sheet_is_asked_for_with_photographs_and_closed_ones_are_never_on_it(scene: Scene) -> None:
    bring(scene, picture("red"), docket=an_id("rib"), view="overall")
    bring(scene, picture("blue"), "shut", docket=an_id("rib"), closed=True)
    bring(scene, picture("green"), "of a stop", docket=an_id("stop"))
    # One picture, two records: of a rib, and of a bone that stands raised elsewhere.
    bring(scene, picture("black"), "both", docket=an_id("rib"))
    bring(scene, picture("black"), "both too", docket=an_id("query"))
    visitor = scene.signed_in("director")

    def shown(photos: str, context: str = DITCH) -> list[str]:
        data = visitor.get(f"/review/context/{context}/sheet.pdf?photos={photos}").data
        pictures = [one.image for page in PdfReader(io.BytesIO(data)).pages for one in page.images]
        return [f"{one.mode} {max(one.convert('RGB').getpixel((5, 5)))}" for one in pictures if one is not None]

    assert shown("none") == []
    assert shown("colour") == ["RGB 254"]
    assert shown("grey") == ["L 76"]
    assert shown("colour", PIT) == []
    assert "Closed, and never printed: 2." in printed(visitor, f"/review/context/{DITCH}/sheet.pdf?photos=grey")
    assert visitor.get(f"/review/context/{DITCH}/sheet.pdf?photos=x").status_code == 400


def test_from_the_page_for_printing_every_kind_of_file_can_be_had(scene: Scene) -> None:
    scene.a.write("bag", an_id("bag"), {"box": "7"})
    scene.a.write("site", SITE, {})
    scene.send()
    visitor = scene.signed_in("recorder")
    page = visitor.get(f"/review/context/{DITCH}/print").text
    assert f'href="/review/context/{DITCH}/print"' in visitor.get(f"/review/context/{DITCH}").text
    for action in ("sheet.pdf", "compact.pdf", "labels.pdf"):
        assert f'action="/review/context/{DITCH}/{action}"' in page
    assert "Summary of trench A" in page
    compact = printed(visitor, f"/review/context/{DITCH}/compact.pdf")
    assert label("A", 3).partition(" ")[2] in compact
    assert "POSSIBLE HUMAN REMAINS — HOLD" in compact
    assert "1042-1" in printed(visitor, f"/review/context/{DITCH}/labels.pdf?size=3x8")
    assert "Box 7" in printed(visitor, f"/review/context/{DITCH}/labels.pdf?of=boxes")
    assert visitor.get(f"/review/context/{DITCH}/labels.pdf?size=9x9").status_code == 400
    blank = printed(visitor, f"/review/blank.pdf?dockets=3&context={PIT}")
    assert "Context 1057" in blank
    assert blank.count("Any long bone") == 3
    summary = printed(visitor, "/review/trench.pdf?trench=A")
    assert "Trench A" in summary
    assert "1042" in summary
    assert "1057" not in summary
    everything = visitor.get("/review/trench/sheets.pdf")
    assert [one.title for one in PdfReader(io.BytesIO(everything.data)).outline] == [f"{CODE} Context 1057"]
    assert visitor.get("/review/trench.pdf?trench=Z").status_code == 404
    none = visitor.get(f"/review/context/{PIT}/labels.pdf")
    assert none.status_code == 404
    assert "There is nothing here to print a label for." in none.text


def test_a_large_trench_is_printed_in_parts_or_at_once(scene: Scene) -> None:
    for number in range(PART + 2):
        values = {"number": str(2000 + number), "state": "open", "trench": "L"}
        scene.a.write("context", context_id(SITE, values["number"]), values)
    scene.send()
    visitor = scene.signed_in("recorder")
    page = visitor.get(f"/review/context/{context_id(SITE, '2000')}/print").text
    last = 2000 + PART
    assert f"part 1 of 2: 2000 to {last - 1}</option>" in page
    assert f"part 2 of 2: {last} to {last + 1}</option>" in page
    assert f"all {PART + 2} in one file" in page

    def titles(part: int | str) -> list[str]:
        data = visitor.get(f"/review/trench/sheets.pdf?trench=L&part={part}").data
        return [one.title for one in PdfReader(io.BytesIO(data)).outline]

    parts = titles(1) + titles(2)
    assert parts == [f"{CODE} Context {2000 + n}" for n in range(PART + 2)] == titles(0) == titles("")
    for none in (3, -1, 10**30):
        assert visitor.get(f"/review/trench/sheets.pdf?trench=L&part={none}").status_code == 404
    assert 'name="part"' not in visitor.get(f"/review/context/{DITCH}/print").text
