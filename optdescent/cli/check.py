"""`optdescent check`: what each input file is, and every fault in it."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from optdescent.cli.options import debug_option
from optdescent.cli.say import BAD_INPUT, guarded


@click.command(
    epilog="Example: optdescent check studies/first_descent/scenario.toml", short_help="Say every fault of files."
)
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@debug_option
def check(files: tuple[Path, ...], debug: bool) -> None:
    """Say what each input FILE is, and every fault in it: file, key, what was given, what is allowed."""
    guarded(lambda: _check_all(files), debug)


def _check_all(files: tuple[Path, ...]) -> None:
    from optdescent.inputs import InputFault

    is_bad = False
    for file in files:
        try:
            click.echo(f"{file}: {_described(file)}")
        except InputFault as fault:
            is_bad = True
            count = len(fault.faults)
            click.echo(f"{file}: {count} fault{'s' if count > 1 else ''}", err=True)
            for one in fault.faults:
                click.echo(f"  {one}", err=True)
    if is_bad:
        sys.exit(BAD_INPUT)


def _described(file: Path) -> str:
    """What a file is, once it has been read without a fault.

    Raises
    ------
    InputFault
        Every fault of the file, or that it is no input file.
    """
    from optdescent.air.wind.sounding import read_sounding
    from optdescent.airframe import read_airframe
    from optdescent.inputs import Fault, InputFault, read_text, read_toml
    from optdescent.rules import read_rules
    from optdescent.scenario import Scenario
    from optdescent.units import FOOT

    if file.suffix.lower() == ".csv":
        sounding = read_sounding(str(file), read_text(file))
        low, high = sounding.height[0] / FOOT, sounding.height[-1] / FOOT
        return f"sounding, {sounding.height.size} levels with wind from {low:.0f} to {high:.0f} ft ({sounding.title})"
    keys = set(read_toml(file))
    if "rules" in keys:
        rules = read_rules(file)
        return f"rules: {', '.join(rule.name for rule in rules)}"
    if keys & {"wing", "steps", "engines"}:
        return f"airframe: {read_airframe(str(file.resolve())).title}"
    if keys & {"arrival", "start", "airframe", "air"}:
        scenario = Scenario.from_toml(file)
        return f"scenario {scenario.digest}: {scenario.title}"
    known = "a scenario (arrival, start), rules (rules), an airframe (wing, steps), or a sounding (.csv)"
    raise InputFault([Fault(str(file), "", f"is no known input file (its keys are {sorted(keys)})", known)])
