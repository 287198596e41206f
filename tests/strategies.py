"""Hypothesis strategies for the quantities of a descent, in SI."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import strategies as st

from optdescent.air import Air
from optdescent.airframe import Configuration, read_airframe
from optdescent.arrival import Track
from optdescent.motion import Control, State, Surroundings
from tests.simulation import COLUMN

KNOT = 1852.0 / 3600.0


def between(low: float, high: float) -> st.SearchStrategy[float]:
    """A finite number between two bounds, both possible."""
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


pressure_altitudes = between(-600.0, 19900.0)
descent_altitudes = between(0.0, 13000.0)
temperature_offsets = between(-40.0, 35.0)
qnhs = between(95000.0, 105000.0)
machs = between(0.05, 0.95)
courses = between(0.0, 2.0 * math.pi)
fractions = between(0.0, 1.0)
winds = between(-45.0, 45.0)
"""Each of two components: together always slower than the slowest true airspeed."""
masses = between(42000.0, 66000.0)
true_airspeeds = between(90.0, 240.0)
path_angles = between(math.radians(-8.0), 0.0)


@st.composite
def airs(draw: st.DrawFn) -> Air:
    """Air of any temperature and altimeter setting, with a wind that bends with height."""
    east = [draw(winds) for _ in COLUMN.heights]
    north = [draw(winds) for _ in COLUMN.heights]
    coefficients = np.asarray(COLUMN.from_values(east, north))
    return Air(draw(temperature_offsets), draw(qnhs), draw(between(0.0, 1500.0)), COLUMN, coefficients)


@st.composite
def surroundings(draw: st.DrawFn) -> Surroundings:
    """The built-in airframe in any such air on any course."""
    return Surroundings(read_airframe("narrow-body-twin"), draw(airs()), Track(draw(courses)))


states = st.builds(
    State,
    pressure_altitude=descent_altitudes,
    true_airspeed=true_airspeeds,
    path_angle=path_angles,
    mass=masses,
    time=between(0.0, 3000.0),
)
controls = st.builds(Control, load_factor=between(0.7, 1.3), thrust_fraction=fractions, speed_brake=fractions)
configurations = st.builds(Configuration, steps=st.tuples(*([fractions] * 4)), gear=fractions)
gradients = between(0.0, math.tan(math.radians(6.0)))

safe_text = st.text(st.characters(min_codepoint=97, max_codepoint=122), min_size=1, max_size=8)
toml_trees = st.recursive(
    st.integers(-5, 5) | st.booleans() | safe_text,
    lambda leaf: st.dictionaries(safe_text, leaf, max_size=3) | st.lists(leaf, max_size=3),
    max_leaves=8,
)
"""Anything a parsed TOML file may hold."""
