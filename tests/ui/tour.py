"""A walk through every screen and every body of the form, by touch. Yields a name at each stop."""

from __future__ import annotations

import base64
import shutil
from collections.abc import Iterator

from PIL import Image

from fieldapp.records.enrolment import in_pairs
from fieldapp.store.notebook import Notebook
from fieldapp.sync.errors import CertificateChanged, NotReachable, OtherCabin
from fieldapp.sync.finding import Seen
from fieldapp.ui.presenters.cabin import Exchange
from tests.ui.conftest import Tablet, save_as_other
from tests.ui.tour_form import form_stops


def tour(tablet: Tablet) -> Iterator[str]:
    """Each stop is one state of the screen; the caller looks round before going on."""
    press, hand = tablet.press, tablet.hand
    yield from finding_stops(tablet)
    yield "setup address"
    press("key.page")
    yield "setup address letters"
    press("entry.code")
    yield "setup code"
    press("setup.go")
    yield "setup error"
    setup = tablet.shell.setup
    setup.error, setup.refused = str(NotReachable(address="192.168.20.105:8443/HLG26", cause="timed out")), True
    tablet.app.show()
    hand.frames(2)
    assert not hand.sees("key.1")
    yield "setup, nobody answers"
    press("entry.address")
    assert hand.sees("key.1")
    assert setup.error == ""
    press("setup.back", "setup.alone", "key.H", "key.L", "key.G")
    yield "setup site"
    press("key.page")
    yield "setup site digits"
    press("key.2", "key.6", "entry.letter")
    yield "setup letter"
    press("key.B", "setup.go")
    yield "people, none"
    press("people.new", "key.A", "key.N", "key.A")
    yield "people, typing"
    press("people.add")
    yield "contexts, none"
    for name in ("Cleo Example", "Dora Example", "Emil Example"):
        values = {"name": name, "role": "human_osteologist", "active": True}
        save_as_other(tablet.app.desk, "person", f"person-{name}", values, {})
    press("go.people")
    yield "people"
    press("people.back")
    for at in range(22):
        tablet.app.desk.make_context(str(2000 + at), "ditch_fill", "unknown")
    press("contexts.new")
    yield "context making"
    press("key.1", "key.0", "key.4", "key.2", "contexts.make")
    yield "context wants a type"
    press("type.pit_fill", "grave.no", "contexts.make")
    yield "context, empty"
    press("go.contexts")
    yield "contexts"
    while not hand.sees("context.1042"):
        press("contexts.page")
    press("context.1042", "bag.new")
    yield "bag making"
    press("recovery.sieve.4", "bag.new", "recovery.hand.0")
    yield "context, bags"
    press("docket.new")
    yield from form_stops(tablet)
    yield from further_stops(tablet)
    press("action.save")
    yield "context, one docket"
    for _ in range(8):
        press("docket.new", "material.bone", "human.not_asked", "element.rib", "action.save")
    yield "context, many dockets"
    if hand.sees("lines.down"):
        press("lines.down")
        yield "context, scrolled"
        press("lines.up")
    docket = next(row.ident for row in tablet.shell.context.rows())
    record = tablet.app.desk.dockets(tablet.app.desk.context)[-1]
    theirs = {**record.value("reading"), "element": "tibia", "taxon": "sheep"}
    save_as_other(tablet.app.desk, "docket", record.id, {"reading": theirs, "material": "bone"}, {})
    tablet.app.show()
    hand.frames(3)
    yield "context, a disagreement"
    while not hand.sees(docket):
        press("lines.down")
    press(docket)
    yield "form, a disagreement"
    press("go.history")
    yield "history"
    press("history.leave", "action.leave")
    press("docket.new", "material.bone", "human.query", "action.save")
    yield "lab query"
    press("hold.leave", "docket.new", "field.human", "human.stop")
    yield "stop"
    press("stop.confirm")
    yield "hold"
    press("step.page.1")
    yield "hold, other steps"
    press("step.what.told", "step.whom.supervisor", "step.how.in_person")
    yield "hold, a step"
    press("hold.add", "step.what.handed_over")
    yield "hold, a hand-over"
    press("hold.more")
    yield "hold, more"
    press("hold.place")
    yield "hold, place without key"
    press("hold.back")
    yield from assessing_stops(tablet)
    yield from sync_stops(tablet)
    yield "context again"
    yield from other_stops(tablet)


