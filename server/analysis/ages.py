"""The topic of ages: its tables, the most asked for first.

For: finding them. Not for: any figure (ages_fusion, ages_wear, ages_survival, ages_classes, ages_young).
"""

from __future__ import annotations

from server.analysis import ages_classes, ages_fusion, ages_survival, ages_wear, ages_young
from server.analysis.asking import Table

TABLES: tuple[Table, ...] = (
    ages_fusion.FUSION,
    ages_fusion.STAGES,
    ages_wear.WEAR,
    ages_wear.STAGES,
    ages_wear.SCORES,
    ages_wear.LOOSE,
    ages_survival.SURVIVAL,
    ages_classes.CLASSES,
    ages_young.NEONATAL,
)
