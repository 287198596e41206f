"""What a report says in sentences: answers, method, cautions, and how to come to the same numbers again."""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterator
from typing import Any, assert_never

import numpy as np
from numpy.typing import NDArray

from optdescent.report.given import Given, names_of
from optdescent.report.rule_tables import number, swept_rules, texts
from optdescent.results import Fit, Flight, Kind
from optdescent.results.corridor import Corridor
from optdescent.results.debrief import Debrief
from optdescent.results.front import Front
from optdescent.results.kinds import Stored
from optdescent.results.last_action import LastActions
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions
from optdescent.results.price import NOT_STABLE, price
from optdescent.results.provenance import CAUTION, software_version
from optdescent.results.rule_sheet import RuleSheet, start_said
from optdescent.results.slope import SLOPE_COLUMNS, SlopeChart
from optdescent.results.sweep import Status, Swept
from optdescent.units import DEGREE, FOOT, KNOT, MINUTE, NAUTICAL_MILE


def answers(given: tuple[Given, ...]) -> list[str]:
    """The key numbers of every result, a sentence each, with their units."""
    optima: dict[str, Flight] = {}
    for one in given:
        if isinstance(one.held, Flight) and one.held.kind is Kind.OPTIMUM:
            optima.setdefault(one.provenance.scenario_digest, one.held)
    told: list[str] = []
    first = (Flight, OverConditions, Front, Swept)
    for one in sorted(given, key=lambda own: not isinstance(own.held, first)):
        told += answer(one.held, optima.get(one.provenance.scenario_digest))
    return told


def answer(held: Stored, optimum: Flight | None = None) -> Iterator[str]:
    """The key numbers of one result, a sentence each, with their units; beside an optimum if there is one."""
    match held:
        case Flight() as flight:
            yield _of_flight(flight, optimum)
        case Margins() as margins:
            yield from () if optimum is not None else _of_margins(margins)  # its flights say the same
        case OverConditions() as over:
            yield from _over(over)
        case Swept() as swept:
            yield from _of_sweep(swept)
        case Debrief() as debrief:
            yield from _of_debrief(debrief)
        case tuple() as told:
            yield from (_of_last(own) for own in told)
        case _:
            yield _line(held)


def _line(held: Corridor | SlopeChart | Front | Fit | RuleSheet) -> str:
    match held:
        case Corridor():
            return _of_corridor(held)
        case SlopeChart():
            return _of_slope(held)
        case Front():
            return _of_front(held)
        case Fit():
            return _of_fit(held)
        case RuleSheet():
            return f"{held.title}: start down {start_said(held)}."
        case _:
            assert_never(held)


def _of_margins(margins: Margins) -> Iterator[str]:
    for name in texts(margins.table, "flight"):
        own = margins.table.sel(flight=name)
        fuel, above = number(own, "fuel"), number(own, "fuel_above_optimum")
        told = f"{NOT_STABLE} at the gate" if math.isnan(above) else f"{above:+.0f} kg to the optimum"
        yield f"{name}: {fuel:.0f} kg, {told}."


def _of_last(told: LastActions) -> str:
    """How many sets of devices save the approach how long; which ones stands in the table."""
    kept = [action.devices for action in told.actions if action.is_of_use and action.is_kept]
    lost = [action.devices for action in told.actions if not action.is_of_use]
    last = [action for action in told.actions if action.has_point]
    parts = [f"enough all the way to the gate: {', '.join(kept)}"] if kept else []
    if last:
        nearest = min(last, key=lambda action: action.distance_to_go)
        parts.append(f"last of use at {nearest.distance_to_go / NAUTICAL_MILE:.1f} nm to go: {nearest.devices}")
    parts += [f"too late from the first point asked: {', '.join(lost)}"] if lost else []
    if told.lost is not None:
        parts.append(f"nothing saves it from {told.lost.distance_to_go / NAUTICAL_MILE:.1f} nm to go on")
    return f"{told.flight}, drag devices {'; '.join(parts)}."


