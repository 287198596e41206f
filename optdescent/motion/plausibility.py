"""Whether an airframe looks like an aircraft: bands of textbooks and of the trade, and what it shows beside them.

The bands were written down from memory of the books named beside them. Decelerations are flown through the equations of
motion. Whether a band can be kept at all together with the others is flown too, with the slipperiest airframe that the
bands of lift over drag and of idle thrust allow: the same aircraft, its drag at every lift that of the best ratio.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from optdescent.air import atmosphere
from optdescent.air.airspeed import calibrated_from_mach
from optdescent.airframe import Airframe, Configuration
from optdescent.airframe.declaration import IdleCoefficients, TabulatedPolar
from optdescent.airframe.engine import idle_flow, idle_thrust
from optdescent.airframe.polar import best_glide, maximum_lift_coefficient
from optdescent.airframe.speeds import GEAR, gear_speed, manoeuvre_speed, selection_speed
from optdescent.motion.slowing import Slowing
from optdescent.results.plausibility import PlausibilityLine, PlausibilitySheet, Standing
from optdescent.units import DEGREE, FOOT, KILONEWTON, KNOT, NAUTICAL_MILE

CLEAN_RATIO = (16.0, 20.0)
APPROACH_RATIO = (11.0, 14.0)
LANDING_RATIO = (7.0, 9.0)
"""Best lift over drag [-]: clean; approach flaps, gear up; landing flaps, gear down."""
LANDING_LIFT = (2.2, 3.2)
IDLE_FLOW = (0.09, 0.13)
"""Idle fuel flow of one engine at low level [kg/s], in the class of rated thrust below."""
THRUST_CLASS = (100.0 * KILONEWTON, 140.0 * KILONEWTON)
IDLE_SHARE = 0.05
"""Largest idle net thrust over rated thrust [-]."""
KT_PER_NM = KNOT / NAUTICAL_MILE
LEVEL_APPROACH = (10.0 * KT_PER_NM, 15.0 * KT_PER_NM)
LEVEL_RUNNING_OUT = (20.0 * KT_PER_NM, 30.0 * KT_PER_NM)
PATH_GEAR = (10.0 * KT_PER_NM, 20.0 * KT_PER_NM)
PATH_CLEAN = (-5.0 * KT_PER_NM, 5.0 * KT_PER_NM)
"""Fall of calibrated airspeed per distance at idle [1/s]; the last is read from "about none"."""
THREE_DEGREES = math.tan(3.0 * DEGREE)
LOW = 2000.0 * FOOT
"""Pressure altitude [m] of the level stretches and of the idle fuel flow."""
SLOW_MACH = 0.25
"""Mach number [-] of the idle fuel flow."""
HIGHEST = 41000.0 * FOOT
CLEAN_STRETCH = 5.0 * NAUTICAL_MILE

RAYMER = "Raymer, Aircraft Design, 2018 (from memory)"
ROSKAM = "Roskam, Airplane Design, part VI, 1990 (from memory)"
MATTINGLY = "Mattingly, Elements of Propulsion, 2006 (from memory)"
TRADE = "common practice (from memory)"
BRIEFING = "Flight Safety Foundation, ALAR briefing note 4.2 (from memory)"


@dataclass(frozen=True)
class Steps:
    """The configurations that bands speak of: the approach step is the one after which the gear is lowered."""

    airframe: Airframe

    @property
    def last(self) -> int:
        """Number of the last step [-]."""
        return len(self.airframe.steps) - 1

    @property
    def approach(self) -> int:
        """Number of the approach step [-]."""
        return self.airframe.gear.after_step

    def out(self, step: int, gear: float) -> Configuration:
        """A step out, and how far the gear is [-]."""
        return Configuration(tuple(1.0 if number < step else 0.0 for number in range(self.last)), gear)


def plausibility(airframe: Airframe) -> PlausibilitySheet:
    """What an airframe shows beside each band [SI]."""
    steps = Steps(airframe)
    return PlausibilitySheet(
        airframe.title, (*_aerodynamics(steps), *_idle(airframe), *_on_path(steps), *_level(steps))
    )


def _line(
    what: str,
    value: float,
    band: tuple[float | None, float | None],
    unit: str,
    conditions: str,
    source: str,
    remark: str = "",
) -> PlausibilityLine:
    low, high = band
    is_inside = (low is None or value >= low) and (high is None or value <= high)
    standing = Standing.INSIDE if is_inside else Standing.MISSED
    return PlausibilityLine(what, value, low, high, unit, conditions, source, standing, remark)


def _aerodynamics(steps: Steps) -> list[PlausibilityLine]:
    airframe, landing = steps.airframe, steps.out(steps.last, 1.0)
    found = [
        _line(f"best lift over drag, {what}", best_glide(airframe, out)[0], band, "", "below the drag rise", RAYMER)
        for what, out, band in (
            ("clean", steps.out(0, 0.0), CLEAN_RATIO),
            (f"approach flaps ({airframe.steps[steps.approach].name}), gear up", steps.out(steps.approach, 0.0),
             APPROACH_RATIO),
            ("landing flaps, gear down", landing, LANDING_RATIO),
        )
    ]  # fmt: skip
    most = float(maximum_lift_coefficient(airframe, landing, 0.0))
    return [*found, _line("largest lift coefficient, landing flaps", most, LANDING_LIFT, "", "", ROSKAM)]


def _idle(airframe: Airframe) -> list[PlausibilityLine]:
    engines = airframe.engines
    rated, (low, high) = engines.rated_thrust, THRUST_CLASS
    scale = 1.0 if low <= rated <= high else rated / (0.5 * (low + high))
    said = f"class of {low / KILONEWTON:.0f}-{high / KILONEWTON:.0f} kN"
    if scale != 1.0:
        said = f"band of the {said} times {scale:.2f}, scaled from its middle with rated thrust"
    flow = float(idle_flow(airframe, atmosphere.pressure(LOW), SLOW_MACH)) / engines.count
    band = (IDLE_FLOW[0] * scale, IDLE_FLOW[1] * scale)
    place = f"{LOW / FOOT:.0f} ft, Mach {SLOW_MACH:g}; {rated / KILONEWTON:.0f} kN an engine: {said}"
    altitude, mach = np.meshgrid(np.linspace(0.0, HIGHEST, 42), np.linspace(0.0, airframe.limits.maximum_mach, 41))
    share = np.asarray(idle_thrust(airframe, atmosphere.pressure(altitude), mach)) / (engines.count * rated)
    slope = np.diff(share, axis=0) / np.diff(mach, axis=0)
    speed = np.asarray(calibrated_from_mach(mach, atmosphere.pressure(altitude)))
    flown = speed <= airframe.limits.maximum_speed
    over = "of rated, sea level to 41 000 ft, Mach 0 to the largest speed"
    return [
        _line("idle fuel flow of one engine", flow, band, "kg_per_s", place, TRADE),
        _line("idle net thrust, least", float(share[flown].min()), (0.0, None), "", over, TRADE),
        _line("idle net thrust, largest", float(share[flown].max()), (None, IDLE_SHARE), "", over, TRADE),
        _line(
            "change of idle net thrust per Mach number, largest", float(slope[flown[1:]].max()),
            (None, -0.001), "", f"{over}; it must fall", MATTINGLY,
        ),
    ]  # fmt: skip


def _at(mass: float, speed: float, altitude: float) -> str:
    return f"{mass:.0f} kg, {altitude / FOOT:.0f} ft, from {speed / KNOT:.0f} kt"


def _on_path(steps: Steps) -> list[PlausibilityLine]:
    airframe, mass = steps.airframe, steps.airframe.masses.most_landing
    fast, altitude = float(manoeuvre_speed(airframe, 0, mass)) + 20.0 * KNOT, LOW + CLEAN_STRETCH * THREE_DEGREES
    clean = Slowing(airframe, mass, altitude, fast, THREE_DEGREES, ())
    found = [
        _line(
            "slowing on a 3 degree path, clean", clean.deceleration_until(lambda flown, _s, _o: flown >= CLEAN_STRETCH),
            PATH_CLEAN, "kt_per_nm", f"{_at(mass, fast, altitude)} over {CLEAN_STRETCH / NAUTICAL_MILE:.0f} nm",
            BRIEFING, '"about none", read as less than 5 kt/nm either way',
        )
    ]  # fmt: skip
    begin = float(gear_speed(airframe, mass))
    end = float(selection_speed(airframe, steps.approach + 1, mass)) if steps.approach < steps.last else 0.9 * begin
    out = (*range(1, steps.approach + 1), GEAR)
    braked = Slowing(airframe, mass, LOW, begin, THREE_DEGREES, out)
    found.append(
        _line(
            "slowing on a 3 degree path, approach flaps and gear",
            braked.deceleration_until(lambda _flown, speed, _out: speed <= end),
            PATH_GEAR, "kt_per_nm", f"{_at(mass, begin, LOW)} to {end / KNOT:.0f} kt", BRIEFING,
        )
    )  # fmt: skip
    return found


def _level(steps: Steps) -> list[PlausibilityLine]:
    airframe, mass = steps.airframe, steps.airframe.masses.most_landing
    begin = airframe.steps[steps.approach].limit_speed or airframe.limits.maximum_speed
    end, approach = float(gear_speed(airframe, mass)), tuple(range(1, steps.approach + 1))
    count = steps.last + 1

    def with_flaps(flown: Airframe) -> float:
        slowing = Slowing(flown, mass, LOW, begin, 0.0, approach)
        return slowing.deceleration_until(lambda _flown, speed, _out: speed <= end)

    def running_out(flown: Airframe) -> float:
        slowing = Slowing(flown, mass, LOW, begin, 0.0, approach, running=True)
        return slowing.deceleration_until(lambda _flown, _speed, out: out >= count)

    last = Slowing(airframe, mass, LOW, begin, 0.0, approach, running=True).until(lambda _f, _s, out: out >= count)[1]
    all_out = Slowing(airframe, mass, LOW, last, 0.0, (*range(1, steps.last + 1), GEAR))
    rest = all_out.deceleration_until(lambda _flown, speed, _out: speed <= last - 5.0 * KNOT)
    slippery = slipperiest(steps)
    first = _line(
        "slowing in level flight, approach flaps", with_flaps(airframe), LEVEL_APPROACH, "kt_per_nm",
        f"{_at(mass, begin, LOW)}, the limit speed of {airframe.steps[steps.approach].name}, to {end / KNOT:.0f} kt",
        BRIEFING,
    )  # fmt: skip
    second = _line(
        "slowing in level flight, gear and landing flaps running out", running_out(airframe), LEVEL_RUNNING_OUT,
        "kt_per_nm",
        f"{_at(mass, begin, LOW)} with approach flaps; the rest selected on the schedule, until all is out at "
        f"{last / KNOT:.0f} kt",
        BRIEFING, f"mean of the whole stretch; once all is out it slows by {rest / KT_PER_NM:.0f} kt/nm",
    )  # fmt: skip
    return [
        _judged(first, with_flaps(slippery), APPROACH_RATIO),
        _judged(second, running_out(slippery), LANDING_RATIO),
    ]


def _judged(line: PlausibilityLine, least: float, ratio: Sequence[float]) -> PlausibilityLine:
    """A line outside its band is at odds with the others if the slipperiest airframe is outside it too."""
    if line.standing is Standing.INSIDE or line.high is None or least <= line.high:
        return line
    remark = (
        f"even with lift over drag {ratio[1]:g} and idle at {100.0 * IDLE_SHARE:.0f} % of rated, the slipperiest in "
        f"the bands above, it would slow by {least / KT_PER_NM:.0f} kt/nm at this mass, speed and rated thrust: no "
        "airframe can keep this band together with those"
    )
    return replace(line, standing=Standing.AT_ODDS, remark=remark)


def slipperiest(steps: Steps) -> Airframe:
    """The airframe with the least drag [-] and the most idle thrust that the bands above allow; it slows the least.

    Drag is lift over the best ratio of approach flaps at every lift coefficient, with the gear too, until the last step
    comes out; with that it is lift over the best ratio of the landing configuration.
    """
    airframe = steps.airframe
    lift = (0.0, 2.0, 4.0)

    def polar(number: int) -> TabulatedPolar:
        is_landing = number == steps.last > steps.approach
        slope = 1.0 / (LANDING_RATIO if is_landing else APPROACH_RATIO)[1]
        return TabulatedPolar(
            kind="table", lift_coefficient=lift, drag_coefficient=tuple(slope * value for value in lift)
        )

    made = tuple(step.model_copy(update={"polar": polar(number)}) for number, step in enumerate(airframe.steps))
    idle = IdleCoefficients.model_construct(
        kind="coefficients", thrust=IDLE_SHARE, thrust_by_mach=0.0, thrust_floor=1.0, flow=0.0, flow_by_pressure=0.0
    )
    return airframe.model_copy(
        update={
            "wing": airframe.wing.model_copy(update={"drag_rise_factor": 0.0}),
            "steps": made,
            "gear": airframe.gear.model_copy(update={"drag": 0.0}),
            "engines": airframe.engines.model_copy(update={"idle": idle}),
        }
    )
