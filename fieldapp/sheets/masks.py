"""Which of its eight masks a QR code is drawn with: the one that looks least like what a reader searches for.

The standard (ISO/IEC 18004, as segno cites it) has all eight weighed. Segno does so square by square, which takes most
of a label's time. Here a symbol is two whole numbers, its rows one after another and its columns, and a rule is a few
steps over all squares at once; what comes out is segno's own choice. Not for: what a code says (segno), how it stands
on paper (qr).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import segno

LARGEST = 6
"""The largest version that is weighed here: larger ones hold their version's number as well."""
LEVEL = "h"
_MASKS = range(8)
_GAP = 4
"""White squares between one line and the next: a row of them begins and ends the pattern that readers search for."""

Matrix = tuple[tuple[int, ...], ...]
Symbol = tuple[int, int]
"""Its rows and its columns, each as one number."""


def code(said: str, version: int, mask: int | None = None) -> Matrix:
    """A code of the highest level. Raises segno.DataOverflowError where it is too long for the version."""
    made = segno.make(said, error=LEVEL, version=version, mask=mask, micro=False, boost_error=False)
    return tuple(tuple(row) for row in made.matrix)


def best(said: str, version: int) -> Matrix:
    """The code with the mask that has the fewest penalty points, the first of several. Raises as `code`."""
    if version > LARGEST:
        return code(said, version)
    first = code(said, version, 0)
    size, symbol = len(first), _symbol(first)
    turned = _turned(version)
    mask = min(_MASKS, key=lambda one: penalty((symbol[0] ^ turned[one][0], symbol[1] ^ turned[one][1]), size))
    return code(said, version, mask) if mask else first


def penalty(symbol: Symbol, size: int) -> int:
    """The points of a symbol (7.8.3, table 11): runs, blocks, likenesses of a finder, and more dark than light."""
    rows, columns = symbol
    dark = rows.bit_count() / size**2
    lines = sum(_runs(one, size) + _finders(one) for one in (rows, columns))
    return lines + _blocks(rows, size) + 10 * int(abs(dark * 100 - 50) / 5)


@cache
def _turned(version: int) -> tuple[Symbol, ...]:
    """What each mask alters of a code that has the first one: the same squares, whatever the code says."""
    first = _symbol(code("0", version, 0))
    every = [_symbol(code("0", version, mask)) for mask in _MASKS]
    return tuple((rows ^ first[0], columns ^ first[1]) for rows, columns in every)


def _symbol(matrix: Matrix) -> Symbol:
    """The squares of a code without those that name its mask and level, which are written when it has been chosen."""
    size = len(matrix)
    ends = {*range(9), *range(size - 8, size)} - {6}
    plain = [list(row) for row in matrix]
    for n in ends:
        plain[8][n] = plain[n][8] = 0
    return _number(plain), _number(list(zip(*plain, strict=True)))


def _number(lines: Sequence[Sequence[int]]) -> int:
    """Lines of squares as one number, the first square its lowest digit."""
    gap = "0" * _GAP
    return int("".join(gap + "".join(map(str, reversed(line))) for line in reversed(lines)), 2)


@cache
def _inside(size: int) -> int:
    """The squares of a symbol, without the white between its lines."""
    return _number([[1] * size] * size)


def _runs(dark: int, size: int) -> int:
    """Three points for five alike in a line, and one for each further."""
    points = 0
    for alike in (dark, _inside(size) & ~dark):
        two = alike & alike >> 1
        five = two & two >> 2 & alike >> 4
        points += five.bit_count() + 2 * (five & ~(five >> 1)).bit_count()
    return points


def _blocks(dark: int, size: int) -> int:
    """Three points for each two by two alike."""
    points, down = 0, size + _GAP
    for alike in (dark, _inside(size) & ~dark):
        two = alike & alike >> 1
        points += 3 * (two & two >> down).bit_count()
    return points


def _finders(dark: int) -> int:
    """Forty points for each dark-light-dark-dark-dark-light-dark with four light before or after it."""
    wide = dark << _GAP
    light = ~wide
    found = wide & light >> 1 & wide >> 2 & wide >> 3 & wide >> 4 & light >> 5 & wide >> 6
    four = light & light >> 1 & light >> 2 & light >> 3
    found &= four << 4 | four >> 7
    points = 0
    while found:
        # One that begins within another is not counted again.
        lowest = found & -found
        found &= ~(lowest | lowest << 4 | lowest << 6)
        points += 40
    return points
