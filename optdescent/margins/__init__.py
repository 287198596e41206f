"""How far rules of thumb are from the optimum, and whether they hold."""

from optdescent.margins.margins import margins

__all__ = ["margins"]
