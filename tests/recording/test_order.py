"""Which rows of a recording come after an approach that is gone around."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.recording.order import climbing_away
from optdescent.units import FOOT


def rows(*corners_ft: tuple[int, float]) -> np.ndarray:
    """Altitudes [m], a row a second: straight lines between (second, altitude)."""
    seconds, altitudes = zip(*corners_ft, strict=True)
    return np.interp(np.arange(seconds[-1] + 1), seconds, altitudes) * FOOT


LANDED = rows((0, 9000.0), (500, 0.0))
AROUND = rows((0, 9000.0), (450, 800.0), (500, 2800.0))
LEVEL_FIRST = rows((0, 9000.0), (450, 800.0), (510, 800.0), (560, 2800.0))
BACK_TO_WHERE_IT_BEGAN = rows((0, 4000.0), (180, 800.0), (280, 4000.0), (300, 4000.0))
HIGHER_THAN_IT_BEGAN = rows((0, 4000.0), (180, 800.0), (320, 5200.0), (700, 0.0))
VECTORED_UP = rows((0, 9000.0), (300, 3500.0), (340, 4200.0), (600, 0.0))
LOW_AT_FIRST = rows((0, 3400.0), (60, 3400.0), (100, 4100.0), (400, 0.0))
FROM_TAKE_OFF = rows((0, 0.0), (600, 30000.0), (900, 30000.0), (2500, 0.0))
FAR_OUT = rows((0, 9000.0), (300, 3500.0), (360, 4600.0), (500, 4600.0))


@pytest.mark.parametrize(
    ("altitude", "first"),
    [
        (LANDED, None),
        (AROUND, 451),
        (LEVEL_FIRST, 511),
        (BACK_TO_WHERE_IT_BEGAN, 181),
        (HIGHER_THAN_IT_BEGAN, 181),
        (VECTORED_UP, None),
        (LOW_AT_FIRST, None),
        (FROM_TAKE_OFF, None),
        (FAR_OUT, 302),
    ],
)
def test_rows_after_the_lowest_of_an_approach_that_is_left(altitude: np.ndarray, first: int | None) -> None:
    """A climb counts after a descent, close to the aerodrome, or farther up where it never gets lower again."""
    away = climbing_away(altitude, 0.0)
    assert away.any() is np.bool_(first is not None)
    if first is not None:
        assert int(np.flatnonzero(away)[0]) == pytest.approx(first, abs=2)
        assert away[first + 2 :].all()


def test_a_spike_and_blanks_are_no_climb() -> None:
    altitude = LANDED.copy()
    altitude[480] = 9000.0 * FOOT
    altitude[450:470] = np.nan
    assert not climbing_away(altitude, 0.0).any()
    assert not climbing_away(np.full(50, np.nan), 0.0).any()
