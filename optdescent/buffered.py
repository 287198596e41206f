"""CasADi functions on arrays that are held for them: what a call reads and writes stays where it is.

A call with arrays takes a quarter of a millisecond of conversions; one of these takes as long as the function itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import casadi as ca
import numpy as np
from numpy.typing import NDArray


class Buffered:
    """A function with an array for each argument and each result: the nonzeros of each, column by column, in its units.

    It is not for two threads at a time.
    """

    def __init__(
        self,
        function: ca.Function,
        arguments: Sequence[NDArray[np.float64]] | None = None,
        results: Sequence[NDArray[np.float64]] | None = None,
    ) -> None:
        sizes_in = [function.nnz_in(i) for i in range(function.n_in())]
        sizes_out = [function.nnz_out(i) for i in range(function.n_out())]
        self.arguments = [np.zeros(size) for size in sizes_in] if arguments is None else list(arguments)
        self.results = [np.zeros(size) for size in sizes_out] if results is None else list(results)
        # The buffer knows addresses only: it, and what it reads and writes, has to be kept.
        self._buffer, self._run = function.buffer()
        # CasADi's stubs ask for sizes that the memory views carry.
        writing: Any = self._buffer
        for i, argument in enumerate(self.arguments):
            writing.set_arg(i, argument.data)
        for i, result in enumerate(self.results):
            writing.set_res(i, result.data)

    def run(self) -> None:
        """Write the results for the arguments as they are."""
        self._run()

    def __call__(self, *values: Any) -> list[NDArray[np.float64]]:
        """The results, which the next call writes anew, for these values of the arguments (scalars or arrays)."""
        for argument, value in zip(self.arguments, values, strict=True):
            argument[:] = value
        self._run()
        return self.results
