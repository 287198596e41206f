"""A flown rule sees the airframe's spool time, the limit speed of the speed brake and the raised idle."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from optdescent.results import Flight
from optdescent.rules import fly, read_rules
from optdescent.scenario import Scenario
from optdescent.units import KNOT
from tests.airframe.test_read import BUILT_IN_TEXT, changed, written
from tests.scenario.files import STUDY

RULE = read_rules()[0]


def flown(tmp_path: Path, text: str, *settings: str) -> Flight:
    path = written(tmp_path, text)
    return fly(Scenario.from_toml(STUDY, ("air.wind.kind=none", f'airframe="{path}"', *settings)), RULE)


def test_thrust_follows_its_lever_with_the_spool_time(tmp_path: Path) -> None:
    """The fastest rise and fall of the thrust fraction is at most its distance from the order over the spool time."""
    rates = []
    for spool in ("1.0", "8.0"):
        flight = flown(tmp_path, changed(spool_time_s=spool))
        thrust, time = flight.column("thrust_fraction"), flight.column("time")
        rates.append(float(np.max(np.abs(np.diff(thrust) / np.diff(time)))))
        assert rates[-1] <= 1.0 / float(spool)
    assert rates[1] < 0.5 * rates[0]


def test_the_brake_stays_in_above_its_limit_speed(tmp_path: Path) -> None:
    text = BUILT_IN_TEXT.replace("[speed_brake]", "[speed_brake]\nlimit_speed_kt = 240")
    free, limited = flown(tmp_path, BUILT_IN_TEXT), flown(tmp_path, text)

    def fastest(flight: Flight) -> float:
        out = flight.column("speed_brake") > 0.05
        return float(np.max(flight.column("calibrated_airspeed")[out], initial=0.0)) / KNOT

    assert fastest(free) > 250.0
    assert fastest(limited) < 241.0
    out = limited.column("speed_brake") > 0.05
    assert np.all(limited.column("limit_speed")[out] <= 240.0 * KNOT + 1e-9)


def test_raised_idle_takes_more_brake_or_more_distance(tmp_path: Path) -> None:
    off, on = flown(tmp_path, BUILT_IN_TEXT), flown(tmp_path, BUILT_IN_TEXT, "handling.anti_ice.kind=on")
    assert on.summary.brake_distance > off.summary.brake_distance
