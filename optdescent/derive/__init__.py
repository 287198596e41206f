"""Rules of thumb derived: the simplest that hold in a wanted share of conditions and cost least fuel."""

from optdescent.derive.declaration import DeriveDeclaration
from optdescent.derive.derive import Derived, Library, derive

__all__ = ["DeriveDeclaration", "Derived", "Library", "derive"]
