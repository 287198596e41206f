"""Invented recordings: six descents of our own crew, five with a seeded mistake, as a recorder would hold them.

No aircraft and no person flew them. The truth beside each says what was done wrong and when, and is not read off by the
rules that a debrief finds it with: places are those at which the crew was told to err, and the time at which a device
was due is that of the same flight without the mistake.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

from optdescent.airframe.speeds import GEAR
from optdescent.debrief.track import selected_at
from optdescent.inputs import Fault, InputFault
from optdescent.results import Flight
from optdescent.results.debrief import Subject
from optdescent.results.provenance import CAUTION
from optdescent.rules import Rule
from optdescent.rules.parts import Use, When, always_high, always_low
from optdescent.rules.stretches import Stretch, flown_in_stretches
from optdescent.scenario import Scenario
from optdescent.scenario.technique import PERFECT
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
_SECOND_STEP = 2
_WITHOUT_BRAKE = PERFECT.model_copy(
    update={
        "brake_from_height": 5000.0 * FOOT,
        "brake_full_height": 6000.0 * FOOT,
        "brake_from_speed": 80.0 * KNOT,
        "brake_full_speed": 100.0 * KNOT,
    }
)


@dataclass(frozen=True)
class Mistake:
    """What was done wrong, and when [s]."""

    subject: Subject
    time: float


@dataclass(frozen=True)
class Rehearsal:
    """One invented recording: its name, what it shows, the scenario, the flight, the truth."""

    name: str
    title: str
    scenario: Scenario
    flight: Flight
    mistakes: tuple[Mistake, ...]


@dataclass(frozen=True)
class Script:
    """How a recording comes about: stretches, the places of the mistakes, the device selected late and its subject."""

    name: str
    title: str
    stretches: tuple[Stretch, ...]
    places: tuple[tuple[Subject, float], ...] = ()
    late: tuple[int, Subject] | None = None


def scripts(scenario: Scenario, rule: Rule, steep: Rule, from_above: Rule) -> tuple[Script, ...]:
    """The six: by a rule that allows for speed, one that does not, and one that captures the path from above [SI]."""
    below_within = scenario.arrival.glide_path.below_within
    nm = NAUTICAL_MILE
    far, level = 1000.0 * nm, rule.model_copy(update={"when": (*rule.when, *_level_off())})
    return (
        Script("good", "nothing done wrong", (Stretch(far, rule, PERFECT),)),
        Script(
            "brake-in-and-out",
            "high; the speed brake stowed at 27 nm while still high, and used again at 19 nm",
            (
                Stretch(far, steep, _WITHOUT_BRAKE),
                Stretch(31.0 * nm, rule, PERFECT),
                Stretch(27.0 * nm, rule, _WITHOUT_BRAKE),
                Stretch(19.0 * nm, rule, PERFECT),
            ),
            ((Subject.BRAKE_STOWED, 27.0 * nm),),
        ),
        Script(
            "slow-to-configure",
            "a tailwind; high and fast, neither gear nor second step before 5 nm",
            (
                Stretch(far, steep, PERFECT),
                # the gear follows this step in the schedule: it stays in without being held back
                Stretch(25.0 * nm, rule, PERFECT, frozenset({_SECOND_STEP})),
                Stretch(5.0 * nm, rule, PERFECT),
            ),
            late=(_SECOND_STEP, Subject.FLAPS_LATE),
        ),
        Script(
            "levelled-at-capture",
            "levelled off at 14.5 nm where the descent had to go on, and flown through the glide path",
            (
                Stretch(far, rule, PERFECT),
                Stretch(14.5 * nm, level, PERFECT),
                Stretch(11.5 * nm, rule, PERFECT),
            ),
            ((Subject.LEVELLED, 14.5 * nm), (Subject.CAPTURED_FROM_ABOVE, below_within)),
        ),
        Script(
            "from-above",
            "level from 14.5 nm too, and the glide path captured from above with the gear down",
            (
                Stretch(far, rule, PERFECT),
                Stretch(14.5 * nm, level, PERFECT),
                Stretch(10.5 * nm, from_above, PERFECT),
            ),
            ((Subject.LEVELLED, 14.5 * nm), (Subject.CAPTURED_FROM_ABOVE, below_within)),
        ),
        Script(
            "late-gear",
            "the gear not selected before 3.6 nm",
            (
                Stretch(far, rule, PERFECT),
                Stretch(20.0 * nm, rule, PERFECT, frozenset({GEAR})),
                Stretch(3.6 * nm, rule, PERFECT),
            ),
            late=(GEAR, Subject.GEAR_LATE),
        ),
    )


def _level_off() -> tuple[When, ...]:
    """Whatever the height, level."""
    least = -10000.0 * FOOT
    return always_high(Use.LEVEL, 0.0, least), always_low(Use.LEVEL, 0.0, least)


def rehearsals(scenario: Scenario, rule: Rule, steep: Rule, from_above: Rule) -> tuple[Rehearsal, ...]:
    """Each script flown [SI]: rules as `scripts` has them.

    Raises
    ------
    InputFault
        The scenario begins nearer than a mistake is made, or the descent without one is not stable at the gate.
    """
    asked = scripts(scenario, rule, steep, from_above)
    farthest = max(stretch.begins for script in asked for stretch in script.stretches[1:])
    start = scenario.start.distance
    if start <= farthest:
        allowed = f"more than {farthest / NAUTICAL_MILE:.0f} nm: crews err from there on"
        raise InputFault([Fault("rehearse", "start.distance_nm", f"got {start / NAUTICAL_MILE:g} nm", allowed)])
    good, *others = asked
    first = rehearsed(good, scenario)
    gate = first.flight.summary.gate
    if not gate.stable:
        given = f"by {rule.name} a perfect crew is not stable at {gate.height / FOOT:.0f} ft: {'; '.join(gate.reasons)}"
        raise InputFault([Fault("rehearse", "scenario", given, "one in which nothing done wrong is stable")])
    return (first, *(rehearsed(script, scenario) for script in others))


def rehearsed(script: Script, scenario: Scenario) -> Rehearsal:
    """The flight of a script, with its truth [SI]."""
    flight = flown_in_stretches(scenario, script.stretches, script.name)
    found = [Mistake(subject, _time_at(flight, place)) for subject, place in script.places]
    if script.late is not None:
        found.append(_late(script, scenario, *script.late))
    found += [Mistake(subject, time) for subject, time in _ends(flight, scenario)]
    return Rehearsal(script.name, script.title, scenario, flight, tuple(sorted(found, key=lambda one: one.time)))


def _late(script: Script, scenario: Scenario, number: int, subject: Subject) -> Mistake:
    """A device that is selected late: it was due when the same crew, left alone, selects it."""
    stretches = tuple(replace(stretch, not_selected=frozenset()) for stretch in script.stretches)
    alone = flown_in_stretches(scenario, stretches, script.name)
    out = alone.column("gear") if number == GEAR else np.clip(alone.column("flaps") - (number - 1.0), 0.0, 1.0)
    at = selected_at(out)
    assert at is not None
    return Mistake(subject, float(alone.column("time")[at]))


def _time_at(flight: Flight, place: float) -> float:
    """When the crew first looks from a distance to go [m] on: what it does there it does from then on."""
    return float(flight.column("time")[np.argmax(flight.column("distance_to_go") <= place)])


def _ends(flight: Flight, scenario: Scenario) -> list[tuple[Subject, float]]:
    """Unstable at the gate, by the verdict on the flight itself: when it passes the gate's height, or at its end."""
    if flight.summary.gate.stable:
        return []
    height, time = flight.column("height_above_threshold"), flight.column("time")
    below = np.flatnonzero(height < scenario.arrival.gate.height)
    if not below.size:
        return [(Subject.UNSTABLE, float(time[-1]))]
    passed = int(below[0])
    share = (height[passed - 1] - scenario.arrival.gate.height) / (height[passed - 1] - height[passed])
    return [(Subject.UNSTABLE, float(time[passed - 1] + share * (time[passed] - time[passed - 1])))]


