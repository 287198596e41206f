"""`optdescent margins`: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.options import common_options, scenario_argument
from optdescent.cli.say import OPTIMUM_SECONDS, RULE_SECONDS, WRITING_SECONDS, Progress, guarded, say_json

if TYPE_CHECKING:
    from optdescent.results.margins import Margins


@click.command(
    epilog="Example: optdescent margins studies/first_descent/scenario.toml --set air.wind.kind=none -o out",
    short_help="The main job: rules of thumb against the optimum.",
)
@scenario_argument
@common_options
@click.option(
    "--rules",
    "rules_file",
    type=click.Path(path_type=Path),
    default=None,
    help="Rule file, or the name of a rule file of the package [default: the rules.toml beside the scenario, else "
    "three_rules].",
)
def margins(
    scenario: Path, output: Path, settings: tuple[str, ...], as_json: bool, debug: bool, rules_file: Path | None
) -> None:
    """Fly each rule of thumb through the air of SCENARIO and show what separates it from the optimum."""
    guarded(lambda: _margins(scenario, output, settings, as_json, rules_file), debug)


def _margins(path: Path, output: Path, settings: tuple[str, ...], as_json: bool, rules_file: Path | None) -> None:
    from optdescent.cli.write import check_output, write_figures, write_flights
    from optdescent.margins import margins as compare
    from optdescent.results.plain import Plain, margins_plain
    from optdescent.rules import read_rules
    from optdescent.scenario import Scenario

    scenario = Scenario.from_toml(path, settings)
    check_output(output)
    beside = path.parent / "rules.toml"
    rules = read_rules(rules_file or (beside if beside.exists() else "three_rules"))
    progress = Progress([*OPTIMUM_SECONDS, *([RULE_SECONDS] * len(rules)), WRITING_SECONDS])
    found = compare(scenario, rules, progress)
    progress("writing tables and figures")
    files = write_flights(found.flights, output)
    for table in (output / "margins.csv", output / "margins.nc"):
        (found.to_csv if table.suffix == ".csv" else found.to_netcdf)(table)
        files.append(table)
    files += write_figures(found.flights, output)
    plain: Plain = {**margins_plain(found), "files": [str(file) for file in files]}
    if as_json:
        say_json(plain)
    else:
        _say(found, plain["caution"], output)


_SHOWN = (
    ("fuel_kg", "fuel, kg"),
    ("fuel_above_optimum_kg", "fuel above the optimum, kg"),
    ("time_min", "time, min"),
    ("top_of_descent_nm", "top of descent, nm to go"),
    ("thrust_distance_nm", "thrust above idle, nm"),
    ("thrust_fuel_kg", "thrust above idle, kg"),
    ("brake_distance_nm", "speed brake, nm"),
    ("excess_energy_25_nm_ft", "excess energy at 25 nm, ft"),
    ("excess_energy_10_nm_ft", "excess energy at 10 nm, ft"),
    ("capture_speed_kt", "speed at glide path capture, kt"),
    ("gate_speed_1000_ft_kt", "speed at 1000 ft, kt"),
    ("gate_stable_1000_ft", "stable at 1000 ft (1) or not (0)"),
    ("gate_stable_500_ft", "stable at 500 ft (1) or not (0)"),
)


def _say(found: Margins, caution: str, output: Path) -> None:
    header, rows = found.rows()
    click.echo(f"{found.provenance.title} ({found.provenance.scenario_digest})")
    width = max(len(sentence) for _, sentence in _SHOWN) + 2
    click.echo(" " * width + "".join(f"{row[0]:>20s}" for row in rows))
    for key, sentence in _SHOWN:
        column = header.index(key)
        click.echo(f"{sentence:{width}s}" + "".join(f"{row[column]:>20s}" for row in rows))
    for flight in found.flights:
        for reason in (*flight.summary.gate.reasons, *(b.sentence for b in flight.summary.breaches)):
            click.echo(f"  {flight.name}: {reason}")
    click.echo(f"Results in {output}")
    click.echo(caution)
