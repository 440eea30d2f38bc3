"""What has to be there after every attack, asked where people look: the list of holds, the docket's page, the first
page, the printed sheet, the printed log, and another tablet that pulls."""

from __future__ import annotations

import re
from io import BytesIO

from pypdf import PdfReader

from fieldapp.domain import human
from fieldapp.ui.presenters.hold import Hold
from fieldapp.ui.texts import word
from tests.attack.people import Reader
from tests.server.review.scene import Scene, Visitor
from tests.server.tablets import SITE, an_id, context_id

PIT = context_id(SITE, "1057")
LABEL = "TST26 A7"


def printed(visitor: Visitor, path: str) -> str:
    answer = visitor.get(path)
    assert answer.status_code == 200, f"{path}: {answer.status_code}"
    return " ".join(" ".join(page.extract_text() for page in PdfReader(BytesIO(answer.data)).pages).split())


def text(visitor: Visitor, path: str) -> str:
    answer = visitor.get(path)
    assert answer.status_code == 200, f"{path}: {answer.status_code}"
    return " ".join(answer.text.split())


def assert_stands(scene: Scene, reader: Reader, *, context: str = PIT, answer: str = human.STOP) -> None:
    """That the in-situ stop of the docket `stop` stands, is shown, and is told of, everywhere; never below `answer`."""
    ledger, docket = scene.cabin.ledger, an_id("stop")
    (hold,) = [one for one in ledger.holds() if one.docket == docket]
    assert hold.raised
    assert not hold.released
    assert human.CAUTION[hold.answer] >= human.CAUTION[answer]
    visitor = scene.signed_in("supervisor")
    _on_the_pages(visitor, docket, context, hold.answer)
    _on_paper(visitor, docket, context, hold.answer)
    _on_a_tablet(reader, docket, answer)
    assert ledger.rebuild_matches()


def _on_the_pages(visitor: Visitor, docket: str, context: str, answer: str) -> None:
    opened = text(visitor, "/review/holds").partition("<h2>")[2].partition("<h2>")[0]
    assert "Open" in opened
    assert f'href="/review/hold/{docket}"' in opened, "it is on the list of open holds"
    assert '<span class="sign tier-stop">' in opened
    assert "Bryony, supervisor" in opened, "who was told is told"
    page = text(visitor, f"/review/docket/{docket}")
    assert f'<p class="big"><span class="standing {answer}">' in page
    assert f'href="/review/hold/{docket}"' in page
    today = text(visitor, "/review/today")
    assert re.search(rf'<aside class="hazard".*?href="/review/hold/{docket}".*?</aside>', today), "the band of stops"
    page = text(visitor, f"/review/hold/{docket}")
    assert f'<span class="standing {answer}">' in page
    assert '<p class="band">' in page
    assert "4.20 m east" in page, "the exact place is still there for whom it is for"
    listed = re.search(rf'href="/review/context/{context}">.*?</tr>', text(visitor, "/review/contexts"))
    assert listed
    assert '<span class="sign clay">' in listed[0], "and counted in the list of contexts"


def _on_paper(visitor: Visitor, docket: str, context: str, answer: str) -> None:
    for page in (f"/review/context/{context}/sheet.pdf", f"/review/hold/{docket}/log.pdf"):
        paper = printed(visitor, page)
        assert "HUMAN REMAINS — HOLD" in paper, page
        assert answer == human.HUMAN or "STOP. POSSIBLE HUMAN REMAINS" in paper, page
        assert LABEL in paper, page
        assert "Bryony, supervisor" in paper, page
        assert "4.20 m east" not in paper, page


def _on_a_tablet(reader: Reader, docket: str, answer: str) -> None:
    desk = reader.pulled()
    record = desk.record(docket)
    assert record is not None
    assert human.CAUTION[desk.standing(record)] >= human.CAUTION[answer]
    assert desk.is_raised(record)
    assert docket in {one.id for one in desk.dockets(desk.context_of(record) or "")}
    hold = Hold(desk, docket)
    assert hold.state() == word("standing", desk.standing(record))
    assert any("Bryony" in line.words() for line in hold.log())
