"""What an airframe file declares: every number of one aircraft, none of them in code."""

from __future__ import annotations

from typing import Literal

from optdescent.inputs import Declared, Number, choice, entry, quantity, series, whole


class Wing(Declared):
    """Reference area and drag rise."""

    area: float = quantity("m2", 5, 1000, "reference wing area")
    drag_rise_mach: float = quantity("", 0.5, 0.95, "Mach number above which compressibility drag appears")
    drag_rise_factor: float = quantity("", 0, 200, "drag coefficient per fourth power of Mach above it")


class Masses(Declared):
    """Mass limits."""

    least: float = quantity("kg", 1000, 600000, "least mass in flight")
    most: float = quantity("kg", 1000, 600000, "largest mass in flight")
    most_landing: float = quantity("kg", 1000, 600000, "largest landing mass")


class ParabolicPolar(Declared):
    """Drag coefficient, gear up, as zero-lift drag and a part that grows with lift squared."""

    kind: Literal["coefficients"] = entry("zero-lift and induced drag")
    zero_lift_drag: float = quantity("", 0.005, 0.3, "zero-lift drag coefficient, gear up")
    induced_drag_factor: float = quantity("", 0.01, 0.2, "drag coefficient per lift coefficient squared")


class TabulatedPolar(Declared):
    """Drag coefficient, gear up, over lift coefficient: a cubic spline, a straight line outside the table."""

    kind: Literal["table"] = entry("drag coefficient over lift coefficient")
    lift_coefficient: tuple[Number, ...] = series("", -1, 5, "lift coefficients, rising, three or more")
    drag_coefficient: tuple[Number, ...] = series("", -1, 2, "drag coefficient at each, gear up")


class Step(Declared):
    """One step of slats and flaps."""

    name: str = entry("name of the step")
    polar: ParabolicPolar | TabulatedPolar = choice("drag below the drag rise; `kind` says which form")
    maximum_lift: float = quantity("", 0.5, 4, "maximum lift coefficient, gear effect neglected")
    limit_speed: float | None = quantity("kt", 80, 400, "largest calibrated airspeed with the step out", default=None)
    travel_time: float = quantity("s", 1, 60, "time to travel from the step before", default=1.0)


class Gear(Declared):
    """Landing gear."""

    drag: float = quantity("", 0, 0.1, "drag coefficient added by the gear")
    limit_speed: float = quantity("kt", 100, 400, "largest calibrated airspeed to extend it or to fly with it down")
    travel_time: float = quantity("s", 1, 60, "time to extend")
    after_step: int = entry("step of the flaps after which a crew lowers it on the normal schedule")


class SpeedBrake(Declared):
    """Speed brake."""

    drag: float = quantity("", 0, 0.2, "drag coefficient added at full travel")
    lift_loss: float = quantity("", 0, 1, "maximum lift coefficient lost at full travel")
    limit_speed: float | None = quantity("kt", 100, 450, "largest calibrated airspeed with it out", default=None)
    last_step: int = entry("last step of the flaps with which it may be used")
    travel_time: float = quantity("s", 0.5, 20, "time to full travel")


class Limits(Declared):
    """Limits of the clean aircraft and of the crew's handling."""

    maximum_speed: float = quantity("kt", 150, 450, "largest calibrated airspeed, clean")
    maximum_mach: float = quantity("", 0.4, 0.95, "largest Mach number")
    least_load_factor: float = quantity("", 0, 1, "least normal load factor in normal handling")
    most_load_factor: float = quantity("", 1, 2.5, "largest normal load factor in normal handling")


class SpeedFactors(Declared):
    """Operating speeds as multiples of the stall speed at one g of the step flown."""

    reference: float = quantity("", 1.23, 1.6, "reference speed for landing over stall speed, last step")
    manoeuvre: float = quantity("", 1.13, 2.0, "least manoeuvring speed over stall speed, every step but the last")
    selection_margin: float = quantity(
        "kt", 0, 20, "a step is selected this much above the manoeuvring speed before it"
    )
    with_speed_brake: float = quantity(
        "",
        1.13,
        2.0,
        "least speed with the speed brake out over the stall speed that its lift loss gives",
        default=1.23,
    )
    holding_margin: float = quantity(
        "kt", 0.5, 10, "a crew that holds a step keeps this much above the speed that selects the next"
    )


