"""`optdescent capture`: whether and how the glide path can be captured from above from where a flight is."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from optdescent.cli.options import common_options, scenario_argument
from optdescent.cli.say import guarded, say_json


@dataclass(frozen=True)
class _State:
    """Where the flight is: distance to go [nm], height above the threshold [ft], speed [kt], devices, mass [kg]."""

    distance: float
    height: float
    speed: float
    flaps: int
    is_gear_down: bool
    mass: float | None


@click.command(
    epilog="Example: optdescent capture studies/recordings/scenario.toml --distance-nm 12 --height-ft 4600 "
    "--speed-kt 190 --flaps 1 -o out",
    short_help="Whether the glide path can be captured from above.",
)
@scenario_argument
@click.option("--distance-nm", "distance", type=float, required=True, help="Distance to go to the threshold.")
@click.option("--height-ft", "height", type=float, required=True, help="Height above the threshold.")
@click.option("--speed-kt", "speed", type=float, required=True, help="Calibrated airspeed.")
@click.option("--flaps", type=click.IntRange(0), default=0, show_default=True, help="Step of slats and flaps out.")
@click.option("--gear-down", is_flag=True, help="The gear is down.")
@click.option("--mass-kg", "mass", type=float, default=None, help="Mass there [default: the scenario's].")
@common_options
def capture(
    scenario: Path,
    distance: float,
    height: float,
    speed: float,
    flaps: int,
    gear_down: bool,
    mass: float | None,
    output: Path,
    settings: tuple[str, ...],
    as_json: bool,
    debug: bool,
) -> None:
    """Say whether the glide path of SCENARIO can be captured from above from one state, how, and until where.

    Sink rates stay within the arrival's limits and speeds below the devices'. The answer names the devices needed,
    where the path is met, where the gear is due, and the distance by which it must have begun or be abandoned.
    """
    state = _State(distance, height, speed, flaps, gear_down, mass)
    guarded(lambda: _capture(scenario, state, settings, output, as_json), debug)


def _capture(path: Path, state: _State, settings: tuple[str, ...], output: Path, as_json: bool) -> None:
    from optdescent.caution import CAUTION
    from optdescent.cli.write import check_output
    from optdescent.corridor import from_above
    from optdescent.results.from_above import Situation, from_above_plain
    from optdescent.scenario import Scenario
    from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

    scenario = Scenario.from_toml(path, settings)
    check_output(output)
    mass = scenario.start.mass if state.mass is None else state.mass
    situation = Situation(
        state.distance * NAUTICAL_MILE, state.height * FOOT, state.speed * KNOT, mass, state.flaps, state.is_gear_down
    )
    found = from_above(scenario, situation)
    file = output / "capture.csv"
    found.to_csv(file)
    if as_json:
        say_json({**from_above_plain(found), "files": [str(file)], "caution": CAUTION})
        return
    click.echo(f"{scenario.title} ({scenario.digest}), {mass / 1000.0:.1f} t")
    click.echo(found.sentence)
    click.echo(f"Results in {output}")
    click.echo(CAUTION)
