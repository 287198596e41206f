"""The figures of a report: every one that its results have, those of flights of one scenario together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from optdescent.figures import Page
from optdescent.figures.of_stored import draw_stored, figures_of
from optdescent.figures.style import OTHER_STYLES, in_order
from optdescent.figures.text import check_letters
from optdescent.markup import Markup, escaped
from optdescent.report.given import Given, provenance_of
from optdescent.report.inline import inline_svg
from optdescent.report.template import bullets, joined, section, sliding, tag
from optdescent.report.words import answer
from optdescent.results import Flight, Kind, Provenance
from optdescent.results.debrief import Debrief
from optdescent.results.files import InputFault
from optdescent.results.kinds import Stored
from optdescent.results.last_action import LastActions
from optdescent.results.line import one_line
from optdescent.units import KNOT, NAUTICAL_MILE

_SHOWS: Mapping[str, str] = {
    "height": "Lines of height above the threshold in feet against distance to go in nautical miles, from cruise down "
    "to the threshold; a second panel shows the last part larger. Brackets are windows of the arrival.",
    "speed": "Lines of calibrated airspeed in knots against distance to go, with the limits, and strips that show "
    "where flaps, gear, speed brake and thrust are used.",
    "energy": "Lines of energy height in feet against distance to go, and below them the energy height above that of "
    "the first flight.",
    "wind": "Bars by height of the wind: how far the top of descent moves, and how fuel changes, for one knot more.",
    "last-action": "Height against distance to go, and bars that show until where each set of drag devices is enough "
    "to save the approach.",
    "margins": "One row for each rule: where it is stable at the gate, energy too much on the way, fuel above the "
    "optimum.",
    "rule-map": "Shaded fields over two drivers: in what part of the conditions each rule is stable at the gate.",
    "slices": "Lines of one quantity over one axis of the sweep, by levels of the others.",
    "corridor": "A panel for each speed: the highest heights over the glide path from which the gate can still be met "
    "with each set of drag devices, against distance to go.",
    "slope": "Deceleration on the slope against speed by configuration and wind, and the room between speeds.",
    "front": "Points of derived and other rules: mean fuel in kilograms against the share of stable gates.",
    "fit": "Coefficients found with two standard errors beside the declared ones, and residuals over time.",
    "debrief": "The last part of a recorded flight: energy to spare inside the reach of each set of drag devices, "
    "height over the glide path with the numbers of the findings, speed, and the devices used.",
    "rule-sheet": "Lines of the height to have and the speed planned against distance to go, by wind.",
}


@dataclass(frozen=True)
class Picture:
    """One figure of the page: its title, what it shows in words, and its drawing."""

    title: str
    words: str
    drawing: Markup


@dataclass(frozen=True)
class Pictures:
    """Figures of a report, and in a sentence each those that could not be drawn, and why."""

    drawn: tuple[Picture, ...]
    not_drawn: tuple[str, ...]


def pictures_of(given: tuple[Given, ...]) -> Pictures:
    """Every figure that results have; one that cannot be drawn of these results is told, not passed over."""
    drawn: list[Picture] = []
    not_drawn: list[str] = []
    has_many = len({one.provenance.scenario_digest for one in given}) > 1
    flown = {one.provenance.scenario_digest for one in given if isinstance(one.held, Flight)}
    for group in drawn_together(tuple(replace(one, held=_drawable(one.held)) for one in given)):
        try:
            names = figures_of(group)
        except InputFault as fault:
            not_drawn.append(f"No figure of {_who(group)}: {fault}")
            continue
        is_told = isinstance(group[0], Debrief) and provenance_of(group[0]).scenario_digest in flown
        for name in (name for name in names if not (is_told and name == "energy")):  # the flights themselves show it
            try:
                figure = draw_stored(name, group, Page.A4)
            except InputFault as fault:
                not_drawn.append(f"Figure {name} of {_who(group)} is not drawn: {fault}")
                continue
            whole, anchor = str(figure.get_label()), f"figure-{len(drawn) + 1}"
            title = whole if has_many else whole.removesuffix(f": {_title(group[0])}")
            words = _SHOWS.get(name, title)
            told = " ".join([words, *numbers_of(name, group)])
            drawn.append(Picture(title, words, inline_svg(figure, anchor, title, told)))
    return Pictures(tuple(drawn), tuple(not_drawn))


def pictures_section(pictures: Pictures) -> Markup:
    """The figures, each under its heading and over a sentence that says what it shows."""
    figures = [
        tag(
            "figure",
            {},
            tag("h3", {"dir": "auto"}, escaped(f"Figure {number}. {picture.title}")),
            sliding(f"Figure {number}", picture.drawing),
            tag("figcaption", {"dir": "auto"}, escaped(picture.words)),
        )
        for number, picture in enumerate(pictures.drawn, start=1)
    ]
    return section("figures", "Figures", joined(figures), bullets(pictures.not_drawn))


def drawn_together(given: tuple[Given, ...]) -> Iterator[tuple[Stored, ...]]:
    """Results that are drawn together: an optimum and as many other flights as can be told apart; others alone."""
    for digest in dict.fromkeys(one.provenance.scenario_digest for one in given):
        own = [one.held for one in given if one.provenance.scenario_digest == digest]
        flights = [held for held in own if isinstance(held, Flight)]
        told = [action for held in own if isinstance(held, tuple) for action in held]
        yield from _of_flights(flights, told)
        yield from ((held,) for held in own if not isinstance(held, Flight | tuple))


def _of_flights(flights: list[Flight], told: list[LastActions]) -> Iterator[tuple[Stored, ...]]:
    ordered = in_order(flights)
    optima = sum(flight.kind is Kind.OPTIMUM for flight in ordered)
    first, others = ordered[: min(optima, 1)], ordered[min(optima, 1) :]
    most = len(OTHER_STYLES)
    if told and not flights:
        yield (tuple(told),)
    for start in range(0, max(len(others), len(first)), most):
        shown = (*first, *others[start : start + most])
        names = {flight.name for flight in shown}
        actions = tuple(action for action in told if action.flight in names)
        yield (*shown, actions) if actions else shown


def _drawable(held: Stored) -> Stored:
    """A result as figures can write its title; one in letters that their font has not stands on the page alone."""
    if isinstance(held, tuple):
        return tuple(replace(one, provenance=_titled(one.provenance)) for one in held)
    if isinstance(held, Debrief):
        flight, *others = (replace(one, provenance=_titled(one.provenance)) for one in (held.flight, *held.others))
        last = replace(held.last, provenance=_titled(held.last.provenance))
        return replace(held, flight=flight, others=tuple(others), last=last)
    return replace(held, provenance=_titled(held.provenance))


def _titled(own: Provenance) -> Provenance:
    title = one_line(own.title)
    try:
        check_letters(title)
    except InputFault:
        return replace(own, title=f"{own.of} {own.scenario_digest}")
    return replace(own, title=title)


def _title(held: Stored) -> str:
    return provenance_of(held).title


def _who(group: tuple[Stored, ...]) -> str:
    names = [held.name for held in group if isinstance(held, Flight)]
    return ", ".join(names) or "a result"


def numbers_of(name: str, group: tuple[Stored, ...]) -> list[str]:
    """Sentences with the numbers of a figure [units of the trade] that a reader who cannot see it would miss first."""
    last = [told for held in group for told in _last_actions(held)]
    if name == "last-action":
        return [sentence for told in last for sentence in answer((told,))]
    flights = [flight for held in group for flight in _flights(held)]
    if name == "wind":
        return [sentence for flight in flights for sentence in _of_wind(flight)]
    if name == "debrief" or not flights:
        return [sentence for held in group for sentence in answer(held)]
    told = [f"{one.name} begins down at {one.summary.top_of_descent / NAUTICAL_MILE:.1f} nm to go" for one in flights]
    return [f"Of {len(flights)} flight{'s' if len(flights) > 1 else ''}: {'; '.join(told)}."]


def _last_actions(held: Stored) -> tuple[LastActions, ...]:
    if isinstance(held, Debrief):
        return (held.last,)
    return held if isinstance(held, tuple) else ()


def _flights(held: Stored) -> tuple[Flight, ...]:
    if isinstance(held, Debrief):
        return (held.flight, *held.others)
    return (held,) if isinstance(held, Flight) else ()


def _of_wind(flight: Flight) -> Iterator[str]:
    """What a knot of tailwind does to an optimum in the band of heights where it does most to the fuel."""
    bands = [one for one in (flight.solver.sensitivity if flight.solver else ()) if one.heights is not None]
    if bands:
        most = max(bands, key=lambda own: abs(own.fuel))
        fuel, top = most.fuel * KNOT, most.idle_distance * KNOT / NAUTICAL_MILE
        what = f"changes fuel by {fuel:+.2f} kg and moves the top of descent by {top:+.2f} nm"
        yield f"{flight.name}: of {len(bands)} bands, one knot more of {most.quantity} {what}, the most fuel of all."
