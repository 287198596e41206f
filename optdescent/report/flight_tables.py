"""Tables of flights: their numbers, what was not kept, what the crew did, and what an optimum shows for itself."""

from __future__ import annotations

import math

from optdescent.results import Flight, Kind, SolverRecord
from optdescent.results.price import NOT_STABLE, price
from optdescent.results.tables import Heading, Table, Value
from optdescent.units import FOOT, KNOT, UNITS

FLIGHT = Heading("flight", "flight", is_text=True)
DISTANCE = Heading("distance", "to go", "nm")
_SLOPE_STEP = 0.01
"""What derivatives are rounded to: a hundredth of a kilogram or mile for each unit."""


def flight_table(flights: tuple[Flight, ...], told: frozenset[str]) -> tuple[Table, ...]:
    """A row for each flight of one scenario but those told already, by name: costs, and how it is at the gate."""
    optimum = next((flight for flight in flights if flight.kind is Kind.OPTIMUM), None)
    rows = tuple(_row(one, optimum) for one in flights if one.name not in told)
    if not rows:
        return ()
    headings = (
        FLIGHT,
        Heading("kind", "kind", is_text=True),
        Heading("fuel", "fuel", "kg"),
        *([Heading("fuel_above_optimum", "fuel above the optimum", "kg", absent=NOT_STABLE)] if optimum else []),
        Heading("time", "time", "min"),
        Heading("top_of_descent", "top of descent", "nm"),
        Heading("thrust_distance", "thrust above idle", "nm"),
        Heading("thrust_fuel", "fuel of it", "kg"),
        Heading("brake_distance", "speed brake", "nm"),
        Heading("gate_speed", "speed at the gate", "kt"),
        Heading("gate_sink", "sink rate there", "ft_per_min"),
        Heading("gate_off_path", "over the glide path there", "ft"),
        Heading("gate_stable", "stable there"),
        Heading("limits_kept", "limits kept"),
    )
    return (Table("flights", "Flights", headings, rows, source=flights[0].provenance.source),)


def _row(flight: Flight, optimum: Flight | None) -> tuple[Value, ...]:
    summary, gate = flight.summary, flight.summary.gate
    is_there = gate.reached
    return (
        flight.name,
        flight.kind.value,
        summary.fuel,
        *([price(flight, optimum)] if optimum else []),
        summary.time,
        summary.top_of_descent,
        summary.thrust_distance,
        summary.thrust_fuel,
        summary.brake_distance,
        gate.calibrated_airspeed if is_there else None,
        gate.sink if is_there else None,
        gate.off_path if is_there else None,
        gate.stable,
        summary.keeps_every_limit,
    )


def miss_table(flights: tuple[Flight, ...]) -> tuple[Table, ...]:
    """What flights did not keep; no table where everything was kept."""
    rows: list[tuple[Value, ...]] = []
    for flight in flights:
        rows += [(flight.name, None, f"at the gate: {reason}") for reason in flight.summary.gate.reasons]
        rows += [(flight.name, breach.distance_to_go, breach.sentence) for breach in flight.summary.breaches]
    headings = (FLIGHT, DISTANCE, Heading("what", "what was not kept", is_text=True))
    return (
        (Table("not-kept", "What was not kept", headings, tuple(rows), source=flights[0].provenance.source),)
        if rows
        else ()
    )


def action_table(flights: tuple[Flight, ...]) -> tuple[Table, ...]:
    """What the crew of each flown rule did, where and why; no table where nothing is told."""
    rows = [(one.name, act.distance_to_go, act.time, act.what, act.reason) for one in flights for act in one.actions]
    headings = (
        FLIGHT,
        DISTANCE,
        Heading("time", "time", "min"),
        Heading("what", "what was done", is_text=True),
        Heading("why", "why", is_text=True),
    )
    return (
        (Table("actions", "What the crew did", headings, tuple(rows), source=flights[0].provenance.source),)
        if rows
        else ()
    )


def optimum_tables(flights: tuple[Flight, ...]) -> tuple[Table, ...]:
    """Events of each optimum, and how it answers to what it was asked for."""
    found: list[Table] = []
    for flight in flights:
        if flight.solver is not None:
            found.append(_event_table(flight, flight.solver))
            found += _slope_table(flight, flight.solver)
    return tuple(found)


