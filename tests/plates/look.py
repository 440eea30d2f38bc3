"""A quick picture of plates while they are drawn. Not for: anything that is shipped."""

from __future__ import annotations

from itertools import cycle, pairwise

from PIL import Image, ImageDraw, ImageFont

from fieldapp import assets
from tests.plates.draft import Drawn

TINTS = ("#f3d9c4", "#d5e5f2", "#e0efd2", "#f2e6b8", "#e6d8ee", "#cfe8e4", "#f6d3d9", "#dcdcdc")
ZOOM = 2
"""Pictures are drawn larger and brought down, so that lines are smooth."""
HIGH = 620


def picture(plates: list[Drawn], plain: bool = False) -> Image.Image:
    """All plates in rows; each with names and grid and then plain, or plain only."""
    cells = [
        cell
        for plate in plates
        for cell in ([_cell(plate, True)] if plain else [_cell(plate, False), _cell(plate, True)])
    ]
    rows: list[list[Image.Image]] = [[]]
    for cell in cells:
        if rows[-1] and sum(one.width for one in rows[-1]) + cell.width > 1900:
            rows.append([])
        rows[-1].append(cell)
    wide = max(sum(one.width for one in row) for row in rows)
    sheet = Image.new("RGB", (wide, sum(max(one.height for one in row) for row in rows)), "white")
    y = 0
    for row in rows:
        x = 0
        for cell in row:
            sheet.paste(cell, (x, y))
            x += cell.width
        y += max(one.height for one in row)
    return sheet


def _cell(plate: Drawn, plain: bool) -> Image.Image:
    draft = plate.draft
    k = ZOOM * HIGH / 950
    size = round(draft.width * k) + 20 * ZOOM, round(draft.height * k) + 34 * ZOOM
    image = Image.new("RGB", size, "white")
    pen = ImageDraw.Draw(image)
    font = ImageFont.truetype(str(assets.font()), 11 * ZOOM)

    def at(points: object) -> list[tuple[float, float]]:
        return [(10 * ZOOM + x * k, 24 * ZOOM + y * k) for x, y in points]  # type: ignore[attr-defined]

    uses: dict[frozenset[tuple[float, float]], int] = {}
    for tint, (_, shape) in zip(cycle(TINTS), plate.portions.items(), strict=False):
        points = list(shape.exterior.coords)
        pen.polygon(at(points), fill="#f6f1e6" if plain else tint)
        for a, b in pairwise(points):
            uses[frozenset((a, b))] = uses.get(frozenset((a, b)), 0) + 1
    for lines, tint in ((plate.landmarks, "#7d7266"), (plate.beside, "#9a9187")):
        for line in lines:
            pen.line(at(line), fill=tint, width=ZOOM * 2 // 2, joint="curve")
    for side, times in uses.items():
        if len(side) == 2:
            pen.line(at(sorted(side)), fill="#2b2520", width=ZOOM * 3 if times == 1 else ZOOM)
    if not plain:
        for n in range(0, int(max(draft.width, draft.height)) + 1, 100):
            for line in ([(n, 0), (n, draft.height)], [(0, n), (draft.width, n)]):
                if n <= (draft.width if line[0][1] == 0 and line[1][1] else draft.height):
                    pen.line(at(line), fill="#b9c4cc", width=1)
            pen.text(at([(n, 0)])[0], str(n), font=font, fill="#8aa0b0")
            pen.text(at([(0, n)])[0], str(n), font=font, fill="#8aa0b0")
        for key, shape in plate.portions.items():
            spot = shape.representative_point()
            x, y = at([(spot.x, spot.y)])[0]
            pen.text((x, y), key, font=font, fill="#aa2200", anchor="mm")
        pen.text((10 * ZOOM, 2), f"{draft.form} {draft.element} {draft.view}", font=font, fill="black")
    return image.resize((size[0] // ZOOM, size[1] // ZOOM), Image.Resampling.LANCZOS)
