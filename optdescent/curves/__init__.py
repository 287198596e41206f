"""Smooth functions and tables that read the same for numbers, arrays and CasADi expressions."""

from optdescent.curves.elementary import Value
from optdescent.curves.sheets import CubicSheet
from optdescent.curves.tables import CubicTable

__all__ = ["CubicSheet", "CubicTable", "Value"]
