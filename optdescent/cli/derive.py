"""`optdescent derive`: rules of thumb with least fuel for a wanted share of stable gates."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.asked import command_line
from optdescent.cli.options import debug_option, json_option, output_option
from optdescent.cli.say import CONFLICT, WRITING_SECONDS, Progress, cores, guarded, say_json

if TYPE_CHECKING:
    from optdescent.derive import Derived, DeriveDeclaration
    from optdescent.results.plain import Plain

_CASE_SECONDS, _RULE_SECONDS = 0.004, 1.2
"""Of making one condition, and of one rule flown in a set of them."""
_RULES_OF_A_COUNT, _FINALISTS = 40, 10
"""Rules flown for each number of things to remember, and derived rules to judge, or so."""


@click.command(
    epilog="Example: optdescent derive studies/derived_rule/study.toml -o out",
    short_help="Simple rules with least fuel that hold.",
)
@click.argument("study", type=click.Path(path_type=Path))
@click.option(
    "--rules",
    "rules_file",
    type=click.Path(path_type=Path),
    default=Path("library"),
    show_default=True,
    help="Rules to stand beside the derived ones: a file, or the name of a rule file of the package.",
)
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help="Override one key: of the study where it begins with derive or conditions, else of the scenario.",
)
@click.option(
    "--workers", type=click.IntRange(1, 4096), default=None, help="Processes on this machine [default: one each core]."
)
@output_option
@json_option
@debug_option
def derive(
    study: Path,
    rules_file: Path,
    settings: tuple[str, ...],
    workers: int | None,
    output: Path,
    as_json: bool,
    debug: bool,
) -> None:
    """Search rules whose numbers people can use in the air, in the conditions of STUDY, by its table `derive`.

    They are searched in one set of conditions, judged and chosen in a second, and what is predicted is tested in a
    third. Writes rules.toml, which `margins` flies, and the front of simplicity, fuel and share. Exit status 3 if no
    rule has the wanted share by the low end of its 95 % interval.
    """
    guarded(lambda: _derive(study, rules_file, settings, workers or cores(), output, as_json), debug)


def _derive(path: Path, rules_file: Path, settings: tuple[str, ...], workers: int, output: Path, as_json: bool) -> None:
    from optdescent.cli.write import check_letters_of, check_output
    from optdescent.derive import DeriveDeclaration, Library
    from optdescent.derive import derive as search
    from optdescent.results import Provenance
    from optdescent.results.front import front_plain
    from optdescent.rules import read_rules
    from optdescent.rules.read import rules_text
    from optdescent.study import Study

    study = Study.from_toml(path, settings)
    library = Library(rules_file.name, read_rules(rules_file))
    check_output(output)
    check_letters_of(study.title, *(rule.name for rule in library.rules))
    declared = study.derive or DeriveDeclaration()
    progress = Progress(_weights(declared, len(library.rules), workers))
    texts = command_line(), rules_text(rules_file)
    provenance = Provenance(study.title, study.text, study.digest, "study", *texts)
    found = search(study.asked, declared, library, provenance, str(path), workers, progress)
    progress("writing rules, tables and figure")
    files = _written(found, output)
    plain: Plain = {**front_plain(found.front), "files": [str(file) for file in files]}
    if as_json:
        say_json(plain)
    else:
        _say(plain, output)
    if found.front.recommended is None:
        share, short = 100.0 * found.front.wanted, 100.0 * found.shortfall
        held = _held(plain)
        sentence = f"no derived rule is {held} in {share:g} % of the conditions: the best falls {short:.1f} % short"
        sentence += ", by the low end of its 95 % interval"
        click.echo(f"optdescent: {sentence}", err=True)
        sys.exit(CONFLICT)


def _weights(declared: DeriveDeclaration, library: int, workers: int) -> list[float]:
    """Seconds of each step: making conditions, each number of things to remember, judging, writing."""
    from optdescent.derive.declaration import LEAST_PARTS

    cases = declared.train + declared.check + declared.unseen
    counts = declared.most_parts - LEAST_PARTS + 1
    each = _RULE_SECONDS / workers
    searching = [each * min(declared.most_rules / counts, _RULES_OF_A_COUNT)] * counts
    return [_CASE_SECONDS * cases, *searching, 2.0 * each * (_FINALISTS + library), WRITING_SECONDS]


def _written(found: Derived, folder: Path) -> list[Path]:
    """Write rules, table, dataset and figure; returns the paths."""
    from optdescent.figures import save
    from optdescent.figures.front import front as draw
    from optdescent.results.files import write_text

    rules, table, dataset = (folder / name for name in ("rules.toml", "front.csv", "front.nc"))
    write_text(rules, found.rule_file)
    found.front.to_csv(table)
    found.front.to_netcdf(dataset)
    return [rules, table, dataset, *save(draw(found.front), folder, "front")]


def _say(plain: Plain, output: Path) -> None:
    click.echo(f"{plain['title']} ({plain['digest']})")
    flown = f"{plain['rules_flown']} rules flown in {plain['train_conditions']} conditions"
    cut = ", and the search was cut short" if plain["is_cut_short"] else ""
    click.echo(f"{flown}{cut}; those below judged in {plain['check_conditions']} others")
    click.echo(
        f"{'':26s}{'things':>8s}{'stable, %':>11s}{'limits too':>12s}{'fuel, kg':>10s}{'time, min':>11s}  on front"
    )
    for rule in plain["rules"]:
        mark = "yes" if rule["is_on_front"] else ""
        mark += "  recommended" if rule["is_recommended"] else ""
        share, kept = (f"{100.0 * rule[key]:.1f}" for key in ("stable_share", "limits_kept_share"))
        fuel, time = _number(rule["fuel_mean_kg"], 1), _number(rule["time_mean_min"], 2)
        row = f"{rule['rule']:26s}{rule['simplicity']:8d}{share:>11s}{kept:>12s}{fuel:>10s}{time:>11s}"
        click.echo(f"{row}  {mark}")
    click.echo(
        "Fuel: of flights that count, over the same conditions, those in which "
        f"{plain['fuel_compared_with']} counts too; time: of flights that count"
    )
    for rule in plain["rules"]:
        if rule["is_recommended"]:
            _say_recommended(rule, plain)
    click.echo(f"Results in {output}")
    click.echo(plain["caution"])


def _say_recommended(rule: Plain, plain: Plain) -> None:
    click.echo(f"Recommended, {rule['rule']}:")
    for words in str(rule["title"]).split("; "):
        click.echo(f"  {words}")
    share, low, high = (100.0 * rule[key] for key in ("held_share", "held_share_low", "held_share_high"))
    wanted = 100.0 * plain["wanted_share"]
    click.echo(f"  {_held(plain)} in {share:.1f} % (95 %: {low:.1f} to {high:.1f}), wanted {wanted:g} %")
    low, high, found = (100.0 * rule[key] for key in ("predicted_low", "predicted_high", "unseen_held_share"))
    side = "inside" if rule["is_as_predicted"] else "OUTSIDE"
    click.echo(
        f"  predicted for {plain['unseen_conditions']} unseen conditions: {low:.1f} to {high:.1f} % {_held(plain)}; "
        f"found {found:.1f} %, {side} that interval, at {_number(rule['unseen_fuel_mean_kg'], 1)} kg"
    )


def _held(plain: Plain) -> str:
    """What counts, in words."""
    return "stable and within every limit" if plain["keep_limits"] else "stable"


def _number(value: float | None, digits: int) -> str:
    return "–" if value is None else f"{value:.{digits}f}"
