"""`optdescent debrief`: a recorded descent against rules, corridor and optimum; and the invented ones to try it on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.asked import as_asked
from optdescent.cli.now import check_now, now_option
from optdescent.cli.options import common_options, debug_option, output_option
from optdescent.cli.say import OPTIMUM_SECONDS, RULE_SECONDS, WRITING_SECONDS, Progress, guarded, say_json

if TYPE_CHECKING:
    from optdescent.debrief import Action
    from optdescent.results import Flight
    from optdescent.results.debrief import Debrief, WhatIf
    from optdescent.results.reading import LeftOut
    from optdescent.rules import Rule
    from optdescent.scenario import Scenario

_EDGE_SECONDS = 2.0


class Air(Enum):
    """Whose mass, wind and temperature a flight is debriefed in."""

    RECORDING = "recording"
    SCENARIO = "scenario"


@click.command(
    epilog="Example: optdescent debrief studies/recordings/late-gear.csv --scenario studies/recordings/scenario.toml "
    "--what-if 1310 gear -o out",
    short_help="A recorded descent against rules, corridor and optimum.",
)
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "--scenario", type=click.Path(path_type=Path), required=True, help="Airframe, arrival and air to compare it with."
)
@click.option(
    "--columns",
    type=click.Path(path_type=Path),
    default=None,
    help="Map of the recording's columns [default: the columns.toml beside the recording].",
)
@click.option(
    "--rules",
    "rules_file",
    type=click.Path(path_type=Path),
    default=None,
    help="Rules: a file, or the name of a rule file of the package [default: the rules.toml beside the scenario, else "
    "library].",
)
@click.option("--rule", "rule_name", default=None, help="The rule a perfect crew would go on by [default: the first].")
@click.option(
    "--what-if",
    "what_ifs",
    type=(float, str),
    multiple=True,
    metavar="SECONDS ACTION",
    help="Fly on from a time of the recording with an action: rule, speed-brake, flaps, gear or everything; may be "
    "repeated.",
)
@now_option
@click.option(
    "--air",
    type=click.Choice([air.value for air in Air]),
    default=Air.RECORDING.value,
    show_default=True,
    help="Whose mass, wind and temperature corridor, crew and optimum have, where the recording tells them.",
)
@click.option("--optimum", is_flag=True, help="Also find the optimum of the scenario to stand beside it.")
@common_options
def debrief(
    recording: Path,
    scenario: Path,
    columns: Path | None,
    rules_file: Path | None,
    rule_name: str | None,
    what_ifs: tuple[tuple[float, str], ...],
    now: float | None,
    air: str,
    optimum: bool,
    output: Path,
    settings: tuple[str, ...],
    as_json: bool,
    debug: bool,
) -> None:
    """Say what RECORDING shows in order of time, how bad each is, and what would have been made of it.

    RECORDING is a CSV or netCDF file.
    """
    asked = _Asked(recording, scenario, columns, rules_file, rule_name, what_ifs, now, Air(air), optimum)
    guarded(lambda: _debrief(asked, settings, output, as_json), debug)


@dataclass(frozen=True)
class _Asked:
    """What is to be debriefed, and against what."""

    recording: Path
    scenario: Path
    columns: Path | None
    rules: Path | None
    rule: str | None
    what_ifs: tuple[tuple[float, str], ...]
    now: float | None
    air: Air
    optimum: bool


def _debrief(asked: _Asked, settings: tuple[str, ...], output: Path, as_json: bool) -> None:
    from optdescent.caution import CAUTION
    from optdescent.cli.write import check_letters_of, check_output, file_name, write_flights
    from optdescent.corridor import ALL_SETS
    from optdescent.debrief import Met, as_met, measures, what_if
    from optdescent.debrief import debrief as find
    from optdescent.figures import save
    from optdescent.figures.debrief import debrief as draw
    from optdescent.recording import read_recording
    from optdescent.results.debrief import debrief_plain, findings_csv, points_csv
    from optdescent.results.debrief_file import write_debrief
    from optdescent.results.files import write_text
    from optdescent.scenario import Scenario

    scenario = Scenario.from_toml(asked.scenario, settings)
    rule, rules = _rule(asked)
    read = read_recording(asked.recording, asked.columns or asked.recording.parent / "columns.toml", scenario)
    flight = as_asked(replace(read.flight, name=file_name(asked.recording.stem)), rules=rules)
    met = as_met(scenario, read) if asked.air is Air.RECORDING else Met(scenario, ())
    scenario = met.scenario
    wanted = _wanted(asked, flight)
    check_now(asked.now, (flight,))
    check_output(output)
    check_letters_of(scenario.title, flight.name)
    weights = [*([_EDGE_SECONDS] * (len(ALL_SETS) + 1)), 0.5, 2.0, *([RULE_SECONDS] * len(wanted)), WRITING_SECONDS]
    progress = Progress([*(OPTIMUM_SECONDS if asked.optimum else ()), *weights])
    best, lacking = _optimum(scenario, progress) if asked.optimum else (None, ())
    found = find(flight, measures(scenario, rule, flight, progress, best), progress)
    tried: list[WhatIf] = []
    for time, action in wanted:
        progress(f"flying on from {time:.0f} s: {action.words}")
        tried.append(what_if(scenario, rule, flight, time, action))
    others = (*found.others, *(one.flight for one in tried))
    found = replace(found, last=replace(found.last, now=asked.now), what_ifs=tuple(tried), others=others)
    progress("writing")
    files = [output / name for name in (f"{flight.name}-read.nc", "findings.csv", "debrief.nc", "points.csv")]
    flight.to_netcdf(files[0])
    write_text(files[1], findings_csv(found))
    write_debrief(files[2], found)
    write_text(files[3], points_csv(found))
    files += write_flights([one.flight for one in tried], output, taken=[file.stem for file in files])
    files += save(draw(found), output, "debrief")
    if as_json:
        notes = {"as_met": list(met.taken), "notes": list(lacking)}
        files_written = [str(file) for file in files]
        say_json({**debrief_plain(found), "reading": read.reading.plain(), **notes, "files": files_written})
        return
    left = [_left_out(one, read.reading.counted) for one in read.left_out]
    doubts = [f"read with a doubt: {one}" for one in read.warnings]
    _say(found, (*(f"with {one}" for one in met.taken), *lacking, *left, *doubts))
    click.echo(f"Results in {output}")
    click.echo(CAUTION)


def _optimum(scenario: Scenario, progress: Progress) -> tuple[Flight | None, tuple[str, ...]]:
    """The optimum, or none and why: a flight is debriefed without it."""
    from optdescent.optimum import DemandsConflict, NotConverged, optimise

    try:
        return optimise(scenario, progress), ()
    except (DemandsConflict, NotConverged) as lacking:
        return None, (f"without the optimum, which was not found: {lacking}",)


def _rule(asked: _Asked) -> tuple[Rule, str]:
    """The rule that a perfect crew would go on by, and the text of its file.

    Raises
    ------
    InputFault
        The file has no rule of the name, or faults.
    """
    from optdescent.inputs import Fault, InputFault
    from optdescent.rules import read_rules
    from optdescent.rules.read import rules_text

    beside = asked.scenario.parent / "rules.toml"
    source = asked.rules or (beside if beside.exists() else Path("library"))
    rules = {rule.name: rule for rule in read_rules(source)}
    name = asked.rule or next(iter(rules))
    if name not in rules:
        raise InputFault([Fault("--rule", "", f"got {name!r}", ", ".join(rules))])
    return rules[name], rules_text(source)


def _wanted(asked: _Asked, flight: Flight) -> list[tuple[float, Action]]:
    """Moments and actions to fly on from."""
    from optdescent.debrief import LEAST_TO_GO, Action
    from optdescent.inputs import Fault, InputFault
    from optdescent.rules.stretches import unknown_at

    times = flight.column("time")[flight.column("distance_to_go") > LEAST_TO_GO]
    names = {action.value: action for action in Action}
    faults: list[Fault] = []
    for time, name in asked.what_ifs:
        if name not in names:
            faults.append(Fault("--what-if", "action", f"got {name!r}", ", ".join(names)))
        if not times.size:
            given = f"got {time:g} s; all of {asked.recording} is too near the threshold"
            faults.append(Fault("--what-if", "time", given, "none"))
        elif not times[0] <= time <= times[-1]:
            allowed = f"{times[0]:.0f} to {times[-1]:.0f} s, the times of {asked.recording}"
            faults.append(Fault("--what-if", "time", f"got {time:g} s", allowed))
        elif lacking := unknown_at(flight, time):
            faults.append(Fault("--what-if", "time", f"at {time:g} s {lacking}", "a moment at which all is known"))
    if faults:
        raise InputFault(faults)
    return [(time, names[name]) for time, name in asked.what_ifs]


def _left_out(one: LeftOut, counted: str) -> str:
    """Rows, or cells of them, that were not used: how many, why, and which."""
    from optdescent.recording.rows import rows_said

    what = "cell" if one.reason.endswith("taken as blank") else "row"
    return f"{len(one.rows)} {what}{'s'[: len(one.rows) - 1]} left out: {one.reason}: {rows_said(one.rows, counted)}"


def _say(found: Debrief, notes: tuple[str, ...]) -> None:
    flight = found.flight
    click.echo(f"{flight.name} against {flight.provenance.title} ({flight.provenance.scenario_digest})")
    for note in notes:
        click.echo(f"  {note}")
    for finding in found.findings:
        click.echo(f"  {finding.severity.value:8s}{finding.sentence}")
        if finding.instead:
            click.echo(f"          {finding.instead}")
    if not found.findings:
        click.echo("  nothing found")
    for sentence in found.last.sentences:
        click.echo(f"  {sentence}")
    for one in found.what_ifs:
        click.echo(f"  what if: {one.sentence}")


@click.command(
    epilog="Example: optdescent rehearse --scenario studies/recordings/scenario.toml -o studies/recordings",
    short_help="Invented recordings to try debriefing on.",
)
@click.option("--scenario", type=click.Path(path_type=Path), required=True, help="Airframe, arrival and air.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Of the noise of the sensors.")
@output_option
@debug_option
def rehearse(scenario: Path, seed: int, output: Path, debug: bool) -> None:
    """Fly six descents, five with a mistake, and write each as a recorder would hold it, with the truth beside them.

    The crew and the aircraft are the package's own; nobody flew these. Rules are taken from the library.
    """
    guarded(lambda: _rehearse(scenario, seed, output), debug)


def _rehearse(path: Path, seed: int, output: Path) -> None:
    from optdescent.caution import CAUTION
    from optdescent.cli.write import check_output
    from optdescent.debrief.rehearse import csv_of, map_of, rehearsals, truth_of
    from optdescent.results.files import write_text
    from optdescent.rules import read_rules
    from optdescent.scenario import Scenario

    scenario = Scenario.from_toml(path)
    rules = {rule.name: rule for rule in read_rules("library")}
    own = (rules["300-with-allowances"], rules["three-degrees"], rules["path-from-above"])
    check_output(output)
    flown = rehearsals(scenario, *own)
    for number, one in enumerate(flown):
        write_text(output / f"{one.name}.csv", csv_of(one, seed + number))
        click.echo(f"{output / one.name}.csv: {one.title}")
    write_text(output / "columns.toml", map_of())
    write_text(output / "truth.toml", truth_of(flown))
    click.echo(CAUTION)
