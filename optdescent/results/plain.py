"""Results as plain dictionaries for JSON: every dimensional key carries its unit."""

from __future__ import annotations

from typing import Any

from optdescent.results.files import InputFault
from optdescent.results.flight import Flight, GateReport
from optdescent.results.margins import Margins
from optdescent.results.plausibility import PlausibilityLine, PlausibilitySheet
from optdescent.results.price import PRICES
from optdescent.results.provenance import CAUTION, Provenance, software_version
from optdescent.results.reading import Reading
from optdescent.results.schema import COLUMNS
from optdescent.results.solver import Slope, SolverRecord
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, MINUTE, NAUTICAL_MILE, UNITS

Plain = dict[str, Any]


def _number(value: float, digits: int) -> float | None:
    """Rounded number [-], or None where it is not one: JSON has no NaN."""
    return None if value != value else round(value + 0.0, digits)


def gate_plain(gate: GateReport) -> Plain:
    """A gate report; keys carry their unit [ft, kt, ft/min]."""
    return {
        "height_ft": _number(gate.height / FOOT, 0),
        "stable": gate.stable,
        "reasons": list(gate.reasons),
        "speed_kt": _number(gate.calibrated_airspeed / KNOT, 1),
        "reference_speed_kt": _number(gate.reference_speed / KNOT, 1),
        "sink_ft_per_min": _number(gate.sink / FOOT_PER_MINUTE, 0),
        "off_path_ft": _number(gate.off_path / FOOT, 0),
        "flaps": _number(gate.flaps, 2),
        "gear": _number(gate.gear, 2),
    }


def flight_plain(flight: Flight) -> Plain:
    """A flight's summary; keys carry their unit [kg, min, nm, ft, kt]."""
    summary = flight.summary
    plain: Plain = {
        "name": flight.name,
        "kind": flight.kind.value,
        "fuel_kg": _number(summary.fuel, 2),
        "time_min": _number(summary.time / MINUTE, 3),
        "top_of_descent_nm": _number(summary.top_of_descent / NAUTICAL_MILE, 2),
        "thrust_above_idle_nm": _number(summary.thrust_distance / NAUTICAL_MILE, 2),
        "thrust_above_idle_kg": _number(summary.thrust_fuel, 2),
        "speed_brake_nm": _number(summary.brake_distance / NAUTICAL_MILE, 2),
        "gate": gate_plain(summary.gate),
        "more_gates": [gate_plain(gate) for gate in summary.more_gates],
        "limits_kept": summary.keeps_every_limit,
        "breaches": [breach.sentence for breach in summary.breaches],
    }
    if flight.solver is not None:
        plain |= solver_plain(flight.solver)
    if flight.reading is not None:
        plain["reading"] = reading_plain(flight.reading)
    return plain


def reading_plain(reading: Reading) -> Plain:
    """How a recording was read; gaps in [s], each sigma in the unit beside it, None where it is not known."""
    return {
        **{key: value for key, value in reading.plain().items() if key not in ("gaps", "filled", "origins")},
        "filled": dict(reading.filled),
        "gaps": [
            {"quantity": gap.quantity, "begins_s": _number(gap.begins, 3), "ends_s": _number(gap.ends, 3)}
            for gap in reading.gaps
        ],
        "origins": [
            {
                "quantity": one.quantity,
                "source": one.source.value,
                "sentence": one.sentence,
                "sigma": _number(one.sigma, 9),
                "unit": COLUMNS[one.quantity].unit,
            }
            for one in reading.origins
        ],
    }


