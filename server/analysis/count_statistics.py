"""The statistics of counts as tables of the topic "counts": shares, diversity, places beside each other, skeletal parts
and likely numbers.

For: their list, in one place. Not for: making any of them (count_shares and its neighbours).
"""

from __future__ import annotations

from server.analysis import count_crosstable, count_diversity, count_likely, count_shares, count_skeleton
from server.analysis.asking import Table

TABLES: tuple[Table, ...] = (
    count_shares.TABLE,
    count_skeleton.TABLE,
    count_likely.TABLE,
    *count_diversity.TABLES,
    count_crosstable.TABLE,
)
