"""Records that no form of ours would write: every page, command and screen still answers, and nothing is lost.

Values of the wrong shape at every path, odd paths and ids, seeded; through a notebook, a ledger, the pages, the
commands and the tablet's presenters.
"""

from __future__ import annotations

import html
import random
import re
import uuid
from datetime import UTC, datetime

import pytest

from demo_data.site import CODE, earlier_weeks
from fieldapp import assets, cli
from fieldapp.commands.source import read_folder
from fieldapp.domain import ids
from fieldapp.records.schemas import SHAPES
from fieldapp.sheets.selecting import trenches_of
from fieldapp.store.notebook import Notebook
from fieldapp.ui.presenters import form_fields
from fieldapp.ui.presenters.context import Context, docket_row
from fieldapp.ui.presenters.contexts import Contexts
from fieldapp.ui.presenters.desk import Desk
from fieldapp.ui.presenters.form import Form
from fieldapp.ui.presenters.history import history
from fieldapp.ui.presenters.hold import Hold
from fieldapp.ui.presenters.second import Seconds
from server import cabin as cabins
from server import create_app
from server.config import Config

SITE = ids.site_id(CODE)
MARKUP = "<script>alert(1)</script>"
ODD = (
    None, True, 0, -3, 1.5, 10**400, 1e308, "", "x" * 300, "stop", "\0", "\u202e", MARKUP, [], ["a", {"b": [1]}],
    {}, {"answer": "stop"},
    {"answer": ["x"]}, {"text": 5}, {"element": 5, "portions": [], "fusion": "x"},
    {"element": "tibia", "taxon": ["sheep"], "side": {}, "portions": {"head": 3, "": None}, "fusion": {"distal": []}},
    {"element": "femur", "taxon": "human", "side": "left", "portions": {}, "fusion": {}},
)  # fmt: skip
WITH_ID = ("note", "human", "assessment", "step", "release", "member", "same_as", "key")


def notebook_at(folder):
    return Notebook.open(folder, lambda: datetime(2026, 6, 9, tzinfo=UTC), lambda: str(uuid.uuid4()))


@pytest.fixture(scope="module")
def odd(tmp_path_factory):
    """A folder with a notebook full of odd changes, and a cabin that took them all."""
    folder, rng = tmp_path_factory.mktemp("odd"), random.Random(5)
    with notebook_at(folder / "tablet") as book:
        book.identify(site=SITE, code=CODE, letter="A")
        book.pull([change.body for change in earlier_weeks(assets.knowledge(), 8)])
        known = {kind: [one.id for one in book.records(kind)] for kind in ("context", "bag", "docket")}
        known |= {"hold": [ids.hold_id(one) for one in known["docket"][:3]], "group": ["g"], "unheard of": ["u"]}
        known["second_reading"] = ["again-1", "again-2"]
        known |= {"transfer": ["sent-1", "sent-2"], "tally": ["t"], "sample": ["s"], "photo": ["p"]}
        for _ in range(400):
            kind = rng.choice(list(known))
            path = rng.choice([*SHAPES.get(kind, {}), "deleted", "human", "human/", "", "deleted/x", "odd/\u202e"])
            if path in WITH_ID:
                path += "/" + rng.choice(["x", known["docket"][0], str(uuid.UUID(int=rng.getrandbits(128)))])
            by = {"name": rng.choice(["W", 5, None]), "person": "p", "role": "recorder"}
            book.save(kind, rng.choice([*known[kind], "no uuid"]), {path: rng.choice(ODD)}, {}, by)
        # Whatever the dice gave, one docket is impossible.
        wrong = {"element": "antler", "taxon": "fowl", "side": "left", "certainty": "certain"}
        book.save(
            "docket",
            known["docket"][0],
            {"reading": {**wrong, "portions": {}, "fusion": {}, "stage": "trench"}},
            {},
            by,
        )
        # A bag that is none, beside something that is sent with a bag, and figures that no number of a computer holds.
        book.save("docket", known["docket"][1], {"bag": {}}, {}, by)
        book.save("transfer", "sent-1", {"bag": known["bag"][0]}, {}, by)
        for bag in known["bag"]:
            book.save("bag", bag, {"mesh_mm": 10**400, "recovery": "sieve", "weight_g": 10**400}, {}, by)
        for docket in known["docket"][2:6]:
            book.save("docket", docket, {"weight_g": 10**400, "count": 10**400}, {}, by)
        assert book.verify().problems == []
        changes = [(change.id, change.body) for change in book.changes()]
    config = Config(folder / "cabin", testing=True)
    cabins.set_up(config, code=CODE, name="Odd")
    cabin = cabins.Cabin(config)
    cabin.ledger.accept(changes, str(uuid.UUID(int=1)))
    while cabin.ledger.check_due():
        pass
    assert {change for change, _ in changes} <= set(read_folder(folder / "cabin").who)
    assert cabin.ledger.rebuild_differences() == []
    account, password = cabin.accounts.add("Oz", "zooarchaeologist")
    cabin.close()
    return folder, config, account.id, password


