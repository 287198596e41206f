"""`optdescent identify`: airframe numbers from recorded flights."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.asked import as_asked
from optdescent.cli.options import debug_option, json_option, output_option
from optdescent.cli.say import WRITING_SECONDS, Progress, guarded, say_json

if TYPE_CHECKING:
    from optdescent.identify import Identified, Method

_FIT_SECONDS = 1.0


@click.command(
    epilog="Example: optdescent identify first.nc second.nc --airframe narrow-body-twin --fix gear.drag -o out",
    short_help="Drag and idle thrust of an airframe from recorded flights.",
)
@click.argument("flights", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--airframe",
    required=True,
    metavar="NAME_OR_FILE",
    help="Airframe to start from, built in or a file: all that is not fitted is taken from it.",
)
@click.option(
    "--scenario",
    type=click.Path(path_type=Path),
    default=None,
    help="Scenario whose wind and temperature stand in for the flights' own columns.",
)
@click.option(
    "--fix",
    "fixed",
    multiple=True,
    metavar="KEY[=VALUE]",
    help="Do not fit this coefficient: hold it at a value, or at the declared one. May be given several times.",
)
@click.option(
    "--speed",
    type=click.Choice(["calibrated", "true"]),
    default="calibrated",
    show_default=True,
    help="Which airspeed was measured.",
)
@click.option("--speed-noise-kt", type=click.FloatRange(min=0.0, min_open=True), help="Noise of it; else estimated.")
@click.option(
    "--altitude-noise-ft",
    type=click.FloatRange(min=0.0, min_open=True),
    help="Noise of pressure altitude; else estimated.",
)
@output_option
@json_option
@debug_option
def identify(
    flights: tuple[Path, ...],
    airframe: str,
    scenario: Path | None,
    fixed: tuple[str, ...],
    speed: str,
    speed_noise_kt: float | None,
    altitude_noise_ft: float | None,
    output: Path,
    as_json: bool,
    debug: bool,
) -> None:
    """Find drag by configuration and idle thrust from recorded FLIGHTS (netCDF), or say what they cannot tell.

    Writes a table, the residuals as a figure, and an airframe file with the numbers found.
    """

    def work() -> None:
        method = _method(speed, speed_noise_kt, altitude_noise_ft)
        _identify(flights, airframe, scenario, fixed, method, output, as_json)

    guarded(work, debug)


def _method(speed: str, speed_noise: float | None, altitude_noise: float | None) -> Method:
    from optdescent.identify import MeasuredSpeed, Method, Noise
    from optdescent.units import FOOT, KNOT

    noise = Noise(
        None if speed_noise is None else speed_noise * KNOT, None if altitude_noise is None else altitude_noise * FOOT
    )
    return Method(MeasuredSpeed.TRUE if speed == "true" else MeasuredSpeed.CALIBRATED, noise)


def _identify(
    paths: tuple[Path, ...],
    name: str,
    scenario_path: Path | None,
    fixed: tuple[str, ...],
    method: Method,
    output: Path,
    as_json: bool,
) -> None:
    from optdescent.airframe import read_airframe
    from optdescent.cli.write import check_output
    from optdescent.identify import identify as find
    from optdescent.results import CAUTION, Flight
    from optdescent.results.fit import fit_plain
    from optdescent.scenario import Scenario

    airframe = read_airframe(name)
    scenario = None if scenario_path is None else Scenario.from_toml(scenario_path)
    flights = [(str(path), Flight.from_netcdf(path)) for path in paths]
    check_output(output)
    progress = Progress([_FIT_SECONDS * len(flights), WRITING_SECONDS])
    progress("fitting")
    found = find(flights, airframe, name, scenario, fixed, method)
    found = replace(found, fit=as_asked(found.fit))
    progress("writing tables and figures")
    files = _written(found, output)
    if as_json:
        say_json({**fit_plain(found.fit), "files": [str(file) for file in files]})
        return
    click.echo(found.fit.provenance.title)
    for row in found.fit.lines():
        click.echo(f"  {row}")
    click.echo(f"Results in {output}")
    click.echo(CAUTION)


def _written(found: Identified, folder: Path) -> list[Path]:
    """Write table, dataset, airframe file and figure; returns the paths."""
    import json

    from optdescent.figures import save
    from optdescent.figures.fit import fit as draw
    from optdescent.identify import airframe_text
    from optdescent.results.files import write_text
    from optdescent.results.fit import fit_plain

    table, dataset, airframe = (folder / f"{name}" for name in ("fit.txt", "fit.nc", "airframe.toml"))
    write_text(table, found.fit.text())
    write_text(folder / "fit.json", json.dumps(fit_plain(found.fit), ensure_ascii=False, allow_nan=False, indent=2))
    found.fit.to_netcdf(dataset)
    write_text(airframe, airframe_text(found.airframe, found.fit))
    return [table, folder / "fit.json", dataset, airframe, *save(draw(found.fit), folder, "fit")]
