"""Whether rules can be flown from where a scenario starts: a descent that would have begun before is no comparison."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from optdescent.air.altitude import setting_shift
from optdescent.air.atmosphere import pressure
from optdescent.inputs import Fault, InputFault
from optdescent.rules.parts import Rule
from optdescent.rules.rule import Place, asked
from optdescent.scenario import Scenario
from optdescent.units import FOOT, NAUTICAL_MILE

_SPACING = 0.5 * NAUTICAL_MILE


def check_start(scenario: Scenario, rules: Sequence[Rule], name: str) -> None:
    """Check that each rule starts down between the scenario's start and its gate, in level cruise and no wind.

    Raises
    ------
    InputFault
        A rule asks for less than the cruise height [m] before the start, or for no less down to the gate; `name` is the
        file of the rules.
    """
    altitude = scenario.pressure_altitude(scenario.start.altitude)
    height = float(scenario.air.height(altitude)) - scenario.arrival.elevation
    length = scenario.start.distance
    x = np.linspace(-length, -scenario.arrival.gate.place(scenario.arrival.glide_path), round(length / _SPACING) + 2)
    place = Place(x, height, altitude, pressure(altitude), 0.0, scenario.start.mass, scenario.temperature_offset)
    shift, faults = setting_shift(scenario.qnh), list[Fault]()
    for index, rule in enumerate(rules):
        wanted = asked(rule, scenario.airframe, scenario.arrival, place, shift, scenario.start.mach).height
        wanted = np.broadcast_to(np.asarray(wanted, dtype=float), x.shape)
        key = f"rules[{index}].profile"
        if wanted[0] < height:
            given = (
                f"{rule.name} asks for {wanted[0] / FOOT:.0f} ft at the start, {length / NAUTICAL_MILE:.0f} nm to go"
            )
            allowed = f"{height / FOOT:.0f} ft or more, the cruise height: the descent would begin before the start"
            faults.append(Fault(name, key, given, allowed))
        elif not np.any(wanted < height):
            given = f"{rule.name} never asks for less than the cruise height, {height / FOOT:.0f} ft"
            faults.append(Fault(name, key, given, "a descent that begins before the gate"))
    if faults:
        raise InputFault(faults)
