"""Drag by configuration and idle thrust of an airframe from recorded flights, by the output-error method.

Model. The equations of `optdescent.motion` along short segments at idle, each in one settled configuration
(`identify.segments` names the columns, what is measured and what is assumed known; `identify.simulate` the unknowns).

Method. Each segment is flown again, its first state and an offset of the load factor unknown, and speed and pressure
altitude are compared with the recorded ones: output error. The other way, the energy equation with the recorded speed
differentiated, is simpler, but differentiating magnifies noise, and noise in the regressors biases what is found;
simulating does neither. Segments are short, because errors that the model does not have (noise of the load factor,
errors of wind and mass) add up along a segment; many segments with initial states of their own are multiple shooting.
The offset of the load factor and the free path angle take up most of what noise in the recorded load factor leaves.
Sources: Maine and Iliff, Identification of Dynamic Systems, NASA RP-1138 (1985): output error, Cramér-Rao bounds;
Jategaonkar, Flight Vehicle System Identification (2006): the same, multiple shooting, flight path reconstruction.

Noise. Speed and altitude have white noise, independent of each other, each of one size: given, or estimated from the
residuals. Standard errors are the Cramér-Rao bound from the information matrix. They do not hold what is assumed known:
an error of mass of one part in a hundred moves every drag coefficient by as much. Nor do they hold what happens between
points: a load factor that jumps there is taken as a straight line, which in descents that a rule's crew flew moved no
coefficient by more than half a standard error at a point a second.

Mass, temperature and wind are known; engine anti-ice is off; the track is straight. Turns of a scenario's track are
left out; without a scenario nothing tells a turn, and the recording must have none.
"""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import xarray as xr

from optdescent.airframe import Airframe
from optdescent.identify.airframe_file import airframe_text
from optdescent.identify.apart import CannotTell, Indistinct, indistinct
from optdescent.identify.coefficients import Coefficient, coefficients_of, fixed_values, local_indices, with_coefficient
from optdescent.identify.least_squares import UNKNOWN_NOISE, Array, Noise, Problem, Solved, solve
from optdescent.identify.segments import MeasuredSpeed, columns_used, segments_of
from optdescent.identify.simulate import Simulation
from optdescent.inputs import Fault, InputFault, validated
from optdescent.motion.state import anti_ice_of
from optdescent.optimum import NotConverged
from optdescent.results import Fit, Flight, Provenance
from optdescent.results.fit import fit_dataset
from optdescent.results.provenance import fingerprint
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT


@dataclass(frozen=True)
class Method:
    """How a fit is made: which speed was measured, noise, longest segment [s]."""

    speed: MeasuredSpeed = MeasuredSpeed.CALIBRATED
    noise: Noise = UNKNOWN_NOISE
    longest_segment: float = 90.0


DEFAULT_METHOD = Method()
"""Calibrated airspeed, noise estimated, segments of a minute and a half."""


class NotSettled(NotConverged):
    """The fit did not settle (exit status 4)."""

    def __init__(self) -> None:
        super().__init__("")
        self.args = (
            "the fit of coefficients did not settle; fix some of them, or look whether the recordings are of "
            "this airframe and air",
        )


@dataclass(frozen=True)
class Identified:
    """A fit, and the airframe with the fitted coefficients."""

    fit: Fit
    airframe: Airframe
    coefficients: tuple[Coefficient, ...]


_FIRST_NOISE = (0.5 * KNOT, 10.0 * FOOT)
"""Noise of speed [m/s] and altitude [m] that weighs the first steps, where it is not given."""


def identify(
    flights: Sequence[tuple[str, Flight]],
    airframe: Airframe,
    name: str = "airframe",
    scenario: Scenario | None = None,
    fixed: Sequence[str] = (),
    method: Method = DEFAULT_METHOD,
) -> Identified:
    """Coefficients of an airframe from named flights [-, see `identify.coefficients`].

    Parameters
    ----------
    flights : sequence of (str, Flight)
        Recordings, each with the name that messages give it.
    airframe : Airframe
        What is declared: where the fit starts, and everything that is not fitted.
    name : str
        What messages call the airframe.
    scenario : Scenario, optional
        Air to take wind and temperature from, in place of the flights' own columns.
    fixed : sequence of str
        `KEY=VALUE` or `KEY` (the declared value) of coefficients that are not fitted.
    method : Method
        Measured speed, noise, length of segments.

    Raises
    ------
    InputFault
        A flight or airframe that cannot be used, with file, column and rows.
    CannotTell
        Coefficients that the data do not tell apart.
    NotConverged
        The fit does not settle.
    """
    coefficients = coefficients_of(airframe, name)
    known = fixed_values(fixed, coefficients)
    if scenario is not None and anti_ice_of(scenario) is not None:
        allowed = "off: the idle of recordings with engine anti-ice is another"
        raise InputFault([Fault("--scenario", "handling.anti_ice", "is on", allowed)])
    segments = segments_of(flights, airframe, method.speed, scenario, method.longest_segment)
    start = np.array([known.get(one.key, one.declared) for one in coefficients])
    free = np.array([place for place, one in enumerate(coefficients) if one.key not in known], dtype=np.intp)
    if not free.size:
        raise InputFault([Fault("--fix", "", "every coefficient is fixed", "at least one that is fitted")])
    acting = np.array([local_indices(coefficients, one.step) for one in segments])
    problem = Problem(Simulation(airframe, method.speed, segments), acting, free)
    solved = _solved(problem, coefficients, start, method.noise)
    values = solved.point.values
    made = airframe
    for one, value in zip(coefficients, values, strict=True):
        made = with_coefficient(made, one.role, one.step, float(value))
    asked = _provenance(flights, airframe, known, method, scenario)
    names = tuple(flight for flight, _ in flights)
    found = Identified(Fit(_dataset(problem, coefficients, solved, names), asked), made, coefficients)
    _check(found, ", ".join(names))
    return found


