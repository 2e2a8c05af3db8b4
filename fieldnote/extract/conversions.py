"""Exact factors between the units that entries use, for comparing durations, lengths, torques and pressures.

Source: NIST SP 811 (2008) appendix B and the definitions behind it (1959 international yard and pound, standard
gravity 9.80665 m/s2): exact, held as fractions. Entries keep the unit that was spoken; nothing here rounds.
"""

from __future__ import annotations

from fractions import Fraction

_IN = Fraction(254, 10_000)  # m
_LBF = Fraction(45_359_237, 100_000_000) * Fraction(980_665, 100_000)  # N

_UNITS: dict[str, tuple[str, Fraction]] = {
    "m": ("length", Fraction(1)),
    "mm": ("length", Fraction(1, 1000)),
    "cm": ("length", Fraction(1, 100)),
    "in": ("length", _IN),
    "ft": ("length", 12 * _IN),
    "mi": ("length", 63_360 * _IN),
    "km": ("length", Fraction(1000)),
    "s": ("time", Fraction(1)),
    "min": ("time", Fraction(60)),
    "h": ("time", Fraction(3600)),
    "N_m": ("torque", Fraction(1)),
    "in_lb": ("torque", _LBF * _IN),
    "ft_lb": ("torque", _LBF * 12 * _IN),
    "Pa": ("pressure", Fraction(1)),
    "kPa": ("pressure", Fraction(1000)),
    "bar": ("pressure", Fraction(100_000)),
    "psi": ("pressure", _LBF / _IN**2),
    "degC": ("temperature", Fraction(1)),
    "degF": ("temperature", Fraction(5, 9)),
}
# Kelvin at zero of the scale, for temperatures as read off a thermometer (a difference has no offset).
_ZERO_K = {"degC": Fraction(27_315, 100), "degF": Fraction(45_967, 100) * Fraction(5, 9)}


def dimension(unit: str) -> str | None:
    """What ``unit`` measures (``length``, ``time``, ``torque``, ``pressure``, ``temperature``), None where unknown."""
    row = _UNITS.get(unit)
    return row[0] if row else None


def factor(unit: str) -> Fraction:
    """``unit`` in m, s, N·m, Pa or K, exact. Raises ValueError where the unit is unknown."""
    if unit not in _UNITS:
        raise ValueError(f"unknown unit {unit!r}")
    return _UNITS[unit][1]


def convert(value: float, unit: str, to: str) -> float:
    """``value`` in ``unit`` expressed in ``to``, temperatures as readings of a scale.

    Raises ValueError where a unit is unknown or the two measure different things.
    """
    if factor(unit) and dimension(unit) != dimension(to):
        raise ValueError(f"{unit} is a {dimension(unit)}, {to} is {dimension(to) or 'unknown'}")
    exact = Fraction(value) * factor(unit) + _ZERO_K.get(unit, 0)
    return float((exact - _ZERO_K.get(to, 0)) / factor(to))