def _of_flight(flight: Flight, optimum: Flight | None) -> str:
    summary = flight.summary
    numbers = f"{summary.fuel:.0f} kg, {summary.time / MINUTE:.1f} min"
    if optimum is not None and flight is not optimum and not math.isnan(above := price(flight, optimum)):
        numbers += f", {above:+.0f} kg to the optimum"
    top = f"top of descent at {summary.top_of_descent / NAUTICAL_MILE:.1f} nm to go"
    gate = f"at {summary.gate.height / FOOT:.0f} ft"
    if summary.gate.stable:
        end = f"stable {gate}"
    else:
        end = f"{NOT_STABLE} {gate} ({'; '.join(summary.gate.reasons) or 'it is not passed'})"
    kept = "" if summary.keeps_every_limit else f"; not kept: {len(summary.breaches)} limits or windows, see the tables"
    return f"{flight.name}: {numbers}; {top}; {end}{kept}."


def _over(over: OverConditions) -> Iterator[str]:
    for name in texts(over.table, "rule"):
        own = over.table.sel(rule=name)
        share, low, high = (100.0 * number(own, f"stable_share{end}") for end in ("", "_low", "_high"))
        if math.isnan(share):
            yield f"{name}: {own['not_flown'].item()}"
            continue
        above = number(own, "fuel_above_optimum_mean")
        ends = [number(own, f"fuel_above_optimum_mean_{end}") for end in ("low", "high")]
        sure = "" if math.isnan(sum(ends)) else ", 95 % interval {:+.0f} to {:+.0f} kg".format(*ends)
        mean = f"mean of {number(own, 'compared'):.0f} conditions{sure}"
        fuel = "" if math.isnan(above) else f"; {above:+.0f} kg to the optimum ({mean})"
        count = f"{number(own, 'flown'):.0f}"
        interval = "" if math.isnan(low + high) else f" (95 % interval {low:.1f} to {high:.1f} %)"
        yield f"{name}: stable at the gate in {share:.1f} % of {count} conditions{interval}{fuel}."
        yield f"{name}, what breaks it: {own['breaking'].item()}."


def _of_debrief(debrief: Debrief) -> Iterator[str]:
    count, severe = len(debrief.findings), debrief.severe
    yield f"{debrief.flight.name}: {count} finding{'' if count == 1 else 's'}, {len(severe)} severe."
    yield from (f"{debrief.flight.name}, severe: {finding.sentence}." for finding in severe)
    yield from (f"{debrief.flight.name}, what if: {one.sentence}." for one in debrief.what_ifs)


def _of_corridor(corridor: Corridor) -> str:
    """Heights at the middle speed that was asked for, at the nearest distance with any."""
    distances, speeds = corridor.values("distance_to_go"), corridor.values("speed")
    column = speeds.size // 2
    highest = corridor.values("highest")[:, :, column]
    is_met = np.isfinite(highest).any(axis=0)
    row = int(np.argmin(np.where(is_met, distances, np.inf) if is_met.any() else distances))
    heights = [
        f"{name} none" if math.isnan(height) else f"{name} {round(height / FOOT, -1):.0f} ft"
        for name, height in zip(corridor.devices, highest[:, row].tolist(), strict=True)
    ]
    where = f"{distances[row] / NAUTICAL_MILE:.1f} nm to go and {speeds[column] / KNOT:.0f} kt"
    return f"Highest above the threshold from which the gate can be met at {where}: {', '.join(heights)}."


def _of_slope(chart: SlopeChart) -> str:
    """Least and most slowing of each configuration at the first mass and wind."""
    angle, height = chart.angle / DEGREE, f"{chart.altitude / FOOT:.0f} ft"
    mass, wind = (float(chart.charted(name)[0]) for name in ("mass", "tailwind"))
    unit = SLOPE_COLUMNS["deceleration"].chart_unit.symbol
    slowing: list[str] = []
    for name, values in zip(chart.names("configuration"), chart.charted("deceleration")[:, 0, 0], strict=True):
        flown = values[np.isfinite(values)]
        slowing.append(f"{name} {flown.min():.1f} to {flown.max():.1f} {unit}" if flown.size else f"{name} not flown")
    what = f"{len(slowing)} configurations on {angle:g} degrees at {height}"
    air = f"at {mass:.0f} kg and {wind:.0f} kt of tailwind" if wind else f"at {mass:.0f} kg in still air"
    return f"{chart.provenance.title}: slowing in {what}, {air}: {'; '.join(slowing)}."


