"""Rounding of numbers for people and for programs, from one table of steps."""

from __future__ import annotations

import math

PERCENT = "percent"
"""Unit of a share; it is kept as a fraction."""
STEPS = {
    "kg": 1.0,
    "t": 0.1,
    "ft": 10.0,
    "kt": 1.0,
    "nm": 0.1,
    "min": 0.1,
    "s": 1.0,
    "deg": 0.1,
    "ft_per_min": 10.0,
    "kt_per_nm": 0.1,
    "kt_per_1000ft": 0.1,
    PERCENT: 0.1,
    "": 1.0,
}
"""What a number is rounded to where people read it, by the suffix of its unit [common practice, no source]."""
_USUAL = 0.1
_PURE = 4
"""Digits of a pure number for programs: a share of which people read a tenth of a percent."""


def as_read(amount: float, unit: str, step: float | None = None) -> str:
    """A number [unit of a suffix] as people read it, rounded to the step of its unit or to another [in that unit].

    Nothing stands for what is not a number, a hyphen for the minus sign; what rounds to nothing has no sign.
    """
    if math.isnan(amount):
        return ""
    if math.isinf(amount):
        return "infinite" if amount > 0.0 else "-infinite"
    own = STEPS.get(unit, _USUAL) if step is None else step
    return f"{round(amount / own) * own + 0.0:.{_digits(own)}f}"


def as_data(amount: float, unit: str) -> float | None:
    """A number [unit of a suffix] for programs, a digit finer than people read it; None if it is not finite."""
    digits = _digits(STEPS.get(unit, _USUAL) / 10.0) if unit else _PURE
    return round(amount, digits) + 0.0 if math.isfinite(amount) else None


def _digits(step: float) -> int:
    """Digits behind the point [-] of numbers rounded to a step."""
    return max(0, round(-math.log10(step)))
