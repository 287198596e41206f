"""Debrief of one flight: height and energy against the corridor, speed, devices, and the findings by number."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet
from optdescent.figures.panel import Row, Span, charted, fit, inside, number, panels
from optdescent.figures.pen import Array, band, letters, line, upper_marks
from optdescent.figures.series import draw_series
from optdescent.figures.strip import NEEDS, WIDEST, draw_strip, least_high, rows_of
from optdescent.figures.style import INK, OPTIMUM_STYLE, OTHER_STYLES, QUIET, SeriesStyle, styled
from optdescent.figures.text import width
from optdescent.results.debrief import Debrief, Finding, Severity
from optdescent.units import FOOT, MINUTE, NAUTICAL_MILE

SHOWN = 40.0
"""Distance to go from which on the flight is shown [nm]."""
MOST_TOLD = 9
"""Findings that a page has room for; those only to note are left out first."""
_BAND = 6000.0
"""Energy to spare beyond which nothing is drawn [ft]."""
# in ink, as the flight itself: colours are other flights
_SETS = ("idle and schedule", "speed brake", "everything")
_STYLES = (OPTIMUM_STYLE, SeriesStyle(INK, 1.1, (4.0, 1.6), ""), SeriesStyle(INK, 1.1, (1.2, 1.4), ""))
_SHADES = ("#d4d4d4", "#e9e9e9")
"""What the brake gives, and what everything gives beyond that."""
_TIME = "Time [min]"


def debrief(found: Debrief, page: Page = Page.A4) -> Figure:
    """Energy to spare [ft], height over the glide path [ft], speed [kt] and devices over distance to go [nm].

    Raises
    ------
    InputFault
        A page too small for the labels.
    """
    told = told_findings(found)
    with styled():
        frame = sheet(page, (found.flight, *found.others), f"Debrief: {found.flight.name}", _note(found, told))
        rows = (
            Row(1.0, "Energy to spare [ft]", "\u22124\u202f000"),
            Row(1.0, "Over the glide path [ft]", "\u22124\u202f000"),
            Row(0.8, "Calibrated airspeed [kt]", "000"),
            Row(0.7, "", WIDEST, least_high(rows_of((found.flight,)))),
        )
        start = min(SHOWN, float(np.nanmax(charted(found.flight, "distance_to_go"))))
        ((energy, height, speed, strip),) = panels(frame, rows, (Span(_TIME, start),))
        _minutes(energy, found, page)
        _energy(energy, found, page)
        _height(height, found, told, page)
        _speed(speed, found, page)
        if all(np.isfinite(found.flight.column(name)).any() for name in NEEDS):
            draw_strip(strip, (found.flight,), (OPTIMUM_STYLE,), page)
        return frame.figure


def told_findings(found: Debrief) -> tuple[Finding, ...]:
    """Findings that the page tells, in order of time: notes are left out first [-]."""
    worse = [finding for finding in found.findings if finding.severity is not Severity.NOTE]
    severe = [finding for finding in worse if finding.severity is Severity.SEVERE]
    for some in (list(found.findings), worse, severe):
        if len(some) <= MOST_TOLD:
            return tuple(some)
    return tuple(severe[:MOST_TOLD])


def _note(found: Debrief, told: tuple[Finding, ...]) -> str:
    lines = [f"{count}: {finding.sentence}." for count, finding in enumerate(told, start=1)]
    more = len(found.findings) - len(told)
    lines += [f"{more} more in findings.csv."] if more else []
    before = (
        "Energy to spare: energy height inside the reach of each set of devices, grey what each adds; below zero it is "
        f"not enough; more than {number(_BAND)} ft is not drawn. "
    )
    return before + (" ".join(lines) or "Nothing was found.")


def _minutes(axes: Axes, found: Debrief, page: Page) -> None:
    """Minutes of the flight above the panels, where it is then: as many as there is room for behind the heading."""
    x, time = charted(found.flight, "distance_to_go"), found.flight.column("time") / MINUTE
    known, points = np.isfinite(x), float(axes.get_window_extent().width) * 72.0 / axes.figure.dpi
    start, size = axes.get_xlim()[0], page.value
    x, time = x[known], time[known]
    behind = start * (1.0 - (width(_TIME, size.text) + size.text) / points)
    shown = time[(x <= behind) & (x >= 0.0)]
    if not shown.size:
        return
    room = 2.0 * width("00", size.small) * start / points
    for step in (1.0, 2.0, 5.0, 10.0):
        first, last = math.ceil(float(shown[0]) / step), math.floor(float(shown[-1]) / step)
        whole = step * np.arange(first, last + 1, dtype=np.float64)
        places = np.interp(whole, time, x)
        if whole.size < 2 or float(np.min(-np.diff(places))) > room:
            break
    upper_marks(axes, places, 0.3 * size.small, INK)
    above = 1.0 + 0.45 * size.small * axes.figure.dpi / 72.0 / float(axes.get_window_extent().height)
    where = axes.get_xaxis_transform()
    for place, minute in zip(places.tolist(), whole.tolist(), strict=True):
        letters(axes, place, above, f"{minute:.0f}", size.small, INK, anchor="center", places=where)


def _energy(axes: Axes, found: Debrief, page: Page) -> None:
    x = charted(found.flight, "distance_to_go")
    curves: list[tuple[str, SeriesStyle, Array]] = []
    for name, style in zip(_SETS, _STYLES, strict=True):
        spare = found.margin(name) / FOOT
        drawn: Array = np.where(np.abs(spare) <= _BAND, spare, np.nan)
        if inside(axes, x, drawn).size:
            curves.append((name, style, drawn))
    fit(axes, [*((x, values) for _, _, values in curves), (x, np.zeros(x.shape))])
    labels = Labels(axes, page.stroke)
    _zero(axes, labels, page)
    for shade, less, more in zip(_SHADES, _SETS, _SETS[1:], strict=False):
        low, high = (np.clip(found.margin(name) / FOOT, -_BAND, _BAND) for name in (less, more))
        band(axes, x, low, high, shade)
    for _, style, values in curves:
        draw_series(axes, x, values, style, page.stroke)
        labels.avoid(x, values)
    for name, style, values in curves:
        labels.name(name, x, values, INK, page.value.small, style)
    labels.settle()


def _height(axes: Axes, found: Debrief, told: tuple[Finding, ...], page: Page) -> None:
    flight = found.flight
    x, path = charted(flight, "distance_to_go"), _path(flight.column("distance_to_go"), found)
    over = charted(flight, "height_above_threshold") - path
    curves = [(x, over)]
    for other in found.others:
        curves.append(
            (
                charted(other, "distance_to_go"),
                charted(other, "height_above_threshold") - _path(other.column("distance_to_go"), found),
            )
        )
    fit(axes, curves)
    labels = Labels(axes, page.stroke)
    _zero(axes, labels, page)
    styles = (OPTIMUM_STYLE, *OTHER_STYLES)
    for (at, values), style in zip(curves, styles, strict=False):
        draw_series(axes, at, values, style, page.stroke)
        labels.avoid(at, values)
    _numbers(axes, labels, told, x, over, page)
    for flight_, (at, values), style in zip((flight, *found.others), curves, styles, strict=False):
        labels.name(flight_.name, at, values, INK, page.value.small, style)
    labels.settle()


def _numbers(axes: Axes, labels: Labels, told: tuple[Finding, ...], x: Array, over: Array, page: Page) -> None:
    """Number of each finding where it is on the line of the flight, one above the other where they are close."""
    extent, points = axes.get_window_extent(), 72.0 / axes.figure.dpi
    low, high = axes.get_ylim()
    start = axes.get_xlim()[0]
    # room for labels may still stretch the axis
    step = _ROOMY * page.value.small * (high - low) / (float(extent.height) * points)
    beside = 2.0 * page.value.small * start / (float(extent.width) * points)
    taken: list[tuple[float, float]] = []
    for count, finding in enumerate(told, start=1):
        place = finding.distance_to_go / NAUTICAL_MILE
        if place > start:
            continue
        level = float(np.interp(-place, -x, over))
        spot = line(axes, np.array([place]), np.array([level]), INK, 1.0, order=4.5)
        spot.set(marker="o", markersize=3.5 * page.stroke)
        above = level + 0.5 * step
        while close := [at for other, at in taken if abs(place - other) < beside and abs(above - at) < 0.99 * step]:
            above = min(close) + step
        is_of_a_stack = any(abs(place - other) < 0.1 * beside for other, _ in taken)
        taken.append((place, above))
        if above > level + step and not is_of_a_stack:
            line(axes, np.full(2, place), np.array([level, above - 0.1 * step]), QUIET, 0.5 * page.stroke, order=1.5)
        letters(axes, place, above, str(count), page.value.small, INK, anchor="center")
        labels.avoid(np.array([place, place]), np.array([level, above + 0.7 * step]))
    top = max([high, *(at + step for _, at in taken)])
    axes.set_ylim(low, top)


_ROOMY = 2.3
"""Distance between two numbers one above the other, in heights of a letter."""


def _speed(axes: Axes, found: Debrief, page: Page) -> None:
    flight = found.flight
    x, speed = charted(flight, "distance_to_go"), charted(flight, "calibrated_airspeed")
    limit = np.minimum(charted(flight, "limit_speed"), np.nanmax(speed) + 40.0)
    others = [(charted(one, "distance_to_go"), charted(one, "calibrated_airspeed")) for one in found.others]
    fit(axes, [(x, speed), (x, limit), *others])
    labels = Labels(axes, page.stroke)
    for (at, values), style in zip(others, OTHER_STYLES, strict=False):
        draw_series(axes, at, values, style, page.stroke)
        labels.avoid(at, values)
    line(axes, x, limit, QUIET, 0.8 * page.stroke, dash=(3.0, 2.0), order=2.0)
    line(axes, x, speed, INK, OPTIMUM_STYLE.width * page.stroke, order=3.0)
    for values in (limit, speed):
        labels.avoid(x, values)
    labels.name("largest allowed", x, limit, QUIET, page.value.small)
    labels.settle()


def _zero(axes: Axes, labels: Labels, page: Page) -> None:
    ends, zero = np.array(axes.get_xlim()), np.zeros(2)
    line(axes, ends, zero, QUIET, 0.8 * page.stroke, order=1.9)
    labels.avoid(ends, zero)


def _path(to_go: Array, found: Debrief) -> Array:
    """Height of the glide path and its straight continuation above the threshold [ft]."""
    marks = found.flight.marks
    return (marks.crossing_height + marks.gradient * to_go) / FOOT
