"""The mask of a QR code is the one that segno, which weighs square by square, would choose.

Reference: segno 1.6 (a QR encoder of its own standing); the points are those that its source gives from ISO/IEC 18004.
"""

from __future__ import annotations

import pytest
import segno
from hypothesis import assume, example, given
from hypothesis import strategies as st

from fieldapp.sheets import masks


@given(st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 -:.", min_size=1, max_size=40), st.integers(2, masks.LARGEST + 1))
@example("HLG26 B417-K", 2)
@example("HLG26 BOX 12", 2)
def test_a_code_has_the_mask_that_segno_chooses(said: str, version: int) -> None:
    try:
        chosen = masks.code(said, version)
    except segno.DataOverflowError:
        assume(False)
    assert masks.best(said, version) == chosen


def test_what_is_too_long_for_a_version_is_said_to_be() -> None:
    with pytest.raises(segno.DataOverflowError):
        masks.best("A" * 40, 2)


def test_a_penalty_counts_runs_blocks_and_likenesses_of_a_finder() -> None:
    """Counted by hand on a white field of 21 squares a side: 42 lines, 20 by 20 blocks, and no dark square at all."""
    assert masks.penalty((0, 0), 21) == 42 * (21 - 2) + 3 * 20 * 20 + 10 * 10
    line = 0b1011101
    assert masks._finders(line) == 40
    assert masks._finders(line << 10 | 1 << 7 | 1 << 19) == 0
