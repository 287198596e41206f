"""A fixed piece of arithmetic whose time says how fast this machine is, so that numbers can be compared elsewhere.

One thread only, by numpy's own loops: a threaded product was seen to take fifteen times longer on a busy machine.
"""

from __future__ import annotations

import time

import numpy as np

SIZE = 200
PRODUCTS = 10
SENTENCE = f"{PRODUCTS} products of {SIZE} x {SIZE} matrices (numpy, one thread)"


def yardstick(repeats: int = 7) -> float:
    """Least time in seconds of ``PRODUCTS`` products of two fixed ``SIZE`` x ``SIZE`` matrices."""
    rng = np.random.default_rng(1)
    left, right = rng.random((SIZE, SIZE)), rng.random((SIZE, SIZE))
    times: list[float] = []
    for _ in range(repeats):
        began = time.perf_counter()
        product = left
        for _ in range(PRODUCTS):
            product = np.einsum("ij,jk->ik", product, right) / SIZE
        times.append(time.perf_counter() - began)
        if not np.all(np.isfinite(product)):
            raise ArithmeticError("the yardstick's product is not finite")
    return min(times)
