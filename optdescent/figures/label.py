"""Labels beside the lines they name: placed where nothing else is, or with a leader, so that none collides.

All places are in points from the lower left corner of the axes. A label is tried, in this order: along its own line
where the other lines are farthest away; anywhere free, with a leader to its own line; in room made by raising the top
of the axis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt, minimum_filter

from optdescent.figures.pen import Array, letters
from optdescent.figures.style import QUIET, SeriesStyle
from optdescent.figures.text import width
from optdescent.results.files import Fault, InputFault

STEP = 0.75
"""Distance of the points that stand for a line, and size of the cells in which distances are kept [pt]."""
GAP = 1.6
"""Smallest distance of a label from anything else [pt]."""
INSET = 3.0
"""Smallest distance of a label from the edge of the axes [pt]."""
SAMPLE = 20.5
"""Length of the piece of line that goes before a label, for a stroke of 1 [pt]: two dashes of any style."""
SHORT = 40.0
"""Longest leader, with what crossing lines adds to it, that is better than raising the top of the axis [pt]."""
RAISE = 0.12
"""Part of its length by which an axis is raised."""
TRIES = (*((rise, SHORT) for rise in range(3)), *((rise, np.inf) for rise in range(7)))
"""How often the axis is raised, and the longest leader taken, in the order tried."""


MOST_LEADERS, TOGETHER = 4000, 200
"""Leaders tried, the shortest first, and how many at a time."""


@dataclass(frozen=True)
class Request:
    """A label: text, the line it names (data units), colour, style of the piece of line before it, font size [pt]."""

    text: str
    x: Array
    y: Array
    colour: str
    sample: SeriesStyle | None
    size: float
    stroke: float

    @property
    def lead(self) -> float:
        """Length of the piece of line before the text [pt]."""
        return SAMPLE * self.stroke if self.sample else 0.0

    @property
    def extent(self) -> tuple[float, float]:
        """Width and height [pt]."""
        return self.lead + (2.5 if self.sample else 0.0) + width(self.text, self.size), 1.05 * self.size


@dataclass(frozen=True)
class Placed:
    """Where a label is: lower left corner [pt], and its leader from the label to the line [pt] if it has one."""

    x: float
    y: float
    leader: Array | None


@dataclass
class Labels:
    """The lines that labels of one axes must not touch, and the labels asked for, in order of importance."""

    axes: Axes
    stroke: float
    lines: list[tuple[Array, Array]] = field(default_factory=list[tuple[Array, Array]])
    requests: list[Request] = field(default_factory=list[Request])

    def avoid(self, x: Array, y: Array) -> None:
        """Keep labels off a line through (x, y) [data units]."""
        self.lines.append((np.asarray(x, dtype=float), np.asarray(y, dtype=float)))

    def name(self, text: str, x: Array, y: Array, colour: str, size: float, sample: SeriesStyle | None = None) -> None:
        """Ask for a label of font size [pt] on a line through (x, y) [data units]."""
        line = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
        self.requests.append(Request(text, *line, colour, sample, size, self.stroke))

    def settle(self) -> None:
        """Place every label and draw it, raising the top of the axis as far as needed.

        Raises
        ------
        InputFault
            The page is too small for the labels.
        """
        settle_together((self,))

    def raise_axis(self, low: float, high: float, rise: int) -> None:
        """Let the upright axis go from low to high [data units] and on by so many steps of what makes room."""
        self.axes.set_ylim(low, low + (high - low) * (1.0 + RAISE * rise))

    def draw(self, placed: list[Placed]) -> None:
        """Draw every label asked for at its place [pt]."""
        for request, place in zip(self.requests, placed, strict=True):
            self._draw(request, place)

    def placed(self, longest: float) -> list[Placed] | None:
        """A place for every label with leaders up to a length [pt], or nothing if one finds none."""
        area = self._area()
        drawn = [self._points(x, y, area) for x, y in self.lines]
        taken = np.empty((0, 2))
        placed: list[Placed] = []
        for request in self.requests:
            own = self._points(request.x, request.y, area)
            others = np.concatenate([taken, *(line for line in drawn if not _same(line, own))])
            room = Room.around(own, others, request.extent, area)
            place = _beside(request.extent, own, room) or _apart(request.extent, own, room, longest)
            if place is None:
                return None
            wide, high = request.extent
            across, up = np.arange(-GAP, wide + GAP, STEP), np.arange(0.0, high, STEP)
            box = np.column_stack([grid.ravel() for grid in np.meshgrid(place.x + across, place.y + up)])
            taken = np.concatenate([taken, box] if place.leader is None else [taken, box, place.leader])
            placed.append(place)
        return placed

    def _area(self) -> Array:
        """Width and height (2,) of the axes [pt]."""
        return np.asarray(self.axes.get_window_extent().size) * 72.0 / self.axes.figure.dpi

    def _points(self, x: Array, y: Array, area: Array) -> Array:
        """Points (n, 2) [pt] along the part of a line that the axes show, evenly set."""
        scale = 72.0 / self.axes.figure.dpi
        origin = np.asarray(self.axes.get_window_extent().min)
        ends = (np.asarray(self.axes.transData.transform(np.column_stack([x, y]))) - origin) * scale
        ends = ends[np.isfinite(ends).all(axis=1)]
        if len(ends) > 1:
            length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ends, axis=0).T))])
            even = np.linspace(0.0, float(length[-1]), max(2, int(length[-1] / (0.7 * STEP))))
            ends = np.column_stack([np.interp(even, length, ends[:, axis]) for axis in (0, 1)])
        return ends[((ends >= 0.0) & (ends <= area)).all(axis=1)]

    def _draw(self, request: Request, place: Placed) -> None:
        """Draw a label, its piece of line and its leader; their places are fixed in the axes from here on.

        The leader is grey: in the colour of a flight it would look like a line of it.
        """
        area = self._area()
        places = Affine2D().scale(1.0 / float(area[0]), 1.0 / float(area[1])) + self.axes.transAxes
        middle = place.y + 0.5 * request.extent[1]
        if place.leader is not None:
            x, y = place.leader[[0, -1]].T
            self.axes.add_line(Line2D(x, y, color=QUIET, linewidth=0.4, transform=places, zorder=2.5))
        if request.sample is not None:
            piece = request.sample.piece(place.x, middle, request.lead, self.stroke)
            piece.set(transform=places, zorder=5.0)
            self.axes.add_line(piece)
        start = place.x + request.extent[0] - width(request.text, request.size)
        foot = middle - 0.34 * request.size
        letters(self.axes, start, foot, request.text, request.size, request.colour, places=places)


def settle_together(panels: Sequence[Labels]) -> None:
    """Place and draw the labels of panels of one scale, raising the tops of all alike, as far as needed.

    Raises
    ------
    InputFault
        The page is too small for the labels.
    """
    ends = [one.axes.get_ylim() for one in panels]
    for rise, longest in TRIES:
        for one, (low, high) in zip(panels, ends, strict=True):
            one.raise_axis(low, high, rise)
        if places := _places_of(panels, longest):
            for one, placed in zip(panels, places, strict=True):
                one.draw(placed)
            return
    raise InputFault([Fault("page", "", "has no room for the labels of the figure", "a larger page, fewer flights")])


def _places_of(panels: Sequence[Labels], longest: float) -> list[list[Placed]] | None:
    """Places of the labels of every panel with leaders up to a length [pt], or nothing if one finds none."""
    found: list[list[Placed]] = []
    for one in panels:
        placed = one.placed(longest)
        if placed is None:
            return None
        found.append(placed)
    return found


@dataclass(frozen=True)
class Room:
    """Distances [pt] by cells of the axes.

    Of a cell from other lines and labels; of a label centred in it from all lines and labels, zero where it would
    leave the axes; and from those that are not its own.
    """

    from_others: Array
    free: Array
    away: Array

    @classmethod
    def around(cls, own: Array, others: Array, extent: tuple[float, float], area: Array) -> Room:
        """Room for a label of an extent [pt] among points (n, 2) [pt] of its own line and of all else."""
        shape = (int(area[1] / STEP) + 1, int(area[0] / STEP) + 1)
        cells = (int(extent[1] / STEP) + 1, int(extent[0] / STEP) + 1)
        from_others = _distances(others, shape)
        from_all = np.minimum(from_others, _distances(own, shape))
        free = np.asarray(minimum_filter(from_all, size=cells, mode="constant", cval=0.0), dtype=float)
        edge = int(INSET / STEP)
        up, across = cells[0] // 2 + edge, cells[1] // 2 + edge
        inner = np.zeros(shape, dtype=bool)
        inner[up : shape[0] - up, across : shape[1] - across] = True
        free[~inner] = 0.0
        away = np.asarray(minimum_filter(from_others, size=cells, mode="constant", cval=0.0), dtype=float)
        return cls(from_others, free, away)

    def at(self, distances: Array, x: Array, y: Array) -> Array:
        """Distances [pt] in the cells of places x, y (...) [pt]; zero outside the axes."""
        column, row = np.rint(x / STEP).astype(int), np.rint(y / STEP).astype(int)
        high, wide = distances.shape
        inside = (row >= 0) & (row < high) & (column >= 0) & (column < wide)
        return np.where(inside, distances[np.clip(row, 0, high - 1), np.clip(column, 0, wide - 1)], 0.0)


def _distances(points: Array, shape: tuple[int, int]) -> Array:
    """Distance [pt] of every cell from the nearest of some points [pt]."""
    if not len(points):
        return np.full(shape, 1e3)
    empty = np.ones(shape, dtype=bool)
    column, row = np.rint(points / STEP).astype(int).T
    inside = (row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1])
    empty[row[inside], column[inside]] = False
    return np.asarray(distance_transform_edt(empty, sampling=STEP), dtype=float)


def _same(line: Array, own: Array) -> bool:
    """Whether two lines [pt] are one."""
    return line.shape == own.shape and bool(np.allclose(line, own))


def _beside(extent: tuple[float, float], own: Array, room: Room) -> Placed | None:
    """Place along the own line that is farthest from the others, and much nearer to its own than to any other."""
    wide, high = extent
    corners: list[tuple[float, float]] = []
    for x, y in own[:: max(1, int(4.0 / STEP))]:
        corners += [(x + 3.0 * GAP, y - 0.5 * high), (x - 3.0 * GAP - wide, y - 0.5 * high)]
        for left in (x, x - 0.5 * wide, x - wide):
            along = own[(own[:, 0] >= left - GAP) & (own[:, 0] <= left + wide + GAP), 1]
            corners += [(left, along.max() + 1.5 * GAP), (left, along.min() - 1.5 * GAP - high)]
    if not corners:
        return None
    left, bottom = np.asarray(corners, dtype=float).T
    middle = (left + 0.5 * wide, bottom + 0.5 * high)
    away = room.at(room.away, *middle)
    worth = np.minimum(away, 4.0 * high)
    worth[(room.at(room.free, *middle) < GAP) | (away < 2.0 * GAP + 2.0)] = -np.inf
    for index in np.flatnonzero(np.isfinite(worth)):
        worth[index] -= 0.2 * min(_spread(float(left[index]), float(bottom[index]), extent, own), 3.0 * high)
    best = int(worth.argmax())
    return Placed(float(left[best]), float(bottom[best]), None) if np.isfinite(worth[best]) else None


def _spread(x: float, y: float, extent: tuple[float, float], own: Array) -> float:
    """How far [pt] the own line runs away from a label along its width."""
    wide, high = extent
    along = own[(own[:, 0] >= x) & (own[:, 0] <= x + wide), 1]
    gaps = np.maximum(np.maximum(along - (y + high), y - along), 0.0)
    return float(gaps.max()) if len(gaps) else 0.0


def _apart(extent: tuple[float, float], own: Array, room: Room, longest: float) -> Placed | None:
    """Free place with the shortest leader, up to a length [pt], that crosses the fewest lines and labels."""
    size = np.asarray(extent)
    row, column = np.nonzero(room.free[::3, ::4] >= GAP)
    if not len(own) or not len(row):
        return None
    corners = np.column_stack([column * 4.0, row * 3.0]) * STEP - 0.5 * size
    anchors = own[:: max(1, int(5.0 / STEP))]
    lone = room.at(room.from_others, *anchors.T) > 2.5
    anchors = anchors[lone] if lone.any() else anchors
    low, high = corners[:, None, :] - 1.0, corners[:, None, :] + size + 1.0
    starts = np.clip(anchors[None, :, :], low, high)
    reach = np.hypot(*np.moveaxis(anchors[None, :, :] - starts, -1, 0))
    near = np.flatnonzero(reach < longest)
    if near.size > MOST_LEADERS:
        near = near[np.argpartition(reach.ravel()[near], MOST_LEADERS)[:MOST_LEADERS]]
    order = near[np.argsort(reach.ravel()[near], kind="stable")]
    best, chosen = longest, None
    for first in range(0, order.size, TOGETHER):
        place, anchor = np.unravel_index(order[first : first + TOGETHER], reach.shape)
        length = reach[place, anchor]
        if float(length[0]) >= best:
            break
        cost = length + 12.0 * _met(starts[place, anchor], anchors[anchor], length, room)
        least = int(cost.argmin())
        if float(cost[least]) < best:
            best, chosen = float(cost[least]), (int(place[least]), int(anchor[least]))
    if chosen is None:
        return None
    start, end = starts[chosen], anchors[chosen[1]]
    part = np.linspace(0.0, 1.0, max(2, int(float(reach[chosen]) / STEP)))[:, None]
    corner = corners[chosen[0]]
    return Placed(float(corner[0]), float(corner[1]), start * (1.0 - part) + end * part)


def _met(starts: Array, ends: Array, lengths: Array, room: Room) -> NDArray[np.intp]:
    """How many cells (leader,) with other lines or labels each leader crosses, its last three steps left out."""
    count = np.maximum(2, (lengths / STEP).astype(int))
    step = np.arange(int(count.max()))
    part = step * (1.0 / (count - 1.0))[:, None]
    x, y = (starts[:, None, axis] * (1.0 - part) + ends[:, None, axis] * part for axis in (0, 1))
    is_crossed = (room.at(room.from_others, x, y) < STEP) & (step < (count - 3)[:, None])
    return np.count_nonzero(is_crossed, axis=1)