def _of_fit(fit: Fit) -> str:
    keys, declared, value, fixed = fit.keys, *(fit.column(name) for name in ("declared", "value", "is_fixed"))
    found = [f"{keys[at]} {value[at]:.4g} (declared {declared[at]:.4g})" for at in np.flatnonzero(fixed == 0.0)]
    end = f": {', '.join(found)}" if found else ""
    return f"{len(found)} coefficients found from {len(fit.recordings)} recorded flights{end}."


def _of_front(front: Front) -> str:
    at = front.recommended
    if at is None:
        return f"No derived rule holds in the wanted {100.0 * front.wanted:g} % of the conditions."
    share, low, high = (100.0 * float(front.column(f"held_share{end}")[at]) for end in ("", "_low", "_high"))
    fuel, things = float(front.column("fuel_mean")[at]), float(front.column("simplicity")[at])
    return (
        f"Recommended: {front.names[at]} ({front.titles[at]}), {things:.0f} things to remember; holds in {share:.1f} % "
        f"(95 % interval {low:.1f} to {high:.1f} %) at {fuel:.0f} kg, mean."
    )


def _of_sweep(swept: Swept) -> Iterator[str]:
    status = swept.dataset["status"].to_numpy()
    solved = status == Status.SOLVED
    over = ", ".join(_span(axis, swept.dataset[axis].to_numpy()) for axis in swept.axes)
    yield f"{int(solved.sum())} of {status.size} cases of the sweep over {over} are answered."
    if "fuel" in swept.dataset and solved.any():
        fuels = np.asarray(swept.dataset["fuel"].to_numpy(), dtype=float)[solved]
        low, middle, high = np.nanquantile(fuels, (0.0, 0.5, 1.0))
        yield f"Fuel of their optima: {low:.0f} to {high:.0f} kg, median {middle:.0f} kg."
    for name, flown, stable in swept_rules(swept.dataset):
        yield f"{name}: stable at the gate in {stable} of {flown} cases flown."


def _span(axis: str, values: NDArray[Any]) -> str:
    """A varied quantity with its ends [unit of its name], or how many levels it has where they are words."""
    if values.dtype.kind not in "fiu":
        return f"{axis} ({len(set(values.tolist()))} levels)"
    return f"{axis} ({values.min():g} to {values.max():g})"


_METHODS: dict[type, str] = {
    Margins: "Rules and optimum meet the same air, airframe and demands. What separates them is read at the same "
    "distance to go.",
    OverConditions: "Each rule is flown in every condition. Shares have Wilson's interval of 95 %. What breaks a rule "
    "is searched outwards from the middle of the conditions, in spreads of each driver. Fuel is compared with the "
    "optimum of the same condition.",
    Corridor: "The corridor is worked out backwards from the gate at idle: heights from which it can still be met with "
    "each set of drag devices. Once it has begun to fall for the gate speed does not rise; windows and hold-downs are "
    "left out. Each height told is one from which the descent was flown and kept.",
    SlopeChart: "The slope chart balances drag, idle thrust and weight on a straight path in standard air.",
    Front: "Rules are searched in one set of conditions, judged and chosen in a second, and what is predicted is "
    "tested in a third.",
    Fit: "Coefficients are found by least squares, so that segments flown again by the equations of motion lie "
    "nearest to the recordings.",
    RuleSheet: "Worked numbers are the rule's own arithmetic; nothing is flown for them.",
    Debrief: "A recorded flight is compared with what a rule asks for, with the corridor worked out backwards from the "
    "gate, and with the optimum where it was asked for. What would have been made of it is flown from the recorded "
    "state by a perfect crew.",
    Swept: "Every case is a scenario of its own; a case without a descent is an answer, with its reason.",
}