def _event_table(flight: Flight, solver: SolverRecord) -> Table:
    headings = (
        Heading("event", "event", is_text=True),
        DISTANCE,
        Heading("altitude", "altitude above sea level", "ft"),
        Heading("speed", "calibrated airspeed", "kt"),
        Heading("time", "time", "min"),
    )
    rows = tuple(
        (one.name, one.distance_to_go, one.altitude, one.calibrated_airspeed, one.time) for one in solver.events
    )
    return Table("events", f"Events of {flight.name}", headings, rows, source=flight.provenance.source)


def _slope_table(flight: Flight, solver: SolverRecord) -> tuple[Table, ...]:
    headings = (
        Heading("quantity", "for a little more", is_text=True),
        Heading("per", "for each", is_text=True),
        Heading("cost", "cost, as fuel", "kg", step=_SLOPE_STEP),
        Heading("fuel", "fuel", "kg", step=_SLOPE_STEP),
        Heading("idle_distance", "thrust to idle farther out", "nm", step=_SLOPE_STEP),
    )
    rows: list[tuple[Value, ...]] = []
    for one in solver.sensitivity:
        unit = UNITS[one.unit]
        amounts = (one.cost * unit.factor, one.fuel * unit.factor, one.idle_distance * unit.factor)
        rows.append((one.quantity, unit.symbol or "1", *amounts))
    note = "First-order: for small changes only, while the same limits bind."
    made = Table("sensitivity", f"What {flight.name} answers to", headings, tuple(rows), note, flight.provenance.source)
    return (made,) if rows else ()


def certificate_table(flights: tuple[Flight, ...]) -> Table:
    """What optima can show for themselves: a row for each measure, a column for each optimum."""
    records = [(flight, flight.solver) for flight in flights if flight.solver is not None]
    measures: list[tuple[str, list[Value]]] = [
        ("how the solver ended", [own.status for _, own in records]),
        ("iterations on all meshes of the last order", [str(own.iterations) for _, own in records]),
        ("largest local error of an element, scaled", [_small(own.local_error) for _, own in records]),
        ("optimality: largest scaled residual", [_small(own.optimality) for _, own in records]),
        ("largest scaled violation of a constraint", [_small(own.constraint_violation) for _, own in records]),
        ("cost that residuals explain, kg", [_small(own.cost_error) for _, own in records]),
        ("what the curvature lacks for a minimum, scaled", [_small(own.lacking_curvature) for _, own in records]),
        ("flown again: altitude off by, ft", [_small(own.reflight_altitude / FOOT) for _, own in records]),
        ("flown again: speed off by, kt", [_small(own.reflight_speed / KNOT) for _, own in records]),
        ("flown again: fuel off by, kg", [_small(own.reflight_fuel) for _, own in records]),
        ("drift of the Hamiltonian, part of its size", [_small(own.hamiltonian_drift) for _, own in records]),
        (
            "points where a switching function has the wrong sign",
            ["not known" if own.wrong_signs is None else str(own.wrong_signs) for _, own in records],
        ),
        ("largest switching function between limits, scaled", [_small(own.stationarity) for _, own in records]),
        ("charged to make controls smooth, kg", [_small(own.regularisation) for _, own in records]),
        ("given away to make controls smooth, kg", [_small(own.regularisation_cost) for _, own in records]),
        ("controls that swing", [", ".join(own.chatter) or "none" for _, own in records]),
    ]
    for turn in range(max((len(own.orders) for _, own in records), default=0)):
        orders: list[Value] = [own.orders[turn] if turn < len(own.orders) else "" for _, own in records]
        measures.append((f"order of events tried, {turn + 1}", orders))
    headings = (
        Heading("measure", "measure", is_text=True),
        *(Heading(f"optimum_{place}", flight.name, is_text=True) for place, (flight, _) in enumerate(records, start=1)),
    )
    rows = tuple((measure, *values) for measure, values in measures)
    return Table(
        "certificate",
        "What each optimum shows for itself",
        headings,
        rows,
        source=records[0][0].provenance.source if records else "",
    )


def _small(number: float) -> str:
    """A number whose size is what matters."""
    return "not known" if math.isnan(number) else f"{number:.2g}"
