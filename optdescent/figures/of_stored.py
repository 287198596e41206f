"""Which figures a stored result has, and the one of a name, drawn."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields

from matplotlib.figure import Figure

from optdescent.figures.corridor import corridor
from optdescent.figures.debrief import debrief
from optdescent.figures.energy import energy
from optdescent.figures.fit import fit
from optdescent.figures.front import front
from optdescent.figures.height import height
from optdescent.figures.idle import idle
from optdescent.figures.last_action import last_action
from optdescent.figures.margins import margins, margins_once
from optdescent.figures.operating_speeds import operating_speeds
from optdescent.figures.page import Page
from optdescent.figures.polar import polar
from optdescent.figures.rule_map import rule_map
from optdescent.figures.rule_sheet import rule_sheet
from optdescent.figures.slices import slices
from optdescent.figures.slope import slope
from optdescent.figures.speed import speed
from optdescent.figures.style import in_order
from optdescent.figures.wind import has_bands, wind
from optdescent.results import Fit, Flight
from optdescent.results.airframe import AirframeNumbers
from optdescent.results.corridor import Corridor
from optdescent.results.debrief import Debrief
from optdescent.results.files import Fault, InputFault
from optdescent.results.front import Front
from optdescent.results.kinds import Stored, faults_of, said
from optdescent.results.last_action import LastActions
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions
from optdescent.results.rule_sheet import RuleSheet
from optdescent.results.slope import SlopeChart
from optdescent.results.sweep import Swept


@dataclass(frozen=True)
class Choice:
    """What of a result is drawn: its axes by name, a quantity, rules by name; empty where the figure decides."""

    axes: tuple[str, ...] = ()
    quantity: str = ""
    rules: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Drawing:
    """A figure, and the parts of a choice that it takes."""

    draw: Callable[[Page, Choice], Figure]
    takes: tuple[str, ...] = ()


def figures_of(results: tuple[Stored | AirframeNumbers, ...]) -> tuple[str, ...]:
    """Names of the figures [-] that can be drawn of results together.

    Raises
    ------
    InputFault
        The results have no figure together.
    """
    return tuple(_drawings(results))


def draw_stored(
    name: str, results: tuple[Stored | AirframeNumbers, ...], page: Page = Page.A4, choice: Choice | None = None
) -> Figure:
    """Figure of a name, of one result, or of flights, with their last useful points if the figure shows them.

    Raises
    ------
    InputFault
        The results have no such figure, the choice is not one of this figure, or it cannot be drawn on this page.
    """
    drawings, wanted = _drawings(results), choice or Choice()
    if name not in drawings:
        raise InputFault([Fault("figure", "", f"{name!r} is none of {said_of(results)}", ", ".join(drawings))])
    own = drawings[name]
    given = [field.name for field in fields(Choice) if getattr(wanted, field.name)]
    faults = [
        Fault(f"figure {name}", "", f"does not take {part}", ", ".join(own.takes) or "nothing to choose")
        for part in given
        if part not in own.takes
    ]
    for one in results:
        faults += () if isinstance(one, AirframeNumbers | Flight) else faults_of(one, said(one))
    if faults:
        raise InputFault(faults)
    return own.draw(page, wanted)


def _drawings(results: tuple[Stored | AirframeNumbers, ...]) -> Mapping[str, _Drawing]:
    flights = tuple(one for one in results if isinstance(one, Flight))
    told = tuple(action for one in results if isinstance(one, tuple) for action in one)
    if flights and len(flights) + sum(isinstance(one, tuple) for one in results) == len(results):
        return _of_flights(flights, told)
    if len(results) != 1:
        allowed = "one result, or flights (with their last useful points)"
        raise InputFault([Fault("figure", "", f"{len(results)} results: {said_of(results)}", allowed)])
    return _of_one(results[0])


def _of_flights(flights: tuple[Flight, ...], told: tuple[LastActions, ...]) -> Mapping[str, _Drawing]:
    """Figures of flights, the optimum first."""
    ordered = in_order(flights)
    found = {
        "height": _Drawing(lambda page, _: height(ordered, page)),
        "speed": _Drawing(lambda page, _: speed(ordered, page)),
        "energy": _Drawing(lambda page, _: energy(ordered, page)),
    }
    if with_bands := tuple(flight for flight in ordered if has_bands(flight)):
        found["wind"] = _Drawing(lambda page, _: wind(with_bands, page))
    if told:
        found["last-action"] = _Drawing(lambda page, _: last_action(ordered, told, page))
    return found


def _of_one(result: Stored | AirframeNumbers) -> Mapping[str, _Drawing]:
    """Figures of a result that stands alone.

    Raises
    ------
    InputFault
        It does not.
    """
    match result:
        case AirframeNumbers():
            return {
                "polar": _Drawing(lambda page, _: polar(result, page)),
                "idle": _Drawing(lambda page, _: idle(result, page)),
                "operating-speeds": _Drawing(lambda page, _: operating_speeds(result, page)),
            }
        case OverConditions():
            return {
                "margins": _Drawing(lambda page, own: margins(result, page, own.rules), ("rules",)),
                "rule-map": _Drawing(
                    lambda page, own: rule_map(result, page, own.axes, own.rules),
                    ("axes", "rules"),
                ),
            }
        case Margins():
            return {"margins": _Drawing(lambda page, own: margins_once(result, page, own.rules), ("rules",))}
        case Swept():
            return _of_sweep(result)
        case Debrief():
            return _of_debrief(result)
        case _:
            return _of_numbers(result)


def _of_numbers(result: Stored) -> Mapping[str, _Drawing]:
    """The figure of a result that has one.

    Raises
    ------
    InputFault
        It does not stand alone.
    """
    match result:
        case Corridor():
            return {"corridor": _Drawing(lambda page, _: corridor(result, page))}
        case SlopeChart():
            return {"slope": _Drawing(lambda page, _: slope(result, page))}
        case Front():
            return {"front": _Drawing(lambda page, _: front(result, page))}
        case Fit():
            return {"fit": _Drawing(lambda page, _: fit(result, page))}
        case RuleSheet():
            return {"rule-sheet": _Drawing(lambda page, _: rule_sheet(result, page))}
        case _:
            raise InputFault([Fault("figure", "", f"{said(result)} alone", "the flights they are of, too")])


def _of_debrief(result: Debrief) -> Mapping[str, _Drawing]:
    flights = (result.flight, *result.others)
    found = {
        "debrief": _Drawing(lambda page, _: debrief(result, page)),
        "energy": _Drawing(lambda page, _: energy(flights, page)),
    }
    if result.last.actions:
        found["last-action"] = _Drawing(lambda page, _: last_action((result.flight,), (result.last,), page))
    return found


def _of_sweep(result: Swept) -> Mapping[str, _Drawing]:
    found: dict[str, _Drawing] = {}
    if result.is_grid:
        found["slices"] = _Drawing(
            lambda page, own: slices(result, page, own.quantity, own.axes, own.rules), ("quantity", "axes", "rules")
        )
    if "rule_stable" in result.dataset:
        found["rule-map"] = _Drawing(lambda page, own: rule_map(result, page, own.axes, own.rules), ("axes", "rules"))
    if not found:
        given, allowed = "a sweep of a sample without rules", "a sweep over a grid, or one that flies rules"
        raise InputFault([Fault("figure", "", given, allowed)])
    return found


def said_of(results: tuple[Stored | AirframeNumbers, ...]) -> str:
    """What results are, in words."""
    return ", ".join(dict.fromkeys(said(one) for one in results)) or "nothing"
