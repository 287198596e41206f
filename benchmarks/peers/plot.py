"""Times of all libraries on all cases, legible in grey-scale print: one row a case, one mark a library."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from benchmarks.peers.contest import Result
from benchmarks.peers.engine import Engine

_WRONG = "wrong optimum"
_MARKS = (("s", "white"), ("^", "0.65"), ("D", "white"), ("v", "0.35"), ("P", "white"))


def draw(results: Sequence[Result], folder: Path, stem: str) -> None:
    """Write ``stem``.pdf and .png into ``folder``."""
    cases = list(dict.fromkeys(r.case for r in results))
    libraries = [n for n in dict.fromkeys(r.library for r in results) if n != "refined"]
    figure = Figure(figsize=(9.0, 1.6 + 0.5 * len(cases)), layout="constrained")
    left, right = figure.subplots(1, 2, sharey=True)
    for axes, title in ((left, "build + first solve"), (right, "re-solve with a changed parameter")):
        axes.set_title(title, fontsize=10, loc="left")
        axes.set_xscale("log")
        axes.margins(x=0.08)
        axes.set_xlabel("time, ms")
        axes.grid(axis="x", which="major", color="0.85", linewidth=0.6)
        axes.set_axisbelow(True)
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
        for row in range(len(cases) - 1):
            axes.axhline(row + 0.5, color="0.85", linewidth=0.6, zorder=0)
    for axes, again in ((left, False), (right, True)):
        for place, library in enumerate(libraries):
            own = [r for r in results if r.library == library]
            step = 0.5 * (place / max(len(libraries) - 1, 1) - 0.5)
            _mark(
                axes,
                own,
                [cases.index(r.case) + step for r in own],
                _look(library, place),
                [r.again if again else r.first for r in own],
            )
    left.set_yticks(range(len(cases)), cases)
    left.set_ylim(len(cases) - 0.4, -0.6)
    left.tick_params(axis="y", length=0)
    right.tick_params(axis="y", length=0)
    handles, labels = left.get_legend_handles_labels()
    unique = dict(zip(labels, handles, strict=True))
    if _WRONG in unique:
        unique[_WRONG] = unique.pop(_WRONG)
    figure.legend(
        list(unique.values()), list(unique), loc="outside lower center", ncols=len(unique), frameon=False, fontsize=9
    )
    with mpl.rc_context({"svg.fonttype": "none", "pdf.fonttype": 42}):
        figure.savefig(folder / f"{stem}.pdf")
        figure.savefig(folder / f"{stem}.png", dpi=150)


def _look(library: str, place: int) -> tuple[str, str]:
    return ("o", "black") if library == Engine.name else _MARKS[(place - 1) % len(_MARKS)]


def _mark(
    axes: Axes, own: Sequence[Result], rows: Sequence[float], look: tuple[str, str], seconds: Sequence[float]
) -> None:
    marker, face = look
    placed = [(1e3 * s, row, r) for s, row, r in zip(seconds, rows, own, strict=True)]
    right = [(x, y) for x, y, r in placed if r.is_right]
    wrong = [(x, y) for x, y, r in placed if r.status == "wrong optimum"]
    if right:
        axes.plot(
            *zip(*right, strict=True), marker, color="black", markerfacecolor=face, markersize=6, label=own[0].library
        )
    if wrong:
        axes.plot(*zip(*wrong, strict=True), marker, color="0.6", markerfacecolor="none", markersize=8)
        axes.plot(*zip(*wrong, strict=True), "x", color="black", markersize=5, label=_WRONG)