def finding_stops(tablet: Tablet) -> Iterator[str]:
    """The first start, and what spares typing there; ends with an empty address."""
    press, hand = tablet.press, tablet.hand
    hand.until(lambda: tablet.shell.setup.found is not None)
    hand.frames(2)
    yield "setup"
    tablet.shell.setup.found = [
        Seen("HLG26", "012345", ("192.168.20.5:8443/HLG26",)), Seen("NEWFIELD26", "54321Z", ("10.120.130.140:8443",)),
    ]  # fmt: skip
    tablet.shell.setup.scan = lambda path: []
    tablet.app.show()
    hand.frames(2)
    yield "setup, cabins found"
    for name in ("b.jpg", "c.jpg", "d.jpg", "2026-06-01-mnd-frst-cbn-cd-trnch-nrth.png"):
        picture = tablet.folder / "photos-in" / name
        picture.parent.mkdir(exist_ok=True)
        Image.new("L", (40, 40)).save(picture)
    press("setup.scan")
    yield "setup, choosing a picture"
    press("setup.file.0")
    yield "setup, no code in it"
    shutil.rmtree(tablet.folder / "photos-in")
    press("setup.back", "setup.found.0")
    yield "setup, a cabin chosen"
    press("setup.back", "setup.cabin", "entry.address")
    for _ in range(30):
        press("key.rub")


def sync_stops(tablet: Tablet) -> Iterator[str]:
    """From the open hold to syncing, and what may have to be told there."""
    press, hand = tablet.press, tablet.hand
    press("hold.leave", "go.more", "go.sync")
    yield "sync, no cabin"
    tablet.app.notebook.set_setting("cabin", {"address": "192.168.20.5:8443", "fingerprint": "f"})
    tablet.app.show()
    hand.frames(2)
    yield "sync"
    press("sync.now")
    hand.until(lambda: not tablet.shell.sync.running)
    hand.frames(3)
    yield "sync, done"
    sync, notebook = tablet.shell.sync, tablet.app.notebook
    sync.running, sync.sent, sync.received, sync.moved, sync.wait = True, 4_120, 318, 1_648_000, 8.0
    tablet.app.show()
    hand.frames(2)
    yield "sync, waiting after a cut"
    sync.running = False
    prints = {"pinned": in_pairs("0a" * 32), "met": in_pairs("dc" * 32)}
    trouble = str(CertificateChanged(address="192.168.20.5:8443", **prints))
    sync.result = Exchange(trouble=trouble, enrol=True)
    tablet.app.show()
    hand.frames(2)
    yield "sync, another cabin"
    sync.result = Exchange(sent=3, received=2)
    notebook.set_setting("letter_changed", {"was": "B", "now": "D", "held_by": "Cleo Example, Dora Example"})
    tablet.app.show()
    hand.frames(2)
    yield "sync, another letter"
    press("sync.read")
    with Notebook.open(tablet.folder.parent / "copy", notebook.clock, notebook.new_id) as copy:
        copy.identify(site=notebook.site, code=notebook.code, letter="B")
        copy.new_life("B", as_id=notebook.id)
        notebook.pull([copy.save("docket", notebook.new_id(), {"count": 1}, {}, tablet.app.desk.by)])
    tablet.app.show()
    hand.frames(2)
    yield "sync, a copy"
    desk = tablet.app.desk
    before = dict(desk.person)
    desk.go(person={"person": "person-Cleo Example", "name": "Cleo Example", "role": "human_osteologist"})
    tablet.app.show()
    hand.frames(2)
    wanted = {"sync.renew", "sync.differ", "sync.key", "sync.carry", "sync.now", "sync.leave"}
    assert wanted <= set(hand.idents())
    yield "sync, a copy of a specialist's with disagreements"
    sync.result = Exchange(trouble=str(NotReachable(address="192.168.20.5:8443", cause="timed out")), away=True)
    tablet.app.show()
    hand.frames(2)
    yield "sync, nobody answers, and everything else besides"
    press("sync.elsewhere")
    yield "setup, another address"
    tablet.shell.setup.error = str(OtherCabin(address="192.168.20.105:8443/HLG26", met=prints["met"]))
    tablet.shell.setup.refused = True
    tablet.app.show()
    hand.frames(2)
    yield "setup, another cabin at another address"
    press("setup.back")
    sync.result = None
    desk.go(person=before)
    tablet.app.show()
    hand.frames(2)
    letter = notebook.letter
    press("sync.renew")
    hand.until(lambda: not sync.renewing)
    hand.frames(3)
    yield "sync, a new tablet"
    notebook.identify(letter=letter)
    press("sync.read")
    press("sync.carry")
    yield "carry-file"
    press("carry.write")
    hand.until(lambda: not tablet.shell.carry.running)
    hand.frames(3)
    yield "carry-file, not enrolled"
    enrolled(tablet)
    press("carry.write")
    hand.until(lambda: not tablet.shell.carry.running)
    hand.frames(3)
    yield "carry-file, written"
    press("carry.load")
    hand.until(lambda: not tablet.shell.carry.running)
    hand.frames(3)
    yield "carry-file, no answer"
    press("carry.leave", "sync.leave")


