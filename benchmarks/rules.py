"""Rules flown in thousands: ``python -m benchmarks.rules [-n FLIGHTS]``.

The same descents of the narrow-body through the first study's measured wind, each at its own mass and temperature,
three ways on one core: all at once (`rules.many`), one by one by the same steps, and one by one by scipy's
`solve_ivp` between the same looks: to a loose tolerance, whose flights are as near as is asked, and to a tight one. The
last is what accuracy is measured against: height and speed at the gate. (A crew that decides all the time instead of at
looks makes the equations slide along its thresholds: `solve_ivp` takes 90 000 evaluations of the rates for one such
flight.) Rates are flights in a second of the processor; ratios within one run; a yardstick's time stands beside them.
A second table has the slowest rule's rate, the least ratio and the largest differences beside what is asked.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import casadi as ca
import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from benchmarks.tables import markdown, write_csv
from benchmarks.yardstick import SENTENCE, yardstick
from optdescent.air.airspeed import calibrated_at
from optdescent.rules import Rule, read_rules
from optdescent.rules.fleet import AT_A_TIME, flown_together
from optdescent.rules.fly import flown_by, looks, pilot_of, starts_of
from optdescent.rules.judged import judged
from optdescent.rules.lane import DEVICES, Half
from optdescent.rules.pilot import Pilot
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT

Array = NDArray[np.float64]
STUDY = Path(__file__).parents[1] / "studies" / "first_descent" / "scenario.toml"
TIGHT, LOOSE = 1e-6, 1e-2
"""Tolerances of `solve_ivp`, relative."""
RATIOS = ("what", "measured", "asked", "met")
WITH_PARTS = ("brake-kept", "second-step-by-capture")
"""Rules of the library that are flown beside the plain ones: with uses of the brake, and with devices by places."""
ALONE, REFERENCE = 12, 6
"""Flights taken one by one, and by `solve_ivp`."""


def scenarios(count: int) -> list[Scenario]:
    """The study's scenario with masses and temperatures drawn, the first one as it is."""
    base, random = Scenario.from_toml(STUDY), np.random.default_rng(0)
    drawn = zip(random.uniform(54000.0, 66000.0, count), random.normal(0.0, 8.0, count), strict=True)
    others = [
        replace(base, start=base.start.model_copy(update={"mass": float(mass)}), temperature_offset=float(warmer))
        for mass, warmer in drawn
    ]
    return [base, *others[1:]]


def solved(pilot: Pilot, scenario: Scenario, tolerance: float) -> tuple[float, float, int]:
    """Height [m] and calibrated airspeed [m/s] where the gate is on the glide path, by `solve_ivp`, and evaluations.

    The crew looks where it looks in the flights taken together; between two looks the motion under its orders is
    integrated to a tolerance.
    """
    parameters, lanes = (columns[:, 0] for columns in starts_of(pilot, [scenario]))
    rates = _rates(pilot)
    x, place = looks(scenario.start.distance), -pilot.arrival.gate.place(pilot.arrival.glide_path)
    lane, used = lanes, 0
    for here, length in zip(x, np.diff(x), strict=False):
        found = pilot.step(lane, here, length, 0.0, parameters)
        after, load_factor = (np.asarray(part).ravel() for part in found[:2])
        held = _held(pilot, lane, load_factor), _held(pilot, after, load_factor)
        motion = partial(_motion, rates, parameters, here, length, held)
        end = min(here + length, place)
        flown = solve_ivp(motion, (here, end), lane[:5], method="RK45", rtol=tolerance, atol=tolerance)
        used += flown.nfev
        lane = np.concatenate([flown.y[:, -1], after[5:]])
        if end == place:
            break
    return *_seen(pilot, lane, parameters), used


def _motion(
    rates: ca.Function,
    parameters: Array,
    x: float,
    dx: float,
    held: tuple[Array, Array],
    at: float,
    state: Array,
) -> Array:
    """Rates of a state at a coordinate under orders held, what lags going from where it is to where it will be."""
    share = (at - x) / dx
    return np.asarray(rates(np.concatenate([state, held[0] + share * (held[1] - held[0])]), at, parameters)).ravel()


def _rates(pilot: Pilot) -> ca.Function:
    """Rates by distance of a state under orders held: (state, control and devices; coordinate; parameters)."""
    x, values = ca.SX.sym("x"), ca.SX.sym("half", Half.size(pilot.shape.steps))
    parameters = ca.SX.sym("parameters", pilot.parameters)
    found = Half.unpacked(values, pilot.shape.steps).rates(pilot.world(parameters), x)
    return ca.Function("rates", [values, x, parameters], [ca.vertcat(*vars(found).values())], {"cse": True})


def _held(pilot: Pilot, lane: Array, load_factor: Array) -> Array:
    """Control and devices of a lane, as a `Half` has them."""
    return np.concatenate([load_factor, lane[5:7], lane[DEVICES : DEVICES + pilot.shape.steps + 1]])