def solver_plain(solver: SolverRecord) -> Plain:
    """How an optimum was found and what it shows for itself; keys carry their unit [kg, nm, ft, kt]."""
    reflight = {
        "altitude_ft": _number(solver.reflight_altitude / FOOT, 4),
        "speed_kt": _number(solver.reflight_speed / KNOT, 5),
        "fuel_kg": _number(solver.reflight_fuel, 5),
    }
    return {
        "reflight": reflight,
        "solver": {
            "status": solver.status,
            "iterations": solver.iterations,
            "regularisation_kg": _number(solver.regularisation, 4),
            "regularisation_cost_kg": _number(solver.regularisation_cost, 4),
            "orders_tried": list(solver.orders),
        },
        "certificate": {
            "local_error": solver.local_error,
            "kkt": solver.optimality,
            "constraint_violation": solver.constraint_violation,
            "cost_error_kg": _number(solver.cost_error, 6),
            "lacking_curvature": _number(solver.lacking_curvature, 6),
            "reflight": reflight,
            "hamiltonian_drift": solver.hamiltonian_drift,
            "wrong_signs": solver.wrong_signs,
            "stationarity": _number(solver.stationarity, 9),
            "chatter": list(solver.chatter),
        },
        "sensitivity": [_slope_plain(slope) for slope in solver.sensitivity],
        "events": [
            {
                "event": event.name,
                "distance_nm": _number(event.distance_to_go / NAUTICAL_MILE, 3),
                "altitude_ft": _number(event.altitude / FOOT, 0),
                "speed_kt": _number(event.calibrated_airspeed / KNOT, 1),
                "time_min": _number(event.time / MINUTE, 3),
            }
            for event in solver.events
        ],
    }


def _slope_plain(slope: Slope) -> Plain:
    unit = UNITS[slope.unit]
    return {
        "quantity": slope.quantity,
        "per": unit.symbol,
        "cost_kg": _number(slope.cost * unit.factor, 4),
        "fuel_kg": _number(slope.fuel * unit.factor, 4),
        "thrust_to_idle_nm": _number(slope.idle_distance * unit.factor / NAUTICAL_MILE, 6),
    }


def provenance_plain(provenance: Provenance) -> Plain:
    """Where a result is from [-]."""
    return {
        "title": provenance.title,
        "digest": provenance.scenario_digest,
        "software_version": software_version(),
    }


def optimum_plain(flight: Flight) -> Plain:
    """What `optimise --json` prints; keys carry their unit [kg, min, nm, ft, kt]."""
    optimum = flight_plain(flight)
    shown = {key: optimum[key] for key in ("certificate", "sensitivity", "events") if key in optimum}
    return {"scenario": provenance_plain(flight.provenance), "optimum": optimum, **shown, "caution": CAUTION}


def margins_plain(margins: Margins) -> Plain:
    """What `margins --json` prints; keys carry their unit [kg, min, nm, ft, kt]."""
    optimum = margins.optimum
    rules: list[Plain] = []
    for flight in margins.flights[1:]:
        row = margins.table.sel(rule=flight.name, flight=flight.name)
        rules.append(
            {
                **flight_plain(flight),
                "title": str(row["rule_title"].item()),
                "source": str(row["rule_source"].item()),
                **{f"{name}_kg": _number(float(row[name].item()), 2) for name in PRICES},
            }
        )
    return {
        "scenario": provenance_plain(margins.provenance),
        "optimum": flight_plain(optimum),
        "rules": rules,
        "caution": CAUTION,
    }


def faults_plain(fault: InputFault) -> list[Plain]:
    """Faults of input files [-]."""
    return [{"file": one.file, "key": one.key, "given": one.given, "allowed": one.allowed} for one in fault.faults]


def plausibility_plain(sheet: PlausibilitySheet) -> Plain:
    """A plausibility sheet; keys carry their unit where a line has one, and an open end of a band is left out."""
    return {
        "title": sheet.title,
        "bands": [_band_plain(line) for line in sheet.lines],
        "missed": [line.what for line in sheet.missed],
        "at_odds_with_the_other_bands": [line.what for line in sheet.at_odds],
    }


def _band_plain(line: PlausibilityLine) -> Plain:
    unit = UNITS[line.unit]
    ends = {"value": line.value, "low": line.low, "high": line.high}
    suffix = f"_{unit.suffix}" if unit.suffix else ""
    return {
        "what": line.what,
        **{f"{key}{suffix}": _number(end / unit.factor, 6) for key, end in ends.items() if end is not None},
        "standing": line.standing.name.lower(),
        "conditions": line.conditions,
        "remark": line.remark,
        "source": line.source,
    }
