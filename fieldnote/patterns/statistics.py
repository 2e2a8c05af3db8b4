"""Intervals, shrinking and control limits; every formula with its source. Shares are from 0 to 1.

The results are held against published values, SciPy and statsmodels by the tests.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from fieldnote.records import Share

Ints = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

SIGMAS = 3.0
"""Control limits stand so many standard deviations from the center line (NIST/SEMATECH e-Handbook, 6.3.3.2)."""


def wilson(count: int, of: int, level: float = 0.95) -> tuple[float, float]:
    """Wilson's score interval for ``count`` of ``of``, without continuity correction; (0, 1) where ``of`` is 0.

    (p + z²/2n ± z √(p(1-p)/n + z²/4n²)) / (1 + z²/n) (E. B. Wilson, JASA 22, 1927; NIST/SEMATECH e-Handbook, 7.2.4.1).
    """
    if of == 0:
        return 0.0, 1.0
    z = _z(level)
    p, zz = count / of, z * z / of
    middle = (p + zz / 2) / (1 + zz)
    half = z * math.sqrt(p * (1 - p) / of + zz / (4 * of)) / (1 + zz)
    # At 0 of n and n of n the formula gives the end exactly; rounding must not push it to the other side.
    low = 0.0 if count == 0 else max(0.0, middle - half)
    high = 1.0 if count == of else min(1.0, middle + half)
    return low, high


def wilson_many(counts: Ints, of: Ints, level: float = 0.95) -> tuple[Floats, Floats]:
    """``wilson`` for many counts at once: arrays of low and high limits, all ``of`` above 0."""
    z = _z(level)
    p, zz = counts / of, z * z / of
    middle = (p + zz / 2) / (1 + zz)
    half = z * np.sqrt(p * (1 - p) / of + zz / (4 * of)) / (1 + zz)
    low = np.where(counts == 0, 0.0, np.maximum(0.0, middle - half))
    high = np.where(counts == of, 1.0, np.minimum(1.0, middle + half))
    return low, high


@lru_cache(maxsize=64)
def _z(level: float) -> float:
    return NormalDist().inv_cdf(0.5 + level / 2)


def share_of(count: int, of: int, level: float, few: int) -> Share:
    """A share with its interval, marked where it rests on fewer than ``few``."""
    low, high = wilson(count, of, level)
    return Share(count, of, low, high, count < few)


def shrunk(count: int, of: int, mean: float, strength: float) -> float:
    """The mean of a Beta posterior whose prior has this ``mean`` and weighs as much as ``strength`` jobs.

    (s·m + x) / (s + n) (Gelman et al., Bayesian Data Analysis, 2.4).
    """
    return (strength * mean + count) / (strength + of)


def shrunk_many(counts: Ints, of: Ints, means: Floats, strength: float) -> Floats:
    """``shrunk`` for many counts at once, each with its own mean."""
    return np.asarray((strength * means + counts) / (strength + of))


def control_limits(center: float, of: int) -> tuple[float, float]:
    """Lower and upper limit of a p-chart for a sample of ``of``: p ± 3 √(p(1-p)/n), kept within 0 and 1.

    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2.
    """
    half = SIGMAS * math.sqrt(center * (1 - center) / of)
    return max(0.0, center - half), min(1.0, center + half)


def tail(count: int, of: int, prob: float, *, upper: bool) -> float:
    """The chance of ``count`` or more (``upper``), or ``count`` or fewer, of ``of`` at ``prob`` each (binomial)."""
    if prob <= 0.0 or prob >= 1.0:
        certain = 0 if prob <= 0.0 else of
        return 1.0 if (certain >= count if upper else certain <= count) else 0.0
    reach = range(count, of + 1) if upper else range(count + 1)
    return min(1.0, math.fsum(math.exp(_log_mass(k, of, prob)) for k in reach))


def _log_mass(k: int, n: int, p: float) -> float:
    ways = math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
    return ways + k * math.log(p) + (n - k) * math.log1p(-p)


def too_rare(tail_prob: float) -> bool:
    """Whether a tail is rarer than three standard deviations of a normal distribution on one side (0.00135)."""
    return tail_prob < NormalDist().cdf(-SIGMAS)


def quartiles(values: Sequence[float]) -> tuple[float, float, float]:
    """Lower quartile, median, upper quartile of at least one value, by linear interpolation."""
    ordered = sorted(values)
    return _quantile(ordered, 0.25), _quantile(ordered, 0.5), _quantile(ordered, 0.75)


def _quantile(ordered: Sequence[float], q: float) -> float:
    spot = q * (len(ordered) - 1)
    low = math.floor(spot)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (ordered[high] - ordered[low]) * (spot - low)