_COLUMNS: tuple[tuple[str, str, str, float, float, int], ...] = (
    ("time", "time_s", "s", 1.0, 0.0, 1),
    ("distance_to_go", "distance_nm", "nm", NAUTICAL_MILE, 30.0, 4),
    ("pressure_altitude", "altitude_ft", "ft", FOOT, 3.0, 0),
    ("calibrated_airspeed", "airspeed_kt", "kt", KNOT, 0.3, 1),
    ("ground_speed", "ground_speed_kt", "kt", KNOT, 0.4, 1),
    ("vertical_speed", "vertical_speed_ft_per_min", "ft/min", FOOT_PER_MINUTE, 0.2, 0),
    ("temperature", "temperature_k", "K", 1.0, 0.3, 1),
    ("flaps", "flaps_step", "step", 1.0, 0.0, 2),
    ("gear", "gear", "fraction", 1.0, 0.0, 2),
    ("speed_brake", "speed_brake", "fraction", 1.0, 0.0, 2),
    ("thrust_fraction", "thrust", "fraction", 1.0, 0.003, 3),
    ("mass", "mass_kg", "kg", 1.0, 0.0, 0),
)
"""Quantity, column, unit of a map, its factor to SI, one sigma of noise [SI], digits."""


def csv_of(rehearsal: Rehearsal, seed: int, every: float = 1.0) -> str:
    """The recording as CSV: a row each second [s], with noise of sensors drawn by a seed."""
    flight, random = rehearsal.flight, np.random.default_rng(seed)
    time = flight.column("time")
    at = np.arange(0.0, float(time[-1]), every)
    text = io.StringIO()
    text.write(f"# INVENTED: {rehearsal.title}; flown by the project's own model of a crew, noise by seed {seed}\n")
    text.write(f"# {CAUTION}\n")
    columns: list[list[str]] = []
    for name, _, _, factor, sigma, digits in _COLUMNS:
        noisy = _values(flight, name, at) + random.normal(0.0, 1.0, at.size) * sigma
        columns.append([f"{value + 0.0:.{digits}f}" for value in noisy / factor])
    text.write(",".join(column for _, column, *_ in _COLUMNS) + "\n")
    text.writelines(",".join(row) + "\n" for row in zip(*columns, strict=True))
    return text.getvalue()


