"""`optdescent chart`: figures for a manual, of one source."""

from __future__ import annotations

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.options import debug_option, json_option, output_option
from optdescent.cli.say import guarded, say_json

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from optdescent.figures import Page


class Kind(Enum):
    """What a chart can be drawn of."""

    AIRFRAME = "airframe"


@click.command(
    epilog="Example: optdescent chart airframe narrow-body-twin --figure polar --page a5 --format pdf -o out",
    short_help="Figures for a manual.",
)
@click.argument("kind", type=click.Choice([kind.value for kind in Kind]))
@click.argument("source")
@click.option("--figure", "figures", multiple=True, help="Figure to draw; may be repeated [default: every figure].")
@click.option("--page", default="a4", show_default=True, help="Size of the figure: a4, a5, letter, column or slide.")
@click.option(
    "--format",
    "formats",
    multiple=True,
    type=click.Choice(["pdf", "svg", "png"]),
    help="File format; may be repeated [default: all].",
)
@output_option
@json_option
@debug_option
def chart(
    kind: str,
    source: str,
    figures: tuple[str, ...],
    page: str,
    formats: tuple[str, ...],
    output: Path,
    as_json: bool,
    debug: bool,
) -> None:
    """Draw the figures of SOURCE. KIND says what it is; of an airframe, SOURCE is a file or a built-in name.

    Figures of an airframe: polar, idle, operating-speeds.
    """
    guarded(lambda: _chart(Kind(kind), source, figures, page, formats, output, as_json), debug)


def _chart(
    kind: Kind,
    source: str,
    figures: tuple[str, ...],
    page: str,
    formats: tuple[str, ...],
    output: Path,
    as_json: bool,
) -> None:
    from optdescent.cli.write import check_output
    from optdescent.figures import Format, page_named, save
    from optdescent.results.caution import CAUTION

    paper = page_named(page)
    kinds = tuple(Format(name) for name in formats) or tuple(Format)
    check_output(output)
    match kind:
        case Kind.AIRFRAME:
            drawn = _of_airframe(source, figures, paper)
    files = [str(path) for name, figure in drawn for path in save(figure, output, name, kinds)]
    if as_json:
        say_json({"kind": kind.value, "source": source, "files": files, "caution": CAUTION})
        return
    for file in files:
        click.echo(file)
    click.echo(CAUTION)


def _of_airframe(source: str, figures: tuple[str, ...], page: Page) -> list[tuple[str, Figure]]:
    """Name and figure of each figure of an airframe.

    Raises
    ------
    InputFault
        Every fault of the airframe, a figure that there is not, or a page with no room for it.
    """
    from optdescent.airframe import read_airframe
    from optdescent.figures import AIRFRAME_FIGURES, draw_airframe
    from optdescent.motion.airframe_numbers import airframe_numbers

    numbers = airframe_numbers(read_airframe(source))
    return [(name, draw_airframe(name, numbers, page)) for name in figures or tuple(AIRFRAME_FIGURES)]
