"""`optdescent chart`: figures for a manual, of stored results or of an airframe."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.options import debug_option, json_option, output_option
from optdescent.cli.say import guarded, say_json

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from optdescent.figures import Choice, Page
    from optdescent.results.airframe import AirframeNumbers
    from optdescent.results.files import InputFault
    from optdescent.results.kinds import Stored

_AIRFRAME = "airframe"

_FIGURES = (
    ("flights (.nc)", "height, speed, energy; of optima also wind"),
    ("flights, last_useful.csv", "last-action too"),
    ("margins.nc", "margins"),
    ("conditions.nc", "margins, rule-map"),
    ("sweep (its folder)", "slices, rule-map"),
    ("debrief.nc", "debrief, energy, last-action"),
    ("corridor.nc", "corridor"),
    ("slope.nc", "slope"),
    ("front.nc", "front"),
    ("fit.nc", "fit"),
    ("rule sheet (.nc)", "rule-sheet"),
    ("airframe (name or .toml)", "polar, idle, operating-speeds"),
)
"""What may be given, and the figures that it has."""


class _Chart(click.Command):
    """The command, whose help has a table of figures below its text."""

    figures = _FIGURES

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the text, and the table in columns as wide as the terminal allows."""
        super().format_help_text(ctx, formatter)
        with formatter.section("Figures of each RESULT"):
            formatter.write_dl(list(self.figures))


@dataclass(frozen=True)
class _Asked:
    """Which figures, what of the results, on which page and in which formats; none: every figure, all formats."""

    figures: tuple[str, ...]
    axes: tuple[str, ...]
    quantity: str
    rules: tuple[str, ...]
    page: str
    formats: tuple[str, ...]


@click.command(
    cls=_Chart,
    epilog="Example: optdescent chart airframe narrow-body-twin --figure polar --page a5 --format pdf -o out\n\n"
    "Example: optdescent chart out/conditions.nc --figure rule-map -o out",
    short_help="Figures for a manual.",
)
@click.argument("results", nargs=-1, required=True, metavar="RESULT...")
@click.option(
    "--figure", "figures", multiple=True, help="Figure to draw; may be repeated [default: every one that can be drawn]."
)
@click.option("--page", default="a4", show_default=True, help="Size of the figure: a4, a5, letter, column or slide.")
@click.option(
    "--format",
    "formats",
    multiple=True,
    type=click.Choice(["pdf", "svg", "png"]),
    help="File format; may be repeated [default: all].",
)
@click.option("--rule", "rules", multiple=True, help="Rule to show, of margins, rule-map, slices; may be repeated.")
@click.option(
    "--axis",
    "axes",
    multiple=True,
    help="Varied quantity to draw over: of rule-map the one across and the one upright; of slices the one across, the "
    "one whose levels are lines, the one whose levels are panels [default: those that explain most; the first].",
)
@click.option(
    "--quantity", default="", help="Quantity of a sweep to draw slices of [default: fuel; of a corridor, its heights]."
)
@output_option
@json_option
@debug_option
def chart(
    results: tuple[str, ...],
    figures: tuple[str, ...],
    page: str,
    formats: tuple[str, ...],
    rules: tuple[str, ...],
    axes: tuple[str, ...],
    quantity: str,
    output: Path,
    as_json: bool,
    debug: bool,
) -> None:
    """Draw figures of RESULT: a stored result, several flights, or an airframe.

    An airframe may also be given as `chart airframe SOURCE`.
    """
    asked = _Asked(figures, axes, quantity, rules, page, formats)
    guarded(lambda: _chart(results, asked, output, as_json), debug)


def _chart(sources: tuple[str, ...], asked: _Asked, output: Path, as_json: bool) -> None:
    from optdescent.caution import CAUTION
    from optdescent.cli.write import check_output, not_drawn
    from optdescent.figures import Choice, Format, page_named, save
    from optdescent.figures.of_stored import said_of

    paper = page_named(asked.page)
    kinds = tuple(Format(name) for name in asked.formats) or tuple(Format)
    check_output(output)
    own = sources[1:] if len(sources) == 2 and sources[0] == _AIRFRAME else sources
    results = tuple(_read(source, is_airframe=own != sources) for source in own)
    choice = Choice(asked.axes, asked.quantity, asked.rules)
    drawn, refused = _drawn(asked.figures, results, paper, choice)
    files = [str(path) for name, figure in drawn.items() for path in save(figure, output, name, kinds)]
    missing = not_drawn(refused)
    for sentence in missing:
        click.echo(f"optdescent: {sentence}", err=True)
    if as_json:
        told = {"kind": said_of(results), "source": own[0], "sources": list(own)}
        say_json({**told, "files": files, "figures_not_drawn": missing, "caution": CAUTION})
        return
    for file in files:
        click.echo(file)
    click.echo(CAUTION)


def _drawn(
    names: tuple[str, ...], results: tuple[Stored | AirframeNumbers, ...], page: Page, choice: Choice
) -> tuple[dict[str, Figure], dict[str, InputFault]]:
    """Figures that are named; where none is, every one that can be drawn, and why others cannot.

    Raises
    ------
    InputFault
        One that is named cannot be drawn, or not one of all.
    """
    from optdescent.cli.write import draw_every
    from optdescent.figures import draw_stored
    from optdescent.results.files import InputFault

    if names:
        return {name: draw_stored(name, results, page, choice) for name in dict.fromkeys(names)}, {}
    drawn, refused = draw_every(results, page, choice)
    if not drawn:
        raise InputFault(list(dict.fromkeys(fault for one in refused.values() for fault in one.faults)))
    return drawn, refused


def _read(source: str, *, is_airframe: bool) -> Stored | AirframeNumbers:
    """Result of a file, or the numbers of an airframe that is named or declared in a file.

    Raises
    ------
    InputFault
        There is none, or every fault of it.
    """
    from optdescent.airframe import BUILT_IN, read_airframe
    from optdescent.motion.airframe_numbers import airframe_numbers
    from optdescent.results.stored import read_stored

    path = Path(source)
    if is_airframe or path.suffix.lower() == ".toml" or (source in BUILT_IN and not path.exists()):
        return airframe_numbers(read_airframe(source))
    return read_stored(path)