def _values(flight: Flight, name: str, at: Array) -> Array:
    """A column at some times [s]: height and distance by their rates, the rest straight between the looks [SI]."""
    time, values = flight.column("time"), flight.column(name)
    if name == "time":
        return at
    if name in ("distance_to_go", "pressure_altitude"):
        rates = -flight.column("ground_speed") if name == "distance_to_go" else np.gradient(values, time)
        return np.asarray(CubicHermiteSpline(time, values, rates)(at), dtype=float)
    return np.interp(at, time, values)


def map_of() -> str:
    """The map of columns of the invented recordings, as TOML."""
    lines = ["# Columns of the invented recordings in this folder.", 'title = "invented descent"', ""]
    for name, column, unit, factor, sigma, _ in _COLUMNS:
        lines += [f"[columns.{name}]", f'column = "{column}"', f'unit = "{unit}"']
        if sigma:
            lines.append(f"sigma = {sigma / factor:.4g}")
        lines.append("")
    return "\n".join(lines)


def truth_of(rehearsals: Sequence[Rehearsal]) -> str:
    """What was done wrong in each recording, and when, as TOML [s]."""
    lines = ["# What the invented recordings of this folder were made to show, and when [s after the first row].", ""]
    for one in rehearsals:
        lines += [f"[{one.name}]", f'title = "{one.title}"', f"stable = {str(one.flight.summary.gate.stable).lower()}"]
        mistakes = ", ".join(
            f'{{ subject = "{mistake.subject.name.lower()}", time_s = {mistake.time:.1f} }}' for mistake in one.mistakes
        )
        lines += [f"mistakes = [{mistakes}]", ""]
    return "\n".join(lines)
