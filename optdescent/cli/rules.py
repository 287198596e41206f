"""`optdescent rules`: what rules of thumb say, a page, a figure and the numbers of each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.options import debug_option, json_option, output_option
from optdescent.cli.say import Progress, guarded, say_json

if TYPE_CHECKING:
    from optdescent.results.rule_sheet import RuleSheet
    from optdescent.rules import Rule
    from optdescent.scenario import Scenario


@click.command(
    epilog="Example: optdescent rules library --scenario studies/first_descent/scenario.toml -o out",
    short_help="What rules of thumb say: a page, a figure and numbers each.",
)
@click.argument("rules_file", metavar="[FILE]", default="library")
@click.option(
    "--scenario",
    type=click.Path(path_type=Path),
    default=None,
    help="Airframe, mass, cruise and airport of the worked numbers; its wind is not used [default: a fictional "
    "narrow-body twin at 60 t].",
)
@output_option
@json_option
@debug_option
def rules(rules_file: str, scenario: Path | None, output: Path, as_json: bool, debug: bool) -> None:
    """List the rules of FILE, and write for each a page with what it says in words and worked numbers, and a figure.

    The numbers are also written as netCDF, from which `optdescent chart` and `optdescent report` draw again.

    FILE is a rule file, or the name of one that comes with the package: library, three_rules [default: library].
    Nothing is flown: `optdescent margins` flies rules.
    """
    guarded(lambda: _rules(rules_file, scenario, output, as_json), debug)


def _rules(source: str, scenario_path: Path | None, output: Path, as_json: bool) -> None:
    from optdescent.caution import CAUTION
    from optdescent.cli.write import check_letters_of, check_output
    from optdescent.results.plain import provenance_plain
    from optdescent.results.rule_sheet import rule_sheet_plain
    from optdescent.rules import read_rules
    from optdescent.rules.sheet import rule_sheet, usual_scenario
    from optdescent.rules.startable import check_speeds
    from optdescent.scenario import Scenario

    read = read_rules(source)
    scenario = usual_scenario() if scenario_path is None else Scenario.from_toml(scenario_path)
    check_speeds(scenario, read, source)
    names = _file_names(source, read)
    check_output(output)
    check_letters_of(*(text for rule in read for text in (rule.name, rule.title)))
    progress = Progress([1.0] * len(read))
    sheets: list[RuleSheet] = []
    files: list[list[Path]] = []
    for rule, name in zip(read, names, strict=True):
        progress(f"working out {rule.name}")
        sheets.append(rule_sheet(rule, scenario))
        files.append(_written(sheets[-1], output, name))
    if as_json:
        plain = [
            {**rule_sheet_plain(sheet), "files": [str(path) for path in paths]}
            for sheet, paths in zip(sheets, files, strict=True)
        ]
        where = provenance_plain(sheets[0].provenance)
        say_json({"source": source, "scenario": where, "rules": plain, "caution": CAUTION})
        return
    _say(sheets, scenario)
    click.echo(f"Pages, figures and numbers in {output}")
    click.echo(CAUTION)


def _file_names(source: str, read: tuple[Rule, ...]) -> list[str]:
    """Name of each rule's files.

    Raises
    ------
    InputFault
        Two rules whose names are one as names of files.
    """
    from optdescent.cli.write import file_name
    from optdescent.inputs import Fault, InputFault

    names = [file_name(rule.name) for rule in read]
    faults = [
        Fault(source, f"rules[{index}].name", f"got {read[index].name!r}, another rule's files", "a name of its own")
        for index, name in enumerate(names)
        if name.lower() in {other.lower() for other in names[:index]}
    ]
    if faults:
        raise InputFault(faults)
    return names


def _written(sheet: RuleSheet, folder: Path, name: str) -> list[Path]:
    """Write the page, the figure and the numbers of a rule; returns the paths."""
    from optdescent.figures import Format, save
    from optdescent.figures.rule_sheet import rule_sheet as draw
    from optdescent.results.files import write_text
    from optdescent.results.rule_sheet import rule_sheet_page

    page, numbers = folder / f"{name}.md", folder / f"{name}.nc"
    sheet.to_netcdf(numbers)
    figures = save(draw(sheet), folder, name, (Format.SVG,))
    write_text(page, rule_sheet_page(sheet, figures[0].name))
    return [page, *figures, numbers]


def _say(sheets: list[RuleSheet], scenario: Scenario) -> None:
    from optdescent.results.rule_sheet import start_said

    click.echo(f"{scenario.title} ({scenario.digest})")
    width = max(len(sheet.name) for sheet in sheets) + 2
    for sheet in sheets:
        click.echo(f"{sheet.name:{width}s}{sheet.title}")
        click.echo(f"{'':{width}s}start down: {start_said(sheet)}")
