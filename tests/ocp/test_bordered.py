"""What a factored optimality system with a border answers meets the system's own equations, whatever is live."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.sparse import block_array, csc_array, diags_array, dok_array

from optdescent.ocp.bordered import Bordered

SIZE, ROWS, SHIFT, SEEN = 2500, 100, 1e-8, 60
CHANGED = (0, 3, 170, SIZE - 1, SIZE + 5, SIZE + 99)


def system(crowded: int) -> tuple[csc_array, csc_array]:
    """A curve (SIZE, SIZE) whose first unknowns are seen by SEEN others each, and slopes (ROWS, SIZE) of two a row."""
    rng = np.random.default_rng(3)
    curve = dok_array((SIZE, SIZE))
    for unknown in range(crowded):
        for other in rng.choice(np.arange(crowded, SIZE), SEEN, replace=False).tolist():
            curve[unknown, other] = curve[other, unknown] = 0.2 * rng.standard_normal() / SEEN**0.5
    slope = dok_array((ROWS, SIZE))
    for row in range(ROWS):
        slope[row, 200 + 2 * row], slope[row, 201 + 2 * row] = 1.0 + rng.random(2)
    return csc_array(curve) + diags_array(4.0 + rng.random(SIZE), format="csc"), csc_array(slope)


@pytest.mark.parametrize("crowded", [0, 3, 59, 125], ids="{} crowded".format)
def test_any_number_of_crowded_unknowns_and_changes_of_the_working_set(crowded: int) -> None:
    curve, slope = system(crowded)
    diagonal = np.concatenate([np.full(SIZE, SHIFT), np.full(ROWS, -SHIFT)])
    whole = csc_array(block_array([[curve, slope.T], [slope, None]]) + diags_array(diagonal))
    right, given = np.random.default_rng(4).standard_normal((2, SIZE + ROWS))
    live = np.ones(SIZE + ROWS, dtype=bool)
    live[[10, 250, SIZE + 7]] = False
    held = Bordered(curve, slope, live, SHIFT)

    def check(now: NDArray[np.bool_]) -> None:
        found = held.solve(right, given)
        np.testing.assert_allclose((whole @ found)[now], right[now], atol=1e-9)
        np.testing.assert_allclose(found[~now], given[~now], atol=1e-9)

    check(live)
    now = live.copy()
    for unknown in CHANGED:
        held.toggle(unknown)
        now[unknown] = not now[unknown]
        check(now)
    held.reset()
    check(live)
