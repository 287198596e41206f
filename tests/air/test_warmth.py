"""Temperature of a measured day, against the sounding's own temperatures and heights."""

from __future__ import annotations

import csv

import casadi as ca
import numpy as np
import pytest

from optdescent.air import Air, atmosphere
from optdescent.air.warmth import WARMTH, warmth_of
from optdescent.air.wind import ColumnField
from optdescent.air.wind.sounding import BUILT_IN, Sounding, read_sounding, sounding_text
from optdescent.inputs import InputFault

STILL = np.zeros(ColumnField().size)


def sounding(name: str) -> Sounding:
    return read_sounding(*sounding_text(name, None))


def day(name: str, offset: float = 0.0) -> Air:
    return Air(offset, 101325.0, 0.0, ColumnField(), STILL, warmth_of(sounding(name), name))


def levels(name: str) -> tuple[np.ndarray, np.ndarray]:
    """Pressure altitude and geopotential height [m] of the levels up to 14 km that were observed with a temperature."""
    rows = [row for row in csv.reader(sounding(name).text.splitlines()) if row and not row[0].startswith("#")][1:]
    pairs = [(100.0 * float(row[0]), float(row[1])) for row in rows if row[0] and row[1] and row[2]]
    pressure, height = (np.array(part) for part in zip(*pairs, strict=True))
    altitude = np.asarray(atmosphere.pressure_altitude(pressure))
    return altitude[altitude < 14000.0], height[altitude < 14000.0]


@pytest.mark.parametrize("name", BUILT_IN)
def test_temperatures_are_the_soundings_own(name: str) -> None:
    """Public soundings: 1.2 K root mean square; inversions thinner than the knots are smoothed."""
    own = sounding(name)
    altitude = np.asarray(atmosphere.pressure_altitude(own.pressure))
    off = np.asarray(day(name).temperature(altitude)) - own.temperature
    assert np.sqrt(np.mean(off[altitude < 14000.0] ** 2)) < 1.2


@pytest.mark.parametrize("name", BUILT_IN)
def test_heights_are_the_soundings_own(name: str) -> None:
    """The hydrostatic sum of the temperature against the reported heights, which hold the moisture too.

    Moist air is lighter: reported layers are thicker, by 20 m at most in these.
    """
    altitude, height = levels(name)
    rise = np.asarray(day(name).height(altitude))
    off = (rise - rise[0]) - (height - height[0])
    assert off.max() < 8.0
    assert off.min() > -40.0
    standard = Air(0.0, 101325.0, 0.0, ColumnField(), STILL)
    plain = np.asarray(standard.height(altitude))
    assert abs((plain - plain[0])[-1] - (height - height[0])[-1]) > abs(off[-1])


def test_no_warmth_is_the_standard_atmosphere() -> None:
    plain, zero = (Air(7.0, 101000.0, 100.0, ColumnField(), STILL, w) for w in (None, np.zeros(WARMTH.size)))
    for altitude in (-300.0, 3000.0, 12000.0):
        one, other = (air.sample(0.0, altitude, 0.0) for air in (plain, zero))
        assert float(one.temperature) == pytest.approx(float(other.temperature), abs=1e-12)
        assert float(one.height) == pytest.approx(float(other.height), abs=1e-9)


def test_the_offset_is_added_and_height_is_hydrostatic() -> None:
    air, step = day("norman-1999-05-04", 5.0), 0.5
    for altitude in (500.0, 4000.0, 11500.0):
        assert float(air.temperature(altitude)) == pytest.approx(
            float(day("norman-1999-05-04").temperature(altitude)) + 5.0
        )
        slope = (float(air.height(altitude + step)) - float(air.height(altitude - step))) / (2 * step)
        assert slope == pytest.approx(float(air.sample(0.0, altitude, 0.0).stretch), abs=1e-7)


def test_the_datum_is_at_its_elevation_whatever_the_day() -> None:
    for qnh in (98000.0, 101325.0, 104000.0):
        air = Air(4.0, qnh, 183.0, ColumnField(), STILL, day("norman-1999-05-04").warmth)
        assert float(air.height(air.datum_pressure_altitude())) == pytest.approx(183.0, abs=1e-9)


def test_expressions_and_parameters_give_the_same_numbers() -> None:
    altitude, numbers = ca.SX.sym("altitude"), ca.SX.sym("warmth", WARMTH.size)
    air = Air(2.0, 101325.0, 50.0, ColumnField(), ca.DM(STILL), numbers)
    function = ca.Function("air", [altitude, numbers], [air.temperature(altitude), air.height(altitude)])
    own = day("topeka-1999-05-04", 2.0)
    there = Air(2.0, 101325.0, 50.0, ColumnField(), STILL, own.warmth)
    for place in (-200.0, 2500.0, 9000.0, 13000.0):
        found = [float(value) for value in function(place, own.warmth)]
        assert found == pytest.approx([float(there.temperature(place)), float(there.height(place))], rel=1e-12)


def test_too_few_levels_and_pressures_that_rise_are_named() -> None:
    own = sounding("norman-1999-05-04")
    few = Sounding(own.title, own.height, own.east, own.north, own.pressure[:3], own.temperature[:3], own.text)
    with pytest.raises(InputFault, match=r"3 level\(s\) with pressure and temperature"):
        warmth_of(few, "few.csv")
    turned = Sounding(own.title, own.height, own.east, own.north, own.pressure[::-1], own.temperature, own.text)
    with pytest.raises(InputFault, match="pressures that fall"):
        warmth_of(turned, "turned.csv")
