"""How results show themselves in notebooks: what matters in a table in units of the trade, the dataset folded below."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from operator import methodcaller
from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from optdescent.markup import Markup, card, folded, pairs, sentences, table
from optdescent.results.provenance import Provenance
from optdescent.results.schema import Column
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, MINUTE, NAUTICAL_MILE

if TYPE_CHECKING:
    from optdescent.results.debrief import Debrief
    from optdescent.results.flight import Flight, GateReport
    from optdescent.results.last_action import LastActions
    from optdescent.results.solver import SolverRecord


def dataset_html(dataset: xr.Dataset) -> str:
    """Rich display of a dataset in notebooks, by their protocol: public, though its name begins with an underscore."""
    return str(methodcaller("_repr_html_")(dataset))


def dataset_card(title: str, provenance: Provenance, dataset: xr.Dataset, said: Sequence[str] = ()) -> str:
    """A title, sentences, the dataset, where it is from, and the caution [dataset in SI, units in its attributes]."""
    parts = [sentences(said), Markup(dataset_html(dataset))]
    return card(f"{title}: {provenance.title}", parts, provenance.line)


def flight_html(flight: Flight) -> str:
    """A flight: fuel, time, top of descent and gate [kg, min, nm, ft, kt], what it did not keep, its columns."""
    summary = flight.summary
    rows = [
        ("fuel", f"{summary.fuel:.1f} kg"),
        ("time", f"{summary.time / MINUTE:.2f} min"),
        ("top of descent", f"{summary.top_of_descent / NAUTICAL_MILE:.1f} nm to go"),
        ("thrust above idle", f"{summary.thrust_distance / NAUTICAL_MILE:.1f} nm, {summary.thrust_fuel:.1f} kg"),
        ("speed brake", f"{summary.brake_distance / NAUTICAL_MILE:.1f} nm"),
        *((f"at {gate.height / FOOT:.0f} ft", gate_sentence(gate)) for gate in (summary.gate, *summary.more_gates)),
    ]
    kept = [breach.sentence for breach in summary.breaches]
    parts = [pairs(rows), sentences(kept), folded("columns", Markup(dataset_html(flight.dataset)))]
    return card(f"{flight.name} ({flight.kind.value}): {flight.provenance.title}", parts, flight.provenance.line)


def gate_sentence(gate: GateReport) -> str:
    """A flight at a gate in words [kt, ft/min]."""
    if not gate.reached:
        return "not reached"
    state = f"{gate.calibrated_airspeed / KNOT:.0f} kt, sink {gate.sink / FOOT_PER_MINUTE:.0f} ft/min"
    return f"stable; {state}" if gate.stable else f"not stable: {'; '.join(gate.reasons)}; {state}"


def margins_rows(
    dataset: xr.Dataset, columns: dict[str, Column], shown: Callable[[float, Column], str]
) -> Iterator[list[str]]:
    """A row for each quantity of a table over `flight`, with its unit in brackets; texts are left out.

    `shown` writes a number that is in the unit of charts [kg, min, nm, ft, kt].
    """
    for name, column in columns.items():
        if name not in dataset:
            continue
        variable = dataset[name]
        others = [str(dim) for dim in variable.dims if dim != "flight"]
        if len(others) > 1:
            continue
        stacked = variable.transpose(*others, "flight")
        for place in range(stacked.sizes[others[0]] if others else 1):
            one = stacked.isel({others[0]: place}) if others else stacked
            where = _where(others[0], float(dataset[others[0]].to_numpy()[place])) if others else ""
            values = np.asarray(one.to_numpy(), dtype=float) / column.chart_unit.factor
            unit = f" [{column.chart_unit.symbol}]" if column.charted else ""
            yield [f"{column.long_name}{where}{unit}", *(shown(float(value), column) for value in values)]


def _where(dimension: str, value: float) -> str:
    return f" at {value / NAUTICAL_MILE:.0f} nm" if dimension == "at_distance" else f" at {value / FOOT:.0f} ft"


def margins_html(title: Provenance, names: Sequence[str], rows: Iterator[list[str]], dataset: xr.Dataset) -> str:
    """A table of margins: a column for each flight, a row for each quantity with its unit [kg, min, nm, ft, kt]."""
    said = [
        f"{name}: {text}"
        for name, texts in zip(names, _texts(dataset), strict=True)
        for text in dict.fromkeys(filter(None, texts))
    ]
    parts = [table(["", *names], rows), sentences(said), folded("dataset", Markup(dataset_html(dataset)))]
    return card(f"Margins: {title.title}", parts, title.line)


def _texts(dataset: xr.Dataset) -> Iterator[list[str]]:
    """What each flight did not keep, in sentences."""
    told = [dataset[name] for name in ("gate_reasons", "breaches") if name in dataset]
    for place in range(dataset.sizes["flight"]):
        yield [str(text) for own in told for text in np.atleast_1d(own.isel(flight=place).to_numpy())]


def solver_html(record: SolverRecord) -> str:
    """How an optimum was found: certificate, events and slopes [-, kg, m, ft, kt, nm]."""
    certificate = pairs(
        [
            ("status", record.status),
            ("iterations", str(record.iterations)),
            ("optimality, scaled", f"{record.optimality:.1e}"),
            ("constraint violation, scaled", f"{record.constraint_violation:.1e}"),
            ("largest local error, scaled", f"{record.local_error:.1e}"),
            ("cost error", f"{record.cost_error:.1e} kg"),
            ("what the curvature lacks for a minimum, scaled", _known(record.lacking_curvature, "{:g}")),
            ("re-flight, altitude", f"{record.reflight_altitude:.2e} m"),
            ("re-flight, speed", f"{record.reflight_speed:.2e} m/s"),
            ("re-flight, fuel", f"{record.reflight_fuel:.2e} kg"),
            ("drift of the Hamiltonian, relative", f"{record.hamiltonian_drift:.1e}"),
            ("points where a switching function has the wrong sign", _known(record.wrong_signs, "{}")),
            ("largest switching function between limits, scaled", _known(record.stationarity, "{:.1e}")),
            ("charged to make controls unique", f"{record.regularisation:.3f} kg"),
            ("given away for it", _known(record.regularisation_cost, "{:.3f} kg")),
            ("controls that swing", ", ".join(record.chatter) or "none"),
        ]
    )
    events = (
        [
            event.name,
            f"{event.distance_to_go / NAUTICAL_MILE:.1f}",
            f"{event.altitude / FOOT:.0f}",
            f"{event.calibrated_airspeed / KNOT:.0f}",
            f"{event.time / MINUTE:.1f}",
        ]
        for event in record.events
    )
    header = ["event", "to go [nm]", "altitude [ft]", "calibrated airspeed [kt]", "time [min]"]
    return card("How the optimum was found", [certificate, folded("events", table(header, events))])


def _known(number: float | None, form: str) -> str:
    return "not known" if number is None or number != number else form.format(number)


def last_actions_html(found: LastActions) -> str:
    """The last useful points of a flight, in sentences [nm, ft, kt]."""
    said = sentences(found.sentences)
    return card(f"{found.flight}: last useful action", [said], found.provenance.line)


def debrief_html(found: Debrief) -> str:
    """A debrief: findings in the order of time [min, nm], each with its severity; what instead; other actions."""
    rows = [f"{one.severity.value}: {one.sentence}" for one in found.findings]
    instead = [f"{one.subject.value}: {one.instead}" for one in found.findings if one.instead]
    parts = [
        pairs([("findings", str(len(found.findings))), ("severe", str(len(found.severe)))]),
        sentences(rows),
        folded("what would have been made of it", sentences(instead)),
        sentences(one.sentence for one in found.what_ifs),
    ]
    provenance = found.flight.provenance
    return card(f"Debrief of {found.flight.name}: {provenance.title}", parts, provenance.line)