def enrolled(tablet: Tablet) -> None:
    """What a tablet knows of its cabin, with a key to seal to."""
    desk = tablet.app.desk
    seal = base64.b64encode(bytes([9, *bytes(31)])).decode()
    told = {"token": "t", "letter": "B", "site": desk.site, "site_code": desk.code, "seal_key": seal}
    cabin = {"address": "192.168.20.5:8443", "fingerprint": "f", "cabin_notebook": "c", **told}
    tablet.app.notebook.set_setting("cabin", cabin)


def further_stops(tablet: Tablet) -> Iterator[str]:
    """The fields of the form's second page, and what can be opened in each."""
    press, hand = tablet.press, tablet.hand
    press("field.surface")
    yield "form surface"
    for slot in ("burning", "weathering", "staining", "fracture.angle"):
        press(f"surface.slot.{slot}")
        yield f"form surface, {slot}"
        press("surface.back")
    press("field.age")
    yield "form age"
    press("age.slot.age")
    yield "form age, which"
    press("age.back", "field.measures")
    yield "form measures"
    press("measures.code.Bd", "key.7", "key.0", "key..", "key.5")
    yield "form measures, keypad"
    press("measures.key.=", "field.marks")
    yield "form marks"
    press("marks.kind.cut")
    yield "form marks, which kind"
    press(next(ident for ident in hand.idents() if ident.startswith("plate.")))
    press(next(ident for ident in hand.idents() if ident.startswith("plate.")))
    press("marks.list")
    yield "form marks, list"
    press(next(ident for ident in hand.idents() if ident.startswith("marks.mark.")))
    yield "form marks, one"
    press("field.find")
    yield "form find"
    for slot in ("weight_g", "find_no", "east"):
        press(f"find.keys.{slot}")
        yield f"form find, {slot}"
        press("find.back")
    press("find.finder")
    yield "form find, finder"
    press("find.back", "field.first", "field.element")
    if hand.sees("shelf."):
        press("shelf.")
    press("element.mandible", "field.taxon", "taxon.sheep")
    press("field.more", "field.teeth")
    yield "form teeth"
    press("teeth.at.lower.M1")
    yield "form teeth, one"
    press("teeth.stage.in_wear", "teeth.wear.grant_1982")
    yield "form teeth, wear"
    press("teeth.worn.g")
    yield "form teeth, a stage"
    press("teeth.one", "teeth.wear.payne_1987")
    yield "form teeth, a number and a letter"
    press("teeth.one", "teeth.row", "field.note", "note.photo")
    yield "photo"
    press("photo.leave", "field.note", "note.ask")
    yield "form note, asked"


def other_stops(tablet: Tablet) -> Iterator[str]:
    """Everything that is no docket's full form."""
    press, hand = tablet.press, tablet.hand
    press("docket.quick")
    yield "quick"
    press("look.long_bone", "taxon.large_mammal", "human.no_sign", "find.more", "note.ask")
    yield "quick, filled"
    press("action.save", "go.more")
    yield "more"
    for kind in ("tally", "sample", "group"):
        press(f"more.{kind}")
        for slot in [ident for ident in hand.idents() if ident.startswith("slot.")]:
            press(slot)
            yield f"card {kind}, {slot}"
        if kind == "tally":
            press("slot.taxon", "card.=large_mammal", "slot.burning", "card.=calcined")
            press("slot.burning")
            yield "card tally, burnt and without a name"
        tablet.leave()
        press("go.more")
    for kind in ("bag", "context"):
        if hand.sees(f"more.{kind}"):
            press(f"more.{kind}")
            for slot in [ident for ident in hand.idents() if ident.startswith("slot.")]:
                press(slot)
                yield f"card {kind}, {slot}"
            tablet.leave()
            press("go.more")
    press("more.scan", "scan.one.cattle", "scan.one.cattle", "scan.burning.burnt", "scan.one.pig")
    yield "scan"
    desk, here = tablet.app.desk, tablet.app.desk.context or ""
    save_as_other(desk, "context", here, {"grave_like": "maybe"}, {})
    tablet.app.show()
    yield "scan of what is like a grave"
    grave = desk.record(here)
    assert grave is not None
    heads = {"grave_like": grave.head_ids()["grave_like"]}
    save_as_other(desk, "context", here, {"grave_like": "no"}, heads)
    press("scan.save", "go.more", "more.photo")
    yield "photo of the context"
    press("photo.leave", "go.more", "more.print")
    yield "printing"
    press("print.compact")
    hand.until(lambda: bool(tablet.shell.printing.told))
    hand.frames(2)
    yield "printing, done"
    press("printing.leave", "go.more", "go.find")
    yield "find"
    for chip in ("taxon", "element", "text"):
        press(f"chip.{chip}")
        yield f"find, {chip}"
        press(f"chip.{chip}")
    press("chip.mark.problem")
    hand.frames(30)
    yield "find, to look at"
    press("find.clear", "chip.mark.deleted")
    yield "find, deleted"
    press("find.clear", "find.leave", "go.more", "go.lab")
    yield "lab"
    hand.type("hum l sheep +dis d:f Bd34.5 odd")
    yield "lab, typed"
    hand.key("enter")
    yield "lab, taken"
    press("action.leave")
    yield "leave, asked"
    press("leave.drop")
    yield from second_stops(tablet)
    press("go.more", "go.manner")
    yield "manner"
    press("manner.leave", "go.more", "go.lock")
    yield "lock"
    press("lock.first")
    yield "lock, half"
    press("lock.second")
    yield "more again"


