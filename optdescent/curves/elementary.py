"""Elementary functions that send CasADi values to CasADi and everything else to numpy.

Neither library can serve both directly: numpy's functions work on CasADi symbols only in a mode that CasADi calls
legacy, and CasADi's functions turn an array of shape (3,) into a (3, 1) matrix.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias, cast

import casadi as ca
import numpy as np

Value: TypeAlias = Any
"""A float, a numpy array or a CasADi expression: physics is written once for all three."""


_OF_CASADI = (ca.SX, ca.MX, ca.DM)


def is_symbolic(*values: Value) -> bool:
    """Whether any of the values belongs to CasADi."""
    # A loop takes a third of the time of ``any``, and this is asked a hundred thousand times in a flight.
    for value in values:  # noqa: SIM110
        if isinstance(value, _OF_CASADI):
            return True
    return False


def sqrt(x: Value) -> Value:
    """Square root [-]."""
    return cast(Value, ca.sqrt(x) if is_symbolic(x) else np.sqrt(x))


def exp(x: Value) -> Value:
    """Exponential [-]."""
    return cast(Value, ca.exp(x) if is_symbolic(x) else np.exp(x))


def log(x: Value) -> Value:
    """Natural logarithm [-]."""
    return cast(Value, ca.log(x) if is_symbolic(x) else np.log(x))


def sin(x: Value) -> Value:
    """Sine of an angle [rad]."""
    return cast(Value, ca.sin(x) if is_symbolic(x) else np.sin(x))


def cos(x: Value) -> Value:
    """Cosine of an angle [rad]."""
    return cast(Value, ca.cos(x) if is_symbolic(x) else np.cos(x))


def tan(x: Value) -> Value:
    """Tangent of an angle [rad]."""
    return cast(Value, ca.tan(x) if is_symbolic(x) else np.tan(x))


def arcsin(x: Value) -> Value:
    """Angle [rad] whose sine is x."""
    return cast(Value, ca.asin(x) if is_symbolic(x) else np.arcsin(x))


def arctan2(y: Value, x: Value) -> Value:
    """Angle [rad] of the point (x, y)."""
    return cast(Value, ca.atan2(y, x) if is_symbolic(y, x) else np.arctan2(y, x))


def tanh(x: Value) -> Value:
    """Hyperbolic tangent [-]."""
    return cast(Value, ca.tanh(x) if is_symbolic(x) else np.tanh(x))


def stacked(values: Sequence[Value]) -> Value:
    """CasADi column of values, in their units [-]."""
    return cast(Value, ca.vertcat(*values))


def floor(x: Value) -> Value:
    """Largest whole number not above x [-]."""
    return cast(Value, ca.floor(x) if is_symbolic(x) else np.floor(x))


def rounded(x: Value, step: float) -> Value:
    """Multiple of a step nearest to x, in its unit [-]; x itself if the step is 0."""
    return x if step == 0.0 else floor(x / step + 0.5) * step


def rounded_up(x: Value, step: float) -> Value:
    """Smallest multiple of a step not below x, in its unit [-]; x itself if the step is 0."""
    return x if step == 0.0 else -floor(-x / step) * step


def absolute(x: Value) -> Value:
    """Magnitude, in the unit of x [-]."""
    return cast(Value, ca.fabs(x) if is_symbolic(x) else np.abs(x))


def maximum(a: Value, b: Value) -> Value:
    """Larger of two values, in their unit [-]."""
    return cast(Value, ca.fmax(a, b) if is_symbolic(a, b) else np.maximum(a, b))


def minimum(a: Value, b: Value) -> Value:
    """Smaller of two values, in their unit [-]."""
    return cast(Value, ca.fmin(a, b) if is_symbolic(a, b) else np.minimum(a, b))


def clip(x: Value, lower: Value, upper: Value) -> Value:
    """X held between two bounds, in its unit [-]."""
    return minimum(maximum(x, lower), upper)


def where(condition: Value, then: Value, otherwise: Value) -> Value:
    """`then` where the condition is true, else `otherwise`, in their unit [-]; both are evaluated."""
    symbolic = is_symbolic(condition, then, otherwise)
    return cast(Value, ca.if_else(condition, then, otherwise) if symbolic else np.where(condition, then, otherwise))
