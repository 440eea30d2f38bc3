"""Arithmetic of samples: what one fragment of a sorted part stands for, how many there may have been, and cremations.

Weights in grams, volumes in litres, meshes in millimetres, shares above 0 and up to 1. Whatever cannot be worked out
is None, never 0. Not here: counting of animals, how sure an estimate is, and what is wrong with a sample (rules).
Source: common practice, no source; all of it follows from the definition of a share.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Sorted:
    """What was found in the sorted part of one fraction: `count` pieces (or grams) in a `share` of it."""

    count: float
    share: float | None


@dataclass(frozen=True, slots=True)
class Estimate:
    """An estimate for a whole sample from the parts of it that were sorted.

    counted     what was found, all fractions together
    estimated   what the whole sample may have held; None if the share of any part with finds is not known
    multiplier  estimated / counted: what one find stands for on average; None if there is none
    unknown     how many parts with finds have no usable share
    """

    counted: float
    estimated: float | None
    multiplier: float | None
    unknown: int


@dataclass(frozen=True, slots=True)
class Burnt:
    """Weighed cremated bone, in grams, by fraction (mm), by region of the body, and by both."""

    by_fraction: Mapping[float, float]
    by_region: Mapping[str, float]
    by_both: Mapping[tuple[float, str], float]
    total: float

    def percent(self, grams: float) -> float | None:
        """A weight as a percentage of the total; None where nothing was weighed."""
        return 100 * grams / self.total if self.total > 0 else None


def share(value: Any) -> float | None:
    """A share as a number if it is one that can be: above 0 and not above 1."""
    found = amount(value)
    return found if found is not None and 0 < found <= 1 else None


def amount(value: Any) -> float | None:
    """A weight, volume or mesh as a number if it is one that can be: finite and not below 0."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value < 1e15:
        return None
    return float(value)


def multiplier(*shares: Any) -> float | None:
    """What one find of a sorted part stands for: 1 / share.

    Of a part of a part (a quarter of the residue, half of that again) give each share in turn; they multiply.
    None if any cannot be a share, or if together they are too small for a number.
    """
    whole = 1.0
    for one in shares:
        found = share(one)
        if found is None:
            return None
        whole *= found
    return 1 / whole if whole > 0 and math.isfinite(1 / whole) else None


def estimate(parts: Iterable[Sorted]) -> Estimate:
    """What a sample that was sorted in different shares at different meshes may have held.

    Each fraction is multiplied by its own multiplier; the average one is never used for any single fraction. A part
    without finds adds nothing, whatever its share: but nothing found in a small share is weak proof of absence.
    """
    counted, unknown = [], 0
    estimated = []
    for part in parts:
        found, times = amount(part.count), multiplier(part.share)
        if not found:
            continue
        counted.append(found)
        if times is None:
            unknown += 1
        else:
            estimated.append(found * times)
    total, whole = math.fsum(counted), None if unknown else math.fsum(estimated)
    return Estimate(total, whole, whole / total if whole is not None and total > 0 else None, unknown)


def density(found: float | None, litres: Any) -> float | None:
    """Finds (or grams) to a litre of earth; None where the volume is not known or nothing."""
    volume = amount(litres)
    return found / volume if found is not None and volume else None


def fractions_of(sample: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    """{key: fraction} of a sample's values, those that are whole objects."""
    return _items(sample, "fraction/")


def bone_of(sample: Mapping[str, Any]) -> Estimate:
    """The bone of a sample in grams: sorted out, and estimated from the share that was sorted of each fraction."""
    found = fractions_of(sample).values()
    return estimate(Sorted(amount(one.get("bone_g")) or 0.0, share(one.get("sorted_share"))) for one in found)


def burnt_of(sample: Mapping[str, Any]) -> Burnt:
    """The weighed cremated bone of a sample. What has no weight is left out; no region is `unidentified`."""
    by_both: dict[tuple[float, str], list[float]] = {}
    for one in _items(sample, "cremation/").values():
        grams, mesh, region = amount(one.get("weight_g")), amount(one.get("fraction_mm")), one.get("region")
        if grams is not None and mesh is not None:
            key = mesh, region if isinstance(region, str) and region else "unidentified"
            by_both.setdefault(key, []).append(grams)
    return burnt({key: math.fsum(found) for key, found in by_both.items()})


def burnt(by_both: Mapping[tuple[float, str], float]) -> Burnt:
    """Totals of cremated bone given as {(fraction in mm, region): grams}: largest fraction first."""
    by_fraction: dict[float, list[float]] = {}
    by_region: dict[str, list[float]] = {}
    for (mesh, region), grams in sorted(by_both.items(), key=lambda one: (-one[0][0], one[0][1])):
        by_fraction.setdefault(mesh, []).append(grams)
        by_region.setdefault(region, []).append(grams)
    return Burnt(
        {mesh: math.fsum(found) for mesh, found in by_fraction.items()},
        {region: math.fsum(found) for region, found in by_region.items()},
        dict(by_both),
        math.fsum(by_both.values()),
    )


def _items(values: Mapping[str, Any], prefix: str) -> dict[str, Mapping[str, Any]]:
    return {
        path[len(prefix) :]: value
        for path, value in values.items()
        if path.startswith(prefix) and isinstance(value, Mapping)
    }
