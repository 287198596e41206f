"""The one exception of the engine: a problem that is badly posed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


class ProblemFault(Exception):
    """A badly posed problem: unknown name, wrong shape, crossed bounds, missing dynamics, a value that is not finite.

    Parameters
    ----------
    message : what is wrong, one sentence.
    phase, variable : the names concerned, empty where none applies.
    index : position of the point or component concerned, counted from 0.
    """

    def __init__(self, message: str, phase: str = "", variable: str = "", index: int | None = None) -> None:
        where = [f"phase '{phase}'"] if phase else []
        where += [f"'{variable}'"] if variable else []
        where += [f"index {index}"] if index is not None else []
        super().__init__(f"{', '.join(where)}: {message}" if where else message)
        self.phase = phase
        self.variable = variable
        self.index = index


def numbers(value: object, phase: str, variable: str) -> NDArray[np.float64]:
    """What a user has given as an array of numbers [any unit], of its own shape.

    Raises
    ------
    ProblemFault : it is none.
    """
    try:
        return np.asarray(value, dtype=float)
    except (NotImplementedError, RuntimeError, TypeError, ValueError) as error:
        raise ProblemFault(f"expected numbers, got {value!r}", phase, variable) from error