class IdleCoefficients(Declared):
    """Idle of one engine as coefficients.

    With the pressure ratio d = p/p0: thrust = rated (thrust + thrust_by_mach M) (thrust_floor + (1 - thrust_floor) d),
    flow = flow + flow_by_pressure d.
    """

    kind: Literal["coefficients"] = entry("linear in Mach number and in pressure")
    thrust: float = quantity("", -0.05, 0.2, "idle net thrust over rated thrust at sea level and Mach 0")
    thrust_by_mach: float = quantity("", -0.3, 0, "change of that with Mach number")
    thrust_floor: float = quantity("", 0, 1, "part of idle thrust that does not fall with pressure")
    flow: float = quantity("kg_per_s", 0, 2, "idle fuel flow of one engine, part that does not fall with pressure")
    flow_by_pressure: float = quantity("kg_per_s", 0, 2, "idle fuel flow of one engine, part proportional to d")


class IdleTable(Declared):
    """Idle of one engine over Mach number and pressure altitude: cubic splines, straight lines outside the table."""

    kind: Literal["table"] = entry("over Mach number and pressure altitude")
    mach: tuple[Number, ...] = series("", 0, 1, "Mach numbers, rising, three or more")
    pressure_altitude: tuple[Number, ...] = series("ft", -2000, 65000, "pressure altitudes, rising, three or more")
    thrust: tuple[tuple[Number, ...], ...] = series("kn", -60, 120, "net thrust: a row each altitude, one each Mach")
    flow: tuple[tuple[Number, ...], ...] = series("kg_per_s", 0, 2, "fuel flow: a row each altitude, one each Mach")


Idle = IdleCoefficients | IdleTable
"""What `engines.idle` and `engines.anti_ice_idle` may hold; `kind` decides."""


class Engines(Declared):
    """Engines, all alike.

    With the density ratio s: largest thrust = rated s^maximum_thrust_power (1 + maximum_thrust_by_mach M); flow at
    largest thrust = thrust times (specific_flow + specific_flow_by_mach M); between idle and largest thrust flow is
    linear in thrust. A flown rule's thrust follows its lever with the time constant `spool_time`.
    """

    count: int = whole(1, 8, "number of engines")
    rated_thrust: float = quantity("kn", 1, 600, "rated static thrust of one engine at sea level")
    idle: Idle = choice("idle of one engine; `kind` says which form")
    anti_ice_idle: Idle | None = choice("idle of one engine with engine anti-ice on: raised", default=None)
    maximum_thrust_power: float = quantity("", 0.3, 1.2, "exponent of the density ratio in largest thrust")
    maximum_thrust_by_mach: float = quantity("", -0.8, 0, "change of largest thrust with Mach number")
    specific_flow: float = quantity("kg_per_n_s", 1e-6, 5e-5, "fuel flow per thrust at largest thrust, Mach 0")
    specific_flow_by_mach: float = quantity("kg_per_n_s", 0, 5e-5, "change of that with Mach number")
    spool_time: float = quantity("s", 0.2, 15, "time constant of thrust after a thrust lever movement")


class Airframe(Declared):
    """One aircraft, as its file declares it, in SI."""

    title: str = entry("what the aircraft is; invented ones say so")
    source: str = entry("where the numbers are from")
    wing: Wing = entry("wing")
    masses: Masses = entry("mass limits")
    steps: tuple[Step, ...] = entry("clean first, then each step of slats and flaps in the order of extension")
    gear: Gear = entry("landing gear")
    speed_brake: SpeedBrake = entry("speed brake")
    limits: Limits = entry("limits")
    speeds: SpeedFactors = entry("operating speeds")
    engines: Engines = entry("engines")