def _seen(pilot: Pilot, lane: Array, parameters: Array) -> tuple[float, float]:
    air = pilot.world(parameters).air
    height = float(air.height(lane[0])) - pilot.arrival.elevation
    sound = float(air.speed_of_sound(lane[0]))
    return height, float(calibrated_at(lane[1], lane[0], sound))


def main() -> None:
    """Fly, compare and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-n", "--flights", type=int, default=2 * AT_A_TIME)
    parser.add_argument("-o", "--output", type=Path, default=Path(__file__).parent / "out")
    asked = parser.parse_args()
    asked.output.mkdir(parents=True, exist_ok=True)
    unit, flown = yardstick(), scenarios(asked.flights)
    header = (
        "rule",
        "flights a second",
        "one by one",
        "solve_ivp, loose",
        "ratio to it",
        "its height ft",
        "its speed kt",
        "solve_ivp, tight",
        "height ft",
        "speed kt",
        "evaluations, loose and tight",
    )
    rows: list[tuple[str, ...]] = []
    with_parts = [rule for rule in read_rules("library") if rule.name in WITH_PARTS]
    for rule in (*read_rules(), *with_parts):
        rows.append(measured(rule, flown))
        print(markdown(header, rows[-1:]), flush=True)
    print(markdown(header, rows))
    write_csv(asked.output / "rules.csv", header, rows)
    ratios = beside_asked([dict(zip(header, row, strict=True)) for row in rows])
    print(markdown(RATIOS, ratios))
    write_csv(asked.output / "rules_ratios.csv", RATIOS, ratios)
    print(f"Yardstick {1e3 * unit:.1f} ms: {SENTENCE}.")


def beside_asked(rows: Sequence[Mapping[str, str]]) -> list[tuple[str, ...]]:
    """The worst of all rules beside what is asked."""

    def worst(name: str, told: str, asked: float, *, at_least: bool) -> tuple[str, ...]:
        values = [float(row[name]) for row in rows]
        found = min(values) if at_least else max(values)
        is_met = found >= asked if at_least else found <= asked
        return told, f"{found:g}", f"at {'least' if at_least else 'most'} {asked:g}", "yes" if is_met else "no"

    return [
        worst("flights a second", "flights a second, slowest rule", 2000.0, at_least=True),
        worst("ratio to it", "flights a second beside solve_ivp, loose", 100.0, at_least=True),
        worst("its height ft", "height at the gate, solve_ivp, loose from tight, ft", 10.0, at_least=False),
        worst("its speed kt", "speed at the gate, solve_ivp, loose from tight, kt", 1.0, at_least=False),
        worst("height ft", "height at the gate from solve_ivp, tight, ft", 10.0, at_least=False),
        worst("speed kt", "speed at the gate from solve_ivp, tight, kt", 1.0, at_least=False),
    ]


def measured(rule: Rule, flown: list[Scenario]) -> tuple[str, ...]:
    """One rule as a row: rates, and the largest difference from the reference at the gate."""
    pilot = pilot_of(flown[0], rule)
    flown_together(pilot, flown[:2])
    flown_by(pilot, flown[0])
    began = time.process_time()
    for first in range(0, len(flown), AT_A_TIME):
        parameters, flights = flown_together(pilot, flown[first : first + AT_A_TIME])
        judged(pilot, flights, parameters, ())
    together = len(flown) / (time.process_time() - began)
    began = time.process_time()
    for scenario in flown[:ALONE]:
        flown_by(pilot, scenario)
    alone = ALONE / (time.process_time() - began)
    _, flights = flown_together(pilot, flown[:REFERENCE])
    place = pilot.arrival.gate.place(pilot.arrival.glide_path)
    height, speed = flights.at(flights.height, place), flights.at(flights.speed, place)
    tight, loose = (by_tolerance(pilot, flown[:REFERENCE], tolerance) for tolerance in (TIGHT, LOOSE))
    of_loose, own = (np.max(np.abs(one - tight.found), axis=0) for one in (loose.found, np.array([height, speed]).T))
    return (
        rule.name,
        f"{together:.0f}",
        f"{alone:.1f}",
        f"{loose.rate:.2f}",
        f"{together / loose.rate:.0f}",
        f"{of_loose[0] / FOOT:.1f}",
        f"{of_loose[1] / KNOT:.2f}",
        f"{tight.rate:.2f}",
        f"{own[0] / FOOT:.1f}",
        f"{own[1] / KNOT:.2f}",
        f"{loose.evaluations}, {tight.evaluations}",
    )


@dataclass(frozen=True)
class Solved:
    """Height [m] and speed [m/s] at the gate (flight, 2), flights a second, mean evaluations of the rates."""

    found: Array
    rate: float
    evaluations: int


def by_tolerance(pilot: Pilot, flown: list[Scenario], tolerance: float) -> Solved:
    """Flights by `solve_ivp` to a relative tolerance."""
    began = time.process_time()
    all_of_them = np.array([solved(pilot, scenario, tolerance) for scenario in flown])
    seconds = time.process_time() - began
    return Solved(all_of_them[:, :2], len(flown) / seconds, int(all_of_them[:, 2].mean()))


if __name__ == "__main__":
    main()
