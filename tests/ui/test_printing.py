"""Printing from the tablet: whole files in a folder, without a cabin, and nothing closed in them."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

from PIL import Image
from pypdf import PdfReader

from fieldapp.ui.presenters.carry import Carry
from fieldapp.ui.presenters.desk import Desk, Write
from fieldapp.ui.presenters.printing import KINDS, Printing


def _printed(printing: Printing, kind: str) -> PdfReader:
    heard: list[int] = []
    assert printing.begin(kind)
    assert not printing.begin(kind), "one at a time"
    printing.run(lambda: heard.append(1))
    assert (printing.running, heard) == ("", [1])
    (file,) = printing.folder.glob(f"*_{kind}.pdf")
    assert str(file) in printing.told
    return PdfReader(BytesIO(file.read_bytes()))


def _text(pdf: PdfReader) -> str:
    return " ".join(page.extract_text() for page in pdf.pages).replace("\n", " ")


def test_every_kind_of_file_is_written_to_a_folder_and_said_to_be_there(desk: Desk, tmp_path: Path) -> None:
    printing = Printing(desk, Carry(desk))
    desk.go(context=None)
    assert not printing.begin("sheet"), "nothing is open"
    context = desk.make_context("1055", "pit_fill", "no")
    desk.go(context=context)
    assert printing.begin("labels")
    printing.run(lambda: None)
    assert "no bags" in printing.told
    bag = desk.make_bag(context, "sieve", 4.0)
    label = desk.new_label()
    docket = desk.new_id()
    desk.save([Write(docket, "docket", {"label": label, "bag": bag, "material": "bone", "count": 2})])
    for name, closed in (("red", False), ("blue", True)):
        out = BytesIO()
        Image.new("RGB", (64, 48), name).save(out, "JPEG")
        values = {"docket": docket, "sha256": desk.photos.keep(out.getvalue()), "closed": closed}
        desk.save([Write(desk.new_id(), "photo", values)])
    texts = {kind: _text(_printed(printing, kind)) for kind in KINDS}
    assert label in texts["sheet"]
    assert all(text.startswith(desk.code) for text in (texts["sheet"], texts["compact"], texts["blank"]))
    assert "by sieve 4 mm" in texts["sheet"]
    assert desk.person is not None
    assert desk.person["name"] in texts["sheet_photos"]
    assert label.partition(" ")[2] in texts["compact"]
    assert texts["labels"].count("Context 1055") == 1
    assert "POSSIBLE HUMAN?" in texts["blank"]
    pictures = [one for page in _printed(printing, "sheet_photos").pages for one in page.images]
    assert [one.image.convert("RGB").getpixel((9, 9))[0] > 200 for one in pictures if one.image] == [True]
    assert not list(printing.folder.glob("*.part"))
    assert printing.folder == desk.notebook.folder / "printed"
    printing.carry.shared = tmp_path / "shared"
    _printed(printing, "compact")
    assert list((tmp_path / "shared" / "printed").iterdir())


def test_a_folder_that_takes_nothing_says_so_and_touches_no_record(desk: Desk) -> None:
    desk.go(context=desk.make_context("7", "layer", "no"))
    printing = Printing(desk, Carry(desk))
    (desk.notebook.folder / "printed").write_text("in the way")
    assert printing.begin("blank")
    printing.run(lambda: None)
    assert printing.told.startswith("Not written:")
    assert printing.running == ""
