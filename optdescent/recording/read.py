"""A recorded approach to a flight: read, cleaned, put on a grid, what is missing worked out, and judged as any other.

What is done, in this order:

1. Cells to numbers in SI (`values`); a cell that cannot be read is blank and counted.
2. Rows in the order of time (`order`); units that cannot be right (`suspect`) and frozen columns (`frozen`).
3. Points at equal steps of time (`grid`), gaps kept; smoothing (`smooth`) if the map asks for it.
4. Altitude, airspeeds, distance to go, wind, path (`met`, `place`), devices, mass, thrust, load factor (`handled`).
5. The columns of every flight by `motion.record`, with its summary, gate and breaches.

Sigmas. A recorded column has the sigma of its map, or the one seen in it (`scatter`). What is worked out has the sigma
that follows from its inputs at first order, taken as independent; slopes have that of white noise in their window.
Errors that stay the same along a flight (a misaligned static port, a wrong mass) are in no sigma. Breaches are judged
no finer than four sigmas of the column they are about (`motion.excess`); the gate is judged as it was read.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import assert_never

import numpy as np

from optdescent.air.wind.direction import towards
from optdescent.airframe import Configuration
from optdescent.airframe.speeds import reference_speed
from optdescent.curves.elementary import Value
from optdescent.motion import Control, Measured, State, Trajectory, record, surroundings
from optdescent.motion.equations import flown_thrust
from optdescent.motion.record import LEFT_CRUISE
from optdescent.recording import handled, met, place
from optdescent.recording.declaration import ColumnMap, Forces, read_columns
from optdescent.recording.doubts import Doubts
from optdescent.recording.frozen import without_frozen
from optdescent.recording.grid import grid_of, on_grid
from optdescent.recording.known import Known
from optdescent.recording.met import unknown
from optdescent.recording.order import Aerodrome, flown_part, in_order, profile_of
from optdescent.recording.quantity import QUANTITIES, Course
from optdescent.recording.rough import altitude as rough_altitude
from optdescent.recording.scatter import propagated, resolution, scatter
from optdescent.recording.smooth import smoothed
from optdescent.recording.suspect import check_units
from optdescent.recording.table import digest_of, read_table
from optdescent.recording.values import Raw, read_values
from optdescent.results import Flight, Kind
from optdescent.results.reading import LeftOut, Origin, Reading, Source
from optdescent.results.schema import COLUMNS
from optdescent.scenario import Scenario
from optdescent.units import GRAVITY


@dataclass(frozen=True)
class Recording:
    """A recorded flight, and how it was read."""

    flight: Flight
    reading: Reading

    @property
    def derived(self) -> dict[str, Origin]:
        """Columns that were not recorded, by name: how each was had, in a sentence, and its one sigma [SI]."""
        sources = (Source.DERIVED, Source.ASSUMED)
        return {origin.quantity: origin for origin in self.reading.origins if origin.source in sources}

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Rows that were not used, and why [-]."""
        return self.reading.left_out

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to know before trusting it [-]."""
        return self.reading.warnings


def read_recording(path: str | Path, columns: str | Path | ColumnMap, scenario: Scenario) -> Recording:
    """Flight of a recording [SI].

    Parameters
    ----------
    path : str or Path
        CSV file with a header, or netCDF file.
    columns : str, Path or ColumnMap
        Map of its columns, or the file of one.
    scenario : Scenario
        Airframe, arrival and air that the recording is compared with; its values stand in for what is not recorded.

    Raises
    ------
    InputFault
        Every fault of the map or of the recording: file, column, rows, what is allowed.
    """
    asked = columns if isinstance(columns, ColumnMap) else read_columns(columns)
    table, doubts = read_table(Path(path), asked)
    count = int(table.rows.size) + sum(len(one.rows) for one in doubts.left_out)
    raw = _checked(read_values(table, asked, doubts), asked, scenario, doubts)
    known = _known(raw, asked, doubts)
    smoothing = _smooth(known, asked)
    _work_out(known, raw, asked, scenario, doubts)
    trajectory = _trajectory(known, asked, scenario)
    _tell_gaps(doubts)
    reading = Reading(
        file=str(path),
        digest=digest_of(Path(path), asked),
        counted=doubts.counted,
        rows=count,
        points=known.time.size,
        grid=known.grid.sentence,
        smoothing=smoothing,
        left_out=tuple(doubts.left_out),
        gaps=tuple(doubts.gaps),
        filled=tuple(doubts.filled),
        origins=_origins(known, asked, scenario),
        warnings=tuple(doubts.warnings),
        is_gone_around=doubts.is_gone_around,
    )
    flight = record(scenario, _measured(known, trajectory, asked, reading), Kind.RECORDING, asked.title)
    return Recording(flight, reading)


def _checked(raw: Raw, asked: ColumnMap, scenario: Scenario, doubts: Doubts) -> Raw:
    """Rows in order, with plausible units, nothing frozen, of the descent."""
    raw = in_order(raw, doubts)
    slowest = float(reference_speed(scenario.airframe, scenario.airframe.masses.least))
    there = Aerodrome(scenario.arrival.elevation, slowest)
    profile = profile_of(raw, rough_altitude(raw), there)
    check_units(raw, profile.away, asked, scenario, doubts)
    thawed = without_frozen(raw, asked, doubts)
    if thawed.left_blank(raw):
        profile = profile_of(thawed, rough_altitude(thawed), there)
    return flown_part(thawed, profile, doubts)


def _known(raw: Raw, asked: ColumnMap, doubts: Doubts) -> Known:
    """Recorded columns on the grid, each with its sigma."""
    grid = grid_of(raw, asked, doubts)
    known = Known(grid, asked.reading.slopes)
    for name, values in on_grid(raw, grid, asked, doubts).items():
        column = asked.columns[name]
        given = name in raw.sigma
        sigma = raw.sigma[name] if given else _sigma_of(raw, name)
        told = f"column {column.column!r}, sigma {'of the map' if given else 'from its scatter and resolution'}"
        known.put(name, values, Origin(name, Source.RECORDED, told, sigma))
    if known.has("wind_from", "wind_speed"):
        values = [known.column("wind_from"), known.column("wind_speed")]
        sigmas = [known.sigma("wind_from"), known.sigma("wind_speed")]
        for name, part in (("wind_east", _east), ("wind_north", _north)):
            found, sigma = propagated(part, values, sigmas)
            known.put(name, found, Origin(name, Source.DERIVED, "", sigma))
    return known


def _east(wind_from: Value, speed: Value) -> Value:
    return towards(wind_from, speed)[0]


def _north(wind_from: Value, speed: Value) -> Value:
    return towards(wind_from, speed)[1]


def _sigma_of(raw: Raw, name: str) -> float:
    """One sigma [SI] seen in a column; of what is moved by hand only its scatter."""
    values = raw.values[name]
    course = QUANTITIES[name].course
    match course:
        case Course.SMOOTH:
            return max(scatter(values), resolution(values))
        case Course.TURNING:
            turned = np.unwrap(values[np.isfinite(values)])
            return max(scatter(turned), resolution(turned))
        case Course.MOVED:
            return scatter(values)
    assert_never(course)


def _smooth(known: Known, asked: ColumnMap) -> str:
    """Smooth what goes on smoothly; says what was done."""
    window = asked.reading.smoothing
    slopes = f"slopes by parabolas over {asked.reading.slopes:g} s"
    if window <= 0.0:
        return f"values as recorded; {slopes}"
    for name in list(known.columns):
        quantity = QUANTITIES.get(name)
        if quantity is not None and quantity.course is Course.MOVED:
            continue
        values, gain = smoothed(known.columns[name], known.grid.step, window)
        before = known.origins[name]
        known.put(name, values, Origin(name, before.source, before.sentence, before.sigma * gain))
    return f"parabolas of least squares (Savitzky and Golay) over {window:g} s; {slopes}"


def _work_out(known: Known, raw: Raw, asked: ColumnMap, scenario: Scenario, doubts: Doubts) -> None:
    """What is not recorded, from what is [SI]."""
    met.add_altitude(known, scenario)
    met.add_airspeed(known, scenario, doubts)
    met.add_height(known, scenario)
    place.add_distance(known, asked, scenario, doubts)
    place.within(known, raw, doubts)
    place.add_course(known, scenario)
    met.add_wind(known, scenario, doubts)
    handled.add_devices(known, raw, asked, scenario, doubts)
    handled.add_mass(known, asked, scenario, doubts)
    handled.add_thrust(known)
    handled.add_load_factor(known)


def _trajectory(known: Known, asked: ColumnMap, scenario: Scenario) -> Trajectory:
    """State, control and configuration; thrust by the airframe where the map asks for it."""
    steps = len(scenario.airframe.steps) - 1
    out = Configuration.at_position(known.column("flaps"), known.column("gear"), steps)
    state = State(
        known.column("pressure_altitude"),
        known.column("true_airspeed"),
        known.column("flight_path_angle"),
        known.column("mass"),
        known.time - known.time[0],
    )
    control = Control(known.column("load_factor"), known.column("thrust_fraction"), known.column("speed_brake"))
    known.origins["time"] = Origin("time", Source.RECORDED, f"since the first point, at {known.time[0]:.3f} s", 0.0)
    made = Trajectory(-known.column("distance_to_go"), state, control, out)
    if asked.forces is Forces.AIRFRAME and not known.has("thrust_fraction"):
        control = _thrusting(known, made, scenario)
        made = Trajectory(made.distance, state, control, made.configuration)
    return made


def _thrusting(known: Known, made: Trajectory, scenario: Scenario) -> Control:
    """Control with the thrust fraction [-] that the energy of the flight asks of the airframe."""
    speeding, jitter = known.slope("true_airspeed")
    flown = made.distance, made.state, made.control, made.configuration
    fraction, at = flown_thrust(met.sample_of(known), surroundings(scenario), *flown, speeding)
    needed = np.asarray(fraction, dtype=float)
    span = float(np.nanmean(np.asarray(at.forces.largest - at.forces.idle, dtype=float)))
    mass = float(np.nanmean(known.column("mass")))
    sink = float(np.hypot(jitter, GRAVITY * known.sigma("flight_path_angle")))
    told = f"by the airframe's drag and the flight's energy, over {known.window:g} s"
    known.columns.pop("thrust_fraction")
    known.fill("thrust_fraction", needed, mass * sink / span, told)
    return Control(made.control.load_factor, needed, made.control.speed_brake)


_OF_THE_AIRFRAME = ("thrust", "drag", "lift_coefficient")
_AS_MEASURED = (
    "calibrated_airspeed",
    "ground_speed",
    "vertical_speed",
    "fuel_flow",
    "fuel_used",
    "bank",
)


def _measured(known: Known, made: Trajectory, asked: ColumnMap, reading: Reading) -> Trajectory:
    """The trajectory with the air as met and the columns that go before those of the equations."""
    nothing = np.full(known.time.size, np.nan)
    columns = {name: known.columns[name] for name in _AS_MEASURED if known.has(name)}
    match asked.forces:
        case Forces.NONE:
            columns |= dict.fromkeys(_OF_THE_AIRFRAME, nothing)
            columns |= {name: nothing for name in ("fuel_flow", "fuel_used") if name not in columns}
        case Forces.AIRFRAME:
            if "fuel_used" not in columns:
                columns["fuel_used"] = nothing
        case _:
            assert_never(asked.forces)
    measured = Measured(met.sample_of(known), columns, _descends_from(known), reading)
    return Trajectory(made.distance, made.state, made.control, made.configuration, measured=measured)


def _origins(known: Known, asked: ColumnMap, scenario: Scenario) -> tuple[Origin, ...]:
    """Where each column of the schema is from."""
    found = {name: origin for name, origin in known.origins.items() if name in COLUMNS}
    by_airframe = asked.forces is Forces.AIRFRAME
    source = Source.DERIVED if by_airframe else Source.UNKNOWN
    told = f"by {scenario.airframe.title}" if by_airframe else "not asked for (forces = 'none')"
    _, energy = propagated(
        _energy_height,
        [known.column("altitude"), known.column("true_airspeed")],
        [known.sigma("altitude"), known.sigma("true_airspeed")],
    )
    more = [
        *(Origin(name, source, told, float("nan")) for name in (*_OF_THE_AIRFRAME, "fuel_flow", "fuel_used")),
        Origin("configuration", found["flaps"].source, "the nearest step of slats and flaps", 0.0),
        Origin("bank", Source.DERIVED, "from the turns of the scenario's track", float("nan")),
        Origin("specific_energy_height", Source.DERIVED, "from altitude and true airspeed", energy),
        Origin("reference_speed", Source.DERIVED, "from mass, by the airframe", float("nan")),
        Origin("limit_speed", Source.DERIVED, "from airframe, devices and arrival", float("nan")),
        *(unknown(name, "a recording follows no rule") for name in ("rule_height", "rule_speed")),
    ]
    found = {origin.quantity: origin for origin in more} | found
    return tuple(found[name] for name in COLUMNS)


def _energy_height(altitude: Value, true: Value) -> Value:
    return altitude + true**2 / (2.0 * GRAVITY)


def _descends_from(known: Known) -> int:
    """Point [-] after which the flight is below its highest level for good."""
    altitude, margin = known.column("pressure_altitude"), max(LEFT_CRUISE, 4.0 * known.sigma("pressure_altitude"))
    level = float(np.median(altitude[altitude > np.nanmax(altitude) - 2.0 * margin])) - margin
    return min(int(np.flatnonzero(altitude >= level)[-1]) + 1, altitude.size - 1)


def _tell_gaps(doubts: Doubts) -> None:
    """Warn of gaps [s], by quantity."""
    for name in dict.fromkeys(gap.quantity for gap in doubts.gaps):
        own = [gap for gap in doubts.gaps if gap.quantity == name]
        whole = sum(gap.ends - gap.begins for gap in own)
        doubts.warn(f"{name.replace('_', ' ')}: {len(own)} gap{'s' if len(own) > 1 else ''}, {whole:.0f} s in all")
