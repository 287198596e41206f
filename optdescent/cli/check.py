"""`optdescent check`: what each input file is, and every fault in it."""

from __future__ import annotations

import sys
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.options import debug_option, json_option
from optdescent.cli.say import (
    BAD_INPUT,
    CASE_CORRIDOR_SECONDS,
    CASE_RULE_SECONDS,
    CASE_SECONDS,
    SWEEP_START_SECONDS,
    TOGETHER_SECONDS,
    cores,
    guarded,
    say_json,
)

if TYPE_CHECKING:
    from optdescent.airframe import Airframe
    from optdescent.results.plain import Plain
    from optdescent.results.plausibility import PlausibilitySheet


@click.command(
    epilog="Example: optdescent check studies/first_descent/scenario.toml narrow-body-twin",
    short_help="Say every fault of files.",
)
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@json_option
@debug_option
def check(files: tuple[Path, ...], as_json: bool, debug: bool) -> None:
    """Say what each input FILE is, and every fault in it: file, key, what was given, what is allowed.

    FILE may also be the name of a built-in airframe. Of an airframe a plausibility sheet is printed: what it shows
    beside the bands of textbooks, and which bands it misses; a missed band is no fault.
    """
    guarded(lambda: _check_all(files, as_json), debug)


def _check_all(files: tuple[Path, ...], as_json: bool) -> None:
    from optdescent.caution import CAUTION
    from optdescent.inputs import InputFault
    from optdescent.results.plain import faults_plain

    found: list[Plain] = []
    is_bad = False
    for file in files:
        one: Plain = {"file": str(file)}
        found.append(one)
        try:
            _check(file, one, as_json)
        except InputFault as fault:
            is_bad = True
            one["faults"] = faults_plain(fault)
            count = len(fault.faults)
            click.echo(f"{file}: {count} fault{'s' if count > 1 else ''}", err=True)
            for each in fault.faults:
                click.echo(f"  {each}", err=True)
    if as_json:
        say_json({"files": found, "caution": CAUTION})
    if is_bad:
        sys.exit(BAD_INPUT)


def _check(file: Path, one: Plain, as_json: bool) -> None:
    """Say what a file is, and note it.

    Raises
    ------
    InputFault
        Every fault of the file.
    """
    from optdescent.results.plain import plausibility_plain

    airframe = _airframe(file)
    if airframe is not None:
        from optdescent.motion.plausibility import plausibility

        one["is"], sheet = f"airframe: {airframe.title}", plausibility(airframe)
        one["plausibility"] = plausibility_plain(sheet)
        lines = _sheet_lines(sheet)
    elif _is_study(file):
        one["is"], one["study"] = _study(file)
        lines = _study_lines(one["study"])
    else:
        one["is"], lines = _described(file), list[str]()
    if not as_json:
        for line in (f"{file}: {one['is']}", *lines):
            click.echo(line)


def _is_study(file: Path) -> bool:
    """Whether a file has a key that only a study has.

    Raises
    ------
    InputFault
        The file cannot be read.
    """
    from optdescent.inputs import read_toml

    return file.suffix.lower() == ".toml" and bool(set(read_toml(file)) & {"scenario", "conditions"})


def _study(file: Path) -> tuple[str, Plain]:
    """What a study is and would do: its cases, over which axes, and how long that may take here.

    Raises
    ------
    InputFault
        Every fault of the study and of the files it names.
    """
    from optdescent.cli.write import check_letters_of
    from optdescent.study import Study

    study = Study.from_toml(file)
    check_letters_of(study.title, study.scenario.title, *(rule.name for rule in study.rules))
    conditions, workers = study.plan.conditions, cores()
    is_quick = not study.compute.optimum and not study.flights
    alone, a_rule = TOGETHER_SECONDS if is_quick else (CASE_SECONDS * study.compute.optimum, CASE_RULE_SECONDS)
    points = 0 if study.compute.corridor is None else study.compute.corridor.points
    own = alone + a_rule * len(study.rules) + (CASE_CORRIDOR_SECONDS if points else 0.0)
    seconds = SWEEP_START_SECONDS + own * conditions.size / min(workers, len(study.plan.blocks))
    return f"study {study.digest}: {study.title}", {
        "scenario": f"{study.scenario.title} ({study.scenario.digest})",
        "cases": conditions.size,
        "sampling": conditions.sampling.kind,
        "axes": [f"{axis.name} ({axis.count})" if axis.count else axis.name for axis in conditions.axes],
        "blocks": len(study.plan.blocks),
        "optimum": study.compute.optimum,
        "rules": [rule.name for rule in study.rules],
        "corridor_points": points,
        "flight_columns": len(study.flights),
        "estimate_min": round(seconds / 60.0, 1),
        "workers": workers,
    }


