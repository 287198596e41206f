"""`optdescent optimise`: the optimal descent of one scenario."""

from __future__ import annotations

from pathlib import Path

import click

from optdescent.cli.asked import as_asked
from optdescent.cli.options import common_options, scenario_argument
from optdescent.cli.say import OPTIMUM_SECONDS, WRITING_SECONDS, Progress, guarded, say_json


@click.command(
    epilog="Example: optdescent optimise studies/first_descent/scenario.toml --json -o out",
    short_help="The optimal descent of a scenario.",
)
@scenario_argument
@common_options
def optimise(scenario: Path, output: Path, settings: tuple[str, ...], as_json: bool, debug: bool) -> None:
    """Find the optimal descent of SCENARIO; write it as netCDF, with figures, into the output folder."""
    guarded(lambda: _optimise(scenario, output, settings, as_json), debug)


def _optimise(path: Path, output: Path, settings: tuple[str, ...], as_json: bool) -> None:
    from optdescent.cli.write import check_letters_of, check_output, write_figures, write_flights
    from optdescent.optimum import optimise as find
    from optdescent.results.plain import Plain, optimum_plain
    from optdescent.scenario import Scenario

    scenario = Scenario.from_toml(path, settings)
    check_output(output)
    check_letters_of(scenario.title)
    progress = Progress([*OPTIMUM_SECONDS, WRITING_SECONDS])
    flight = as_asked(find(scenario, progress))
    progress("writing the flight and figures")
    files = [*write_flights((flight,), output), *write_figures((flight,), output)]
    plain: Plain = {**optimum_plain(flight), "files": [str(file) for file in files]}
    if as_json:
        say_json(plain)
        return
    optimum: Plain = plain["optimum"]
    click.echo(f"{scenario.title} ({scenario.digest})")
    for key in ("fuel_kg", "time_min", "top_of_descent_nm", "thrust_above_idle_nm", "speed_brake_nm"):
        click.echo(f"  {key:22s} {optimum[key]:10.1f}")
    for event in optimum["events"]:
        at = f"{event['distance_nm']:7.1f} nm {event['altitude_ft']:7.0f} ft {event['speed_kt']:5.0f} kt"
        click.echo(f"  {event['event']:34s} {at}")
    click.echo(f"  results in {output}")
    click.echo(plain["caution"])