def methods(given: tuple[Given, ...]) -> list[str]:
    """How the numbers came about, in a few sentences for each kind of result."""
    told: list[str] = []
    kinds = {one.held.kind for one in given if isinstance(one.held, Flight)}
    if Kind.OPTIMUM in kinds:
        told.append(
            "The optimum is the descent of least fuel (and time, where it has a cost) of a point mass with the "
            "airframe's drag and thrust. It is found by direct collocation and an interior-point method; the mesh is "
            "refined until the local error is small enough, and the descent is flown again by an independent "
            "integrator."
        )
    if Kind.RULE in kinds:
        told.append(
            "A rule is flown in closed loop by a modelled crew, who look at intervals and act with a delay, through "
            "the same equations of motion."
        )
    if Kind.RECORDING in kinds:
        told.append("A recording is read by a map of its columns; what is derived or assumed is marked.")
    held = {type(one.held) for one in given}
    told += [sentence for kind, sentence in _METHODS.items() if kind in held]
    if any(isinstance(one.held, tuple) for one in given):
        told.append("Last useful points are where a flight leaves the reach of a set of drag devices.")
    return told


def cautions(given: tuple[Given, ...]) -> list[str]:
    """What a reader must know before using a number."""
    told = [CAUTION]
    if len({one.provenance.scenario_digest for one in given if one.provenance.of in ("scenario", "study")}) > 1:
        told.append("Results of more than one scenario stand here: do not compare their numbers with each other.")
    for one in given:
        told += _cautions_of(one)
    told.append("Airframes, airports and recordings that come with the package are invented.")
    return list(dict.fromkeys(told))


def _cautions_of(one: Given) -> Iterator[str]:
    match one.held:
        case Flight() as flight:
            yield from _of_one_flight(flight)
        case OverConditions() as over:
            optima, all_of = int(over.table.attrs["conditions_with_optimum"]), over.cases.sizes["case"]
            yield f"Fuel above the optimum over conditions rests on {optima} of {all_of} conditions."
        case Front() as front:
            if bool(front.table.attrs["is_cut_short"]):
                yield "The search for rules was cut short: simpler or cheaper ones may have been missed."
        case Swept() as swept:
            unsolved = int((swept.dataset["status"].to_numpy() != Status.SOLVED).sum())
            if unsolved:
                cases = "1 case of the sweep has" if unsolved == 1 else f"{unsolved} cases of the sweep have"
                yield f"{cases} no answer: what is said of its optima leaves {'it' if unsolved == 1 else 'them'} out."
        case _:
            return


def _of_one_flight(flight: Flight) -> Iterator[str]:
    if not flight.summary.gate.stable:
        yield f"{flight.name} is not stable at the gate: its fuel is not that of an approach that may go on."
    if not flight.summary.keeps_every_limit:
        yield f"{flight.name} does not keep every limit or window: its fuel is not comparable without that."
    if flight.solver is not None and flight.solver.chatter:
        yield f"Controls of {flight.name} swing: {', '.join(flight.solver.chatter)}."
    for warning in flight.reading.warnings if flight.reading is not None else ():
        yield f"{flight.name}, read with a doubt: {warning}"


def commands(given: tuple[Given, ...], title: str) -> list[str]:
    """Commands that these results were made with, each once, and one that makes a page of this title of them."""
    told = ["optdescent --version", *(one.provenance.command for one in given if one.provenance.command)]
    page = ["optdescent", "report", *names_of(given), "--title", title, "-o", "page.html"]
    return [*dict.fromkeys(told), shlex.join(page)]


def again(given: tuple[Given, ...]) -> str:
    """What the commands are, and what is not stored with the results."""
    told = [
        "The commands below, as they were typed, made the results; with the same version and the same files they give "
        "the same results, and the last one, in the folder that holds the results, gives this page. A scenario, study "
        "or airframe file is the one meant if `optdescent check` shows the digest named above."
    ]
    bare = [name for one, name in zip(given, names_of(given), strict=True) if not one.provenance.command]
    if bare:
        told.append(f"No command is stored with {', '.join(bare)}.")
    asked = {one.provenance.scenario_digest: "" for one in given}
    asked |= {one.provenance.scenario_digest: "text" for one in given if one.provenance.scenario_text}
    missing = [digest for digest, known in asked.items() if not known]
    if missing:
        told.append(f"The text of what was asked is not stored for {', '.join(missing)}.")
    return " ".join(told)


def made_with() -> str:
    """Name and version of what made the page."""
    return f"optdescent {software_version()}"
