"""Smooth functions and tables that read the same for numbers, arrays and CasADi expressions."""

from optdescent.curves.elementary import Value
from optdescent.curves.tables import CubicTable

__all__ = ["CubicTable", "Value"]
