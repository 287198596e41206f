"""`optdescent slope`: how an aircraft slows on a path at idle, and the tailwind in which it no longer does."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.asked import as_asked
from optdescent.cli.options import debug_option, json_option, output_option
from optdescent.cli.say import guarded, say_json

if TYPE_CHECKING:
    from optdescent.airframe import Airframe
    from optdescent.corridor.slope import Slope
    from optdescent.results.slope import SlopeChart


@click.command(
    epilog="Example: optdescent slope narrow-body-twin --tailwind-kt 20 --tailwind-kt 40 -o out",
    short_help="How an aircraft slows on a path at idle.",
)
@click.argument("airframe")
@click.option("--angle-deg", "angle", type=float, default=3.0, show_default=True, help="Path angle over the ground.")
@click.option("--height-ft", "height", type=float, default=2000.0, show_default=True, help="Pressure altitude.")
@click.option(
    "--mass-kg",
    "masses",
    type=float,
    multiple=True,
    help="Mass; may be repeated [default: half-way between the least and the largest landing mass, and the latter].",
)
@click.option(
    "--tailwind-kt",
    "tailwinds",
    type=float,
    multiple=True,
    help="Wind along the track, tailwind positive; may be repeated [default: -20, 0, 20 and 40]. Still air is added.",
)
@output_option
@json_option
@debug_option
def slope(
    airframe: str,
    angle: float,
    height: float,
    masses: tuple[float, ...],
    tailwinds: tuple[float, ...],
    output: Path,
    as_json: bool,
    debug: bool,
) -> None:
    """Chart the deceleration of AIRFRAME, a file or a built-in name, on a path at idle.

    By configuration, against speed, wind and mass; the tailwind at which each configuration stops slowing; distance and
    height from each limit speed to the next; the room between the manoeuvring speed of each step and the next limit.
    """
    guarded(lambda: _slope(airframe, (angle, height), masses, tailwinds, output, as_json), debug)


def _slope(
    source: str,
    path: tuple[float, float],
    masses: tuple[float, ...],
    tailwinds: tuple[float, ...],
    output: Path,
    as_json: bool,
) -> None:
    from optdescent.airframe import read_airframe
    from optdescent.cli.write import check_output
    from optdescent.corridor.slope import slope_chart
    from optdescent.figures import save
    from optdescent.figures.slope import slope as draw
    from optdescent.results.files import write_text
    from optdescent.results.slope import room_plain, slope_csv, slope_plain, stretches_plain

    airframe = read_airframe(source)
    found = as_asked(slope_chart(airframe, _asked(airframe, path, masses, tailwinds)))
    check_output(output)
    figure = draw(found)
    files = [output / name for name in ("slope.nc", "slope.csv", "stretches.csv", "room.csv")]
    found.to_netcdf(files[0])
    found.to_csv(files[1])
    write_text(files[2], slope_csv(found, stretches_plain(found)))
    write_text(files[3], slope_csv(found, room_plain(found)))
    files += save(figure, output, "slope")
    if as_json:
        say_json({**slope_plain(found), "files": [str(file) for file in files]})
        return
    _say(found, output)


def _asked(
    airframe: Airframe, path: tuple[float, float], masses: tuple[float, ...], tailwinds: tuple[float, ...]
) -> Slope:
    from optdescent.corridor.slope import Slope, usual_slope
    from optdescent.units import DEGREE, FOOT, KNOT

    usual, (angle, height) = usual_slope(airframe), path
    winds = tuple(wind * KNOT for wind in tailwinds) or usual.tailwinds
    return Slope(angle * DEGREE, height * FOOT, masses or usual.masses, winds)


def _say(found: SlopeChart, output: Path) -> None:
    import numpy as np

    from optdescent.results.provenance import CAUTION
    from optdescent.units import DEGREE, FOOT

    winds, slowing = found.charted("tailwind"), found.charted("deceleration")[:, -1]
    click.echo(
        f"{found.provenance.title} ({found.provenance.scenario_digest}), {found.values('mass')[-1] / 1000.0:.1f} t"
    )
    click.echo(
        f"Least fall of speed [kt/nm] at idle, {found.angle / DEGREE:g} deg path, {found.altitude / FOOT:.0f} ft, "
        "over the speeds flown; below 0 it speeds up"
    )
    click.echo(f"{'tailwind':28s}" + "".join(f"{wind:7.0f} kt" for wind in winds))
    for name, values in zip(found.names("configuration"), slowing, strict=True):
        if np.isfinite(values).any():
            click.echo(f"  {name:26s}" + "".join(f"{one:10.1f}" for one in np.nanmin(values, axis=1)))
    click.echo("Room from the manoeuvring speed to the limit speed of the next step [kt], least to largest mass")
    for name, room in zip(found.names("step"), found.charted("room"), strict=True):
        click.echo(f"  {name:26s}{room[0]:10.0f}{room[-1]:10.0f}")
    click.echo(f"Results in {output}")
    click.echo(CAUTION)