def second_stops(tablet: Tablet) -> Iterator[str]:
    """A specialist's second readings; the tablet is given back afterwards."""
    press, hand, desk = tablet.press, tablet.hand, tablet.app.desk
    before = desk.person
    drawn = {"name": "Spring", "how": "random", "seed": "7", "shown": ["bag", "context"]}
    dockets = [one for one in desk.dockets(desk.context) if not desk.is_raised(one)]
    for one in dockets:
        again = {"docket": one.id, "sample": "draw", "drawn": drawn, "reader": None, "first": {}}
        save_as_other(desk, "second_reading", f"again-{one.id}", again, {})
    desk.go(person={"person": "person-cleo", "name": "Cleo Example", "role": "human_osteologist"})
    tablet.app.show()
    hand.frames(3)
    yield "context, hidden for a second reading"
    press("go.more")
    yield "more, of a specialist"
    press("go.second")
    yield "second readings"
    press(next(row.ident for row in tablet.shell.second.rows()))
    yield "second reading"
    press("material.bone", "field.more", "field.find")
    yield "second reading, the find"
    press("field.note")
    yield "second reading, note"
    press("action.problems")
    yield "second reading, problems"
    press("action.save")
    yield "second readings, one read"
    press("second.leave", "more.leave")
    for one in dockets:
        save_as_other(desk, "second_reading", f"again-{one.id}", {"ended": True}, {})
    tablet.app.show()
    hand.frames(3)
    yield "context, shown again"
    press("go.more", "go.second")
    yield "second readings, none"
    press("second.leave", "more.leave")
    desk.go(person=before)
    tablet.app.show()
    hand.frames(3)


def assessing_stops(tablet: Tablet) -> Iterator[str]:
    """A specialist at a hold of a licensed site: skeleton, pictures, the own key, and every part of an assessment."""
    press, desk = tablet.press, tablet.app.desk
    before = dict(desk.person)
    desk.go(person={"person": "person-Cleo Example", "name": "Cleo Example", "role": "human_osteologist"})
    values = {"hold_photos": True, "mode": "licensed", "licence": "L 17 (invented)"}
    save_as_other(desk, "site", desk.site, values, {})
    tablet.shell.heard()
    tablet.hand.frames(2)
    press("hold.more")
    yield "hold, more under a licence"
    press("hold.skeleton")
    yield "hold, skeleton"
    press("hold.back", "hold.more", "hold.photo")
    yield "hold, no closed picture without a key"
    press("photo.leave", "hold.more", "hold.assess")
    yield "assess, what was said"
    press("assess.part.verdict", "assess.verdict.non_human", "assess.bone_seen.bone")
    yield "assess, verdict"
    press("assess.part.names", "assess.taxon.cattle", "assess.slot.element", "assess.element.skull")
    yield "assess, names"
    press("assess.part.signs", "assess.say.yes")
    yield "assess, signs"
    press("assess.part.words")
    yield "assess, words"
    press("assess.part.sign")
    yield "assess, no key"
    press("assess.key")
    yield "own key"
    press("key.fetch")
    yield "own key, no cabin"
    press("key.leave", "assess.leave")
    desk.go(person=before)
    tablet.shell.heard()
    tablet.hand.frames(2)
