"""A kernel repeated over points: what the rows and the cost of a nonlinear program are made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optdescent.ocp.basis import Array, Index
from optdescent.ocp.kernel import Kernel


@dataclass(frozen=True)
class Piece:
    """A kernel repeated over points, and where its inputs and outputs sit.

    ``places`` (size, points) : values of the kernel's ``place``. ``columns`` (own, points) : column of the program
    of each leading local variable; ``common`` (rest,) : of the others. ``shared`` : entries of (parameters, scales)
    that the kernel sees. ``rows`` (outputs, points) : row that each
    output is added to; row -1 is the cost.
    """

    kernel: Kernel
    places: Array
    columns: Index
    common: Index
    shared: Index
    rows: Index

    @property
    def points(self) -> int:
        """Number of points."""
        return self.rows.shape[1]

    @property
    def where(self) -> Index:
        """(size of z, points) column of the program of every local variable."""
        return np.vstack([self.columns, np.repeat(self.common[:, None], self.points, axis=1)])
