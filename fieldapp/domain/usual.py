"""The bones and animals that are met most, in the rows in which a tablet lays them out; the order is our own.

What a form shows at once, and what a short word means before all others. Not here: the tables of all of them.
"""

from __future__ import annotations

USUAL = {
    "element": (
        ("skull", "mandible", "loose_tooth", "atlas", "vertebra", "rib"),
        ("scapula", "humerus", "radius", "ulna", "metacarpal"),
        ("pelvis", "femur", "tibia", "calcaneum", "astragalus"),
        ("metatarsal", "phalanx_1", "phalanx_2", "phalanx_3", "long_bone"),
    ),
    "taxon": (
        ("cattle", "sheep_goat", "sheep", "goat", "pig"),
        ("horse", "dog", "cat", "red_deer", "hare_rabbit"),
        ("fowl", "bird", "large_mammal", "medium_mammal", "small_mammal"),
        ("mammal", "human", "unknown"),
    ),
}
"""{field: rows} of what is looked for most: what fits an 8-inch panel at 15 mm a button."""