def _check(found: Identified, names: str) -> None:
    """Refuse values that an airframe cannot have: the recordings are not of it, or what is assumed known is wrong."""
    try:
        validated(Airframe, tomllib.loads(airframe_text(found.airframe, found.fit)), names)
    except InputFault as fault:
        given = "value found is none that an airframe can have"
        raise InputFault([replace(one, given=f"{given} ({one.given})") for one in fault.faults]) from fault


def _solved(problem: Problem, coefficients: Sequence[Coefficient], values: Array, noise: Noise) -> Solved:
    """Fit, refused before it begins and once it has settled where the data do not tell coefficients apart."""
    deviation = np.array(
        [
            first if given is None else given
            for given, first in zip((noise.speed, noise.altitude), _FIRST_NOISE, strict=True)
        ]
    )
    start, free = problem.start(values), [coefficients[int(place)] for place in problem.free]
    segments = problem.simulation.segments
    rows = problem.linearised(start, deviation).rows
    _refuse(indistinct(free, values[problem.free], rows, segments, float("inf")))
    solved = solve(problem, start, deviation, noise)
    if solved is None:
        _refuse(indistinct(free, values[problem.free], rows, segments))
        raise NotSettled
    _refuse(indistinct(free, solved.point.values[problem.free], solved.normal.rows, segments))
    return solved


def _refuse(reasons: tuple[Indistinct, ...]) -> None:
    if reasons:
        raise CannotTell(reasons)


def _dataset(
    problem: Problem, coefficients: Sequence[Coefficient], solved: Solved, names: tuple[str, ...]
) -> xr.Dataset:
    """Coefficients with their standard errors, and the residuals point by point [SI]."""
    count = len(coefficients)
    error, correlation = np.zeros(count), np.full((count, count), np.nan)
    covariance = solved.normal.covariance()
    error[problem.free] = np.sqrt(np.diag(covariance))
    between = np.ix_(problem.free, problem.free)
    correlation[between] = covariance / np.outer(error[problem.free], error[problem.free])
    segments, points = problem.simulation.segments, problem.simulation.is_point
    residuals = problem.residuals(solved.point)[points]

    def along(values: Sequence[float]) -> Array:
        return np.repeat(np.asarray(values, dtype=float), [one.size for one in segments])

    return fit_dataset(
        keys=tuple(one.key for one in coefficients),
        sentences=tuple(one.sentence for one in coefficients),
        flights=names,
        columns={
            "declared": np.array([one.declared for one in coefficients]),
            "value": solved.point.values,
            "standard_error": error,
            "is_fixed": np.isin(np.arange(count), problem.free, invert=True).astype(float),
            "correlation": correlation,
            "flight": along([one.flight for one in segments]),
            "segment": along(range(len(segments))),
            "configuration": along([one.step for one in segments]),
            "gear": along([one.gear for one in segments]),
            "time": np.concatenate([one.time for one in segments]),
            "speed": np.concatenate([one.speed for one in segments]),
            "pressure_altitude": np.concatenate([one.altitude for one in segments]),
            "speed_residual": residuals[:, 0],
            "altitude_residual": residuals[:, 1],
            "speed_noise": solved.deviation[0],
            "altitude_noise": solved.deviation[1],
        },
    )


def _provenance(
    flights: Sequence[tuple[str, Flight]],
    airframe: Airframe,
    known: dict[str, float],
    method: Method,
    scenario: Scenario | None,
) -> Provenance:
    """All that was asked, as text, with a digest of every recorded number that was read."""
    columns = columns_used(method.speed, scenario)
    digests = {
        name: hashlib.sha256(b"".join(flight.column(column).tobytes() for column in columns)).hexdigest()
        for name, flight in flights
    }
    asked = {
        "airframe": airframe.model_dump(mode="json"),
        "flights": digests,
        "fixed": known,
        "speed": method.speed.value,
        "noise": [method.noise.speed, method.noise.altitude],
        "longest_segment": method.longest_segment,
        "scenario": scenario.text if scenario is not None else None,
    }
    text = json.dumps(asked, sort_keys=True, indent=1)
    count = len(flights)
    title = f"{airframe.title}: coefficients from {count} recorded flight{'s' if count > 1 else ''}"
    return Provenance(title, text, fingerprint(text))