def test_every_page_answers(odd):
    folder, config, account, password = odd
    client = create_app(config).test_client()
    base = {"base_url": "https://localhost"}
    form = client.get("/review/sign-in", **base).text
    csrf = html.unescape(re.search(r'name="csrf" value="([^"]+)"', form)[1])
    sent = {"csrf": csrf, "account": account, "password": password, "next": ""}
    back = {"Referer": "https://localhost/review/sign-in"}
    assert client.post("/review/sign-in", data=sent, headers=back, **base).status_code == 302
    pages = [f"/review/{one}" for one in ("today", "contexts", "disagreements", "holds", "problems", "context/none")]
    pages.append("/review/second")
    pages += [f"/review/{one}" for one in ("bags", "boxes", "transfers", "site", "contexts/add", "changes", "log")]
    pages += [
        f"/review/{one}?page={10**30}" for one in ("dockets", "bags", "doubles", "groups", "problems", "contexts")
    ]
    pages += [f"/review/dockets?sort={one}" for one in ("label", "-context", "element", "taxon", "signs")]
    pages += ["/review/blank.pdf", "/review/trench.pdf", "/review/trench/sheets.pdf"]
    pages += [
        f"/review/{one}" for one in ("disagreements/causes", "disagreements/lots", "doubles", "groups", "groups/new")
    ]
    last = ""
    for record in read_folder(folder / "cabin").fold:
        if record.kind == "context":
            printed = ("", "/print", "/sheet.pdf?photos=grey", "/compact.pdf", "/labels.pdf", "/labels.pdf?of=boxes")
            pages += [f"/review/context/{record.id}{one}" for one in printed]
            pages += [f"/review/refits/{record.id}", f"/review/groups/new?context={record.id}"]
            pages += [f"/review/context/{record.id}/{one}" for one in ("edit", "docket")]
        if record.kind in ("bag", "transfer"):
            pages.append(f"/review/{record.kind}/{record.id}")
        if record.kind == "group":
            pages.append(f"/review/group/{record.id}")
        if record.kind == "docket":
            pages += [
                f"/review/docket/{record.id}",
                f"/review/docket/{record.id}/edit",
                f"/review/hold/{record.id}",
                f"/review/pair/{record.id}/{last}",
            ]
            last = record.id
            pages += [f"/review/{one}/{record.id}" for one in ("combine", "third-reading") if record.disagreements()]
        if record.kind == "second_reading":
            sample = record.value("sample")
            pages += [f"/review/second/{record.id}", f"/review/second/draw/{sample if isinstance(sample, str) else ''}"]
        pages += [f"/review/disagreement/{record.id}/{path}" for path in record.disagreements()]
    boxes = client.get("/review/boxes", **base).text
    pages += sorted(set(re.findall(r'href="(/review/box/[^"?#]*)', boxes)))
    causes = client.get("/review/disagreements/causes", **base).text
    pages += sorted(set(re.findall(r'href="(/review/disagreements/cause/[^"]*)"', causes)))
    for page in pages:
        answer = client.get(page, **base)
        assert answer.status_code in (200, 404), page
        assert ".pdf" in page or MARKUP not in answer.text, page
    assert len(pages) > 100


@pytest.mark.parametrize("where", ["tablet", "cabin"])
def test_every_command_answers(odd, where, tmp_path, capsys):
    folder = str(odd[0] / where)
    assert cli.main(["check", folder]) == 1
    assert cli.main(["sheet", folder, "--out", str(tmp_path)]) == 0
    sheets = [line for line in capsys.readouterr().out.splitlines() if line.endswith(".pdf")]
    assert len(sheets) == len(set(sheets)) == len(list(tmp_path.glob("*.pdf")))
    trenches = {trench for one in read_folder(odd[0] / where).records("context") for trench in trenches_of(one)}
    assert trenches
    wanted = [["--compact"], ["--labels"], ["--blank", "2"], *(["--together", "--trench", one] for one in trenches)]
    for more in wanted:
        assert cli.main(["sheet", folder, "--out", str(tmp_path), *more]) == 0


def test_every_screen_has_something_to_show(odd):
    with notebook_at(odd[0] / "tablet") as book:
        desk = Desk(book, assets.knowledge())
        assert Contexts(desk).tiles()
        for context in book.records("context", deleted=True):
            desk.place["context"] = context.id
            Context(desk).rows()
            Context(desk).bags()
        for again in book.records("second_reading", deleted=True):
            form = Form.again(desk, again)
            form.found()
            form_fields.tabs(form)
        desk.place["person"] = {"person": "p", "name": "W", "role": "zooarchaeologist"}
        Seconds(desk).rows()
        for docket in book.records("docket", deleted=True):
            docket_row(desk, docket)
            form = Form.of(desk, docket)
            form.found()
            form_fields.tabs(form)
            form_fields.portion_rows(form, 3)
            form_fields.fusion_rows(form)
            history(desk, docket.id)
            hold = Hold(desk, docket.id)
            hold.log()
            hold.state()
