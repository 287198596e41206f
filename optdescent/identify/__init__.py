"""Airframe numbers from flown data: drag by configuration and idle thrust, with standard errors, or a refusal."""

from optdescent.identify.airframe_file import airframe_text
from optdescent.identify.apart import CannotTell, Indistinct
from optdescent.identify.fit import Identified, Method, identify
from optdescent.identify.least_squares import Noise
from optdescent.identify.segments import MeasuredSpeed

__all__ = [
    "CannotTell",
    "Identified",
    "Indistinct",
    "MeasuredSpeed",
    "Method",
    "Noise",
    "airframe_text",
    "identify",
]
