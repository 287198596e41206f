"""`optdescent corridor`: what is still reachable, and the last point at which each device saves the approach."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.asked import as_asked
from optdescent.cli.now import check_now, now_option
from optdescent.cli.options import common_options, scenario_argument
from optdescent.cli.say import RULE_SECONDS, WRITING_SECONDS, Progress, guarded, say_json

if TYPE_CHECKING:
    from optdescent.corridor import Grid
    from optdescent.results import Flight
    from optdescent.results.corridor import Corridor
    from optdescent.results.last_action import LastActions
    from optdescent.scenario import Scenario

_EDGE_SECONDS, _AGAIN_SECONDS = 4.0, 10.0
"""Of one edge, and of flying all points again."""


@click.command(
    epilog="Example: optdescent corridor studies/first_descent/scenario.toml --set air.wind.kind=none -o out",
    short_help="What is still reachable with which devices.",
)
@scenario_argument
@common_options
@click.option(
    "--distance-nm",
    "distances",
    type=float,
    multiple=True,
    help="Distance to go; may be repeated [default: twenty, from before the farthest capture of the glide path].",
)
@click.option(
    "--speed-kt",
    "speeds",
    type=float,
    multiple=True,
    help="Calibrated airspeed; may be repeated [default: 190, 210, 230, 250 and 280, as far as the airframe goes].",
)
@click.option(
    "--rules",
    "rules_file",
    type=click.Path(path_type=Path),
    default=None,
    help="Rules whose flights are asked for their last useful points: a file, or the name of a rule file of the "
    "package [default: the rules.toml beside the scenario, else three_rules].",
)
@now_option
def corridor(
    scenario: Path,
    output: Path,
    settings: tuple[str, ...],
    as_json: bool,
    debug: bool,
    distances: tuple[float, ...],
    speeds: tuple[float, ...],
    rules_file: Path | None,
    now: float | None,
) -> None:
    """Find from which heights the gate of SCENARIO can still be met, by distance to go, speed and drag devices.

    Then fly the rules as a crew would, and say at which point of each flight each device is the last to save the
    approach; the flights are stored, for `chart`. Windows and hold-downs are left out.
    """
    wanted = distances, speeds
    guarded(lambda: _corridor(scenario, output, settings, as_json, wanted, rules_file, now), debug)


def _corridor(
    path: Path,
    output: Path,
    settings: tuple[str, ...],
    as_json: bool,
    wanted: tuple[tuple[float, ...], tuple[float, ...]],
    rules_file: Path | None,
    now: float | None,
) -> None:
    from optdescent.cli.write import check_letters_of, check_output, write_flights
    from optdescent.corridor import ALL_SETS, Grid, check_grid, edges_for, last_actions
    from optdescent.corridor import corridor as find
    from optdescent.figures import save
    from optdescent.figures.corridor import corridor as draw
    from optdescent.results.corridor import corridor_plain
    from optdescent.results.files import write_text
    from optdescent.results.last_action import last_actions_csv, last_actions_plain
    from optdescent.rules import read_rules
    from optdescent.rules.fly import fly
    from optdescent.rules.read import rules_text
    from optdescent.rules.startable import check_start
    from optdescent.scenario import Scenario

    scenario = Scenario.from_toml(path, settings)
    grid = _grid(scenario, wanted)
    check_grid(scenario, grid)
    beside = path.parent / "rules.toml"
    source = rules_file or (beside if beside.exists() else Path("three_rules"))
    rules = read_rules(source)
    check_start(scenario, rules, str(source))
    check_output(output)
    check_letters_of(scenario.title, *(rule.name for rule in rules))
    sets = len(ALL_SETS) + 1
    weights = [*([RULE_SECONDS] * len(rules)), *([_EDGE_SECONDS] * sets), _AGAIN_SECONDS, WRITING_SECONDS]
    progress = Progress(weights)
    flights: list[Flight] = []
    for rule in rules:
        progress(f"flying {rule.name}")
        flights.append(fly(scenario, rule))
    check_now(now, flights)
    fastest = max([*grid.speeds, *(_fastest(flight, max(grid.distances)) for flight in flights)])
    edges = edges_for(scenario, Grid(grid.distances, (*grid.speeds, fastest)), ALL_SETS, progress)
    progress("flying the corridor's descents again")
    texts = rules_text(source)
    found = as_asked(find(edges, grid), rules=texts)
    flights = [as_asked(flight, rules=texts) for flight in flights]
    told = [replace(last_actions(edges, flight), now=now) for flight in flights]
    progress("writing table and figure")
    files = [output / "corridor.nc", output / "corridor.csv", output / "last_useful.csv"]
    flown = write_flights(flights, output, taken=(files[0].stem,))
    found.to_netcdf(files[0])
    found.to_csv(files[1])
    write_text(files[2], last_actions_csv(told))
    files += flown
    files += save(draw(found), output, "corridor")
    if as_json:
        plain = {**corridor_plain(found), "last_useful": [last_actions_plain(one) for one in told]}
        say_json({**plain, "files": [str(file) for file in files]})
        return
    _say(found, told, output)


def _grid(scenario: Scenario, wanted: tuple[tuple[float, ...], tuple[float, ...]]) -> Grid:
    from optdescent.corridor import Grid, usual_grid
    from optdescent.units import KNOT, NAUTICAL_MILE

    usual = usual_grid(scenario)
    distances = tuple(sorted({distance * NAUTICAL_MILE for distance in wanted[0]})) or usual.distances
    return Grid(distances, tuple(sorted({speed * KNOT for speed in wanted[1]})) or usual.speeds)


def _fastest(flight: Flight, farthest: float) -> float:
    """Largest calibrated airspeed [m/s] of a flight within a distance to go [m]."""
    near = flight.column("distance_to_go") <= farthest
    return float(flight.column("calibrated_airspeed")[near].max())


def _say(found: Corridor, told: list[LastActions], output: Path) -> None:
    from optdescent.results.provenance import CAUTION
    from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

    distances, speeds = found.values("distance_to_go") / NAUTICAL_MILE, found.values("speed") / KNOT
    highest = found.values("highest") / FOOT
    lowest = {
        "lowest, without thrust": found.values("lowest") / FOOT,
        "lowest, with thrust": found.values("lowest_with_thrust") / FOOT,
    }
    click.echo(f"{found.provenance.title} ({found.provenance.scenario_digest}), {found.mass / 1000.0:.1f} t")
    click.echo("Highest height above the threshold from which the gate can be met [ft]; - : from none")
    for column, speed in enumerate(speeds):
        click.echo(f"{speed:.0f} kt" + " " * 19 + "".join(f"{distance:7.0f} nm" for distance in distances[::3]))
        for devices, heights in zip(found.devices, highest, strict=True):
            click.echo(f"  {devices:22s}" + "".join(_height(one) for one in heights[::3, column]))
        for named, heights in lowest.items():
            click.echo(f"  {named:22s}" + "".join(_height(one) for one in heights[::3, column]))
    click.echo(_again(found))
    for one in told:
        click.echo(f"{one.flight}:")
        for sentence in one.sentences:
            click.echo(f"  {sentence}")
    click.echo(f"Results in {output}")
    click.echo(CAUTION)


def _again(found: Corridor) -> str:
    """What flying the highest descents again took, and where none was kept."""
    import numpy as np

    from optdescent.units import FOOT

    is_kept, taken_off = found.values("stable_again"), found.values("taken_off")
    if not (is_kept == 1.0).any():
        return "From none of the points was a descent kept when it was flown again"
    lost, most = int((is_kept == 0.0).sum()), float(np.nanmax(taken_off)) / FOOT
    without = f"; {lost} points have no height because none was kept" if lost else ""
    return (
        "From each height the descent was flown again: the gate passed stable, limits kept on the way; "
        f"at most {most:.0f} ft taken off for it{without}"
    )


def _height(feet: float) -> str:
    return f"{'-':>10s}" if feet != feet else f"{round(feet, -1):10.0f}"