def _study_lines(study: Plain) -> list[str]:
    kept = f"{study['flight_columns']} columns of each flight" if study["flight_columns"] else "no flights"
    points = study["corridor_points"]
    asked = [*(["the optimum"] if study["optimum"] else []), *study["rules"]]
    asked += [f"the corridor at {points} point{'s' if points > 1 else ''}"] if points else []
    return [
        f"  from {study['scenario']}",
        f"  {study['cases']} cases ({study['sampling']}) over {', '.join(study['axes'])}",
        f"  {', '.join(asked)} in each; summaries and {kept} kept",
        f"  {study['blocks']} blocks; about {study['estimate_min']:g} min with {study['workers']} processes here",
    ]


def _airframe(file: Path) -> Airframe | None:
    """The airframe that a file or a built-in name is, or nothing if it is something else.

    Raises
    ------
    InputFault
        Every fault of an airframe file, or that the file cannot be read.
    """
    from optdescent.airframe import BUILT_IN, read_airframe
    from optdescent.inputs import read_toml

    if str(file) in BUILT_IN and not file.exists():
        return read_airframe(str(file))
    is_airframe = file.suffix.lower() == ".toml" and set(read_toml(file)) & {"wing", "steps", "engines"}
    return read_airframe(str(file.resolve())) if is_airframe else None


def _sheet_lines(sheet: PlausibilitySheet) -> list[str]:
    """A plausibility sheet: a line each band, with its conditions below it."""
    found: list[str] = []
    for line in sheet.lines:
        found.append(f"  {line.standing.value:8s}{line.what:62s}{line.shown_value:>12s}   band {line.shown_band}")
        for text in (line.conditions, line.remark, f"band: {line.source}"):
            found += [f"{'':10s}{part}" for part in textwrap.wrap(text, 104)]
    missed, at_odds = len(sheet.missed), len(sheet.at_odds)
    found.append(
        f"  {len(sheet.lines)} bands, {missed} missed"
        + "".join(f"; missed: {line.what}" for line in sheet.missed)
        + (f"; {at_odds} at odds with the other bands (said there)" if at_odds else "")
    )
    return found


def _described(file: Path) -> str:
    """What a file is, once it has been read without a fault.

    Raises
    ------
    InputFault
        Every fault of the file, or that it is no input file.
    """
    from optdescent.air.wind.sounding import read_sounding
    from optdescent.cli.write import check_letters_of
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
        check_letters_of(*(rule.name for rule in rules))
        return f"rules: {', '.join(rule.name for rule in rules)}"
    if keys & {"arrival", "start", "airframe", "air"}:
        scenario = Scenario.from_toml(file)
        check_letters_of(scenario.title)
        return f"scenario {scenario.digest}: {scenario.title}"
    if keys & {"axes", "sampling"}:
        from optdescent.margins.met import read_conditions

        conditions = read_conditions(file)
        return f"conditions: {conditions.size} cases over {', '.join(axis.name for axis in conditions.axes)}"
    known = (
        "a scenario (arrival, start), a study (scenario, conditions), rules (rules), conditions (sampling, axes), "
        "an airframe (wing, steps), "
        "or a sounding (.csv)"
    )
    raise InputFault([Fault(str(file), "", f"is no known input file (its keys are {sorted(keys)})", known)])
