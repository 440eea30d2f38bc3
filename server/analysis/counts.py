"""The counts proper as tables of the topic "counts": how much there is, and minimum numbers.

For: their list, in one place. Not for: making any of them (count_pieces, count_minimum), or statistics of counts.
"""

from __future__ import annotations

from server.analysis import count_minimum, count_pieces
from server.analysis.asking import Table

TABLES: tuple[Table, ...] = (count_pieces.TABLE, count_minimum.MNE, count_minimum.MNI)
