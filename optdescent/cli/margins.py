"""`optdescent margins`: the main job."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.asked import as_asked
from optdescent.cli.options import common_options, scenario_argument
from optdescent.cli.say import OPTIMUM_SECONDS, RULE_SECONDS, WRITING_SECONDS, Progress, guarded, say_json

if TYPE_CHECKING:
    from optdescent.results import Flight
    from optdescent.results.margins import Margins
    from optdescent.results.over_conditions import OverConditions
    from optdescent.results.plain import Plain
    from optdescent.rules import Rule


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
@click.option(
    "--rule", "rule_names", multiple=True, help="Rule of that file to fly; may be repeated [default: all of them]."
)
@click.option(
    "--conditions",
    "conditions_file",
    type=click.Path(path_type=Path),
    default=None,
    help="File of conditions: fly the rules in each of them too, and say how often each holds and what breaks it.",
)
@click.option(
    "--optima",
    type=click.IntRange(0),
    default=8,
    show_default=True,
    help="In how many of the conditions the optimum is computed, to compare fuel and time with: seconds each.",
)
def margins(
    scenario: Path,
    output: Path,
    settings: tuple[str, ...],
    as_json: bool,
    debug: bool,
    rules_file: Path | None,
    rule_names: tuple[str, ...],
    conditions_file: Path | None,
    optima: int,
) -> None:
    """Fly each rule of thumb through the air of SCENARIO and show what separates it from the optimum.

    With --conditions also: in what share of them it is stable at the gate, how much energy is too much on the way, what
    it costs, which driver explains the misses, and the smallest disturbance that breaks it; as figures too.
    """
    asked = _Asked(rules_file, rule_names, conditions_file, optima)
    guarded(lambda: _margins(scenario, output, settings, as_json, asked), debug)


@dataclass(frozen=True)
class _Asked:
    """Which rules are flown: their file, names of those wanted (none: all); and in which conditions."""

    rules: Path | None
    names: tuple[str, ...]
    conditions: Path | None
    optima: int


def _margins(path: Path, output: Path, settings: tuple[str, ...], as_json: bool, asked: _Asked) -> None:
    from optdescent.cli.write import check_letters_of, check_output
    from optdescent.margins import margins as compare
    from optdescent.margins.met import asked_of, met
    from optdescent.margins.over import margins_over
    from optdescent.results.over_conditions import over_conditions_plain
    from optdescent.results.plain import margins_plain
    from optdescent.rules.startable import check_start
    from optdescent.scenario import Scenario

    scenario = Scenario.from_toml(path, settings)
    conditions = None if asked.conditions is None else asked_of(path, settings, asked.conditions)
    check_output(output)
    beside = path.parent / "rules.toml"
    source = asked.rules or (beside if beside.exists() else Path("three_rules"))
    rules = _rules(source, asked.names)
    check_start(scenario, rules, str(source))
    check_letters_of(scenario.title, *(rule.name for rule in rules))
    once, many = len(rules) * [RULE_SECONDS], len(rules) * [_SEARCH_SECONDS]
    if conditions is None or asked.conditions is None:
        progress = Progress([*OPTIMUM_SECONDS, *once, WRITING_SECONDS])
        found, over = compare(scenario, rules, progress), None
    else:
        progress = Progress([_MEETING_SECONDS, *OPTIMUM_SECONDS, *once, _OPTIMA_SECONDS, *many, WRITING_SECONDS])
        progress("conditions")
        conditions_met = met(conditions, rules, asked.conditions.name)
        found = compare(scenario, rules, progress)
        over = margins_over(conditions_met, asked.optima, progress)
    found, over = _with_texts(found, over, source, asked.conditions)
    progress("writing tables and figures")
    drawn = _drawn(found.flights)
    files, not_drawn = _write(found, over, drawn, output)
    plain: Plain = {**margins_plain(found), "files": [str(file) for file in files]}
    if over is None:
        plain["figures_not_drawn"] = not_drawn
    else:
        plain["over_conditions"] = {**over_conditions_plain(over), "figures_not_drawn": not_drawn}
    if as_json:
        say_json(plain)
        return
    _say(found, plain["caution"], output)
    if len(drawn) < len(found.flights):
        click.echo(f"Figures show {', '.join(flight.name for flight in drawn)}: no more can be told apart.")
    if over is not None:
        say_over(plain["over_conditions"])
        return
    for sentence in not_drawn:
        click.echo(sentence)


def _with_texts(
    found: Margins, over: OverConditions | None, source: Path, conditions: Path | None
) -> tuple[Margins, OverConditions | None]:
    """Results and their flights with the command, and the texts of rules and conditions."""
    from optdescent.inputs import read_text
    from optdescent.rules.read import rules_text

    rules = rules_text(source)
    flights = tuple(as_asked(flight, rules=rules) for flight in found.flights)
    found = replace(as_asked(found, rules=rules), flights=flights)
    if over is None or conditions is None:
        return found, None
    return found, as_asked(over, rules=rules, conditions=read_text(conditions))


def _rules(source: Path, names: tuple[str, ...]) -> tuple[Rule, ...]:
    """Rules of a file: all, or those of some names.

    Raises
    ------
    InputFault
        A name that no rule of the file has.
    """
    from optdescent.inputs import Fault, InputFault
    from optdescent.rules import read_rules

    rules = read_rules(source)
    known = [rule.name for rule in rules]
    wrong = [name for name in dict.fromkeys(names) if name not in known]
    if wrong:
        raise InputFault([Fault("--rule", "", f"got {name!r}", ", ".join(known)) for name in wrong])
    return tuple(rule for rule in rules if not names or rule.name in names)


def _write(
    found: Margins, over: OverConditions | None, drawn: tuple[Flight, ...], output: Path
) -> tuple[list[Path], list[str]]:
    """Write flights, tables and figures; returns the paths, and why a figure is not drawn."""
    from optdescent.cli.write import write_figures, write_figures_of, write_flights

    results = {"margins": found, "conditions": over}
    files = write_flights(found.flights, output, taken=tuple(results))
    for name, result in results.items():
        if result is not None:
            files += [output / f"{name}.csv", output / f"{name}.nc"]
            result.to_csv(files[-2])
            result.to_netcdf(files[-1])
    files += write_figures(drawn, output)
    more, not_drawn = write_figures_of(over or found, output)
    return [*files, *more], not_drawn


_MOST_DRAWN = 5
"""Rules that a figure tells apart."""
_MEETING_SECONDS, _OPTIMA_SECONDS, _SEARCH_SECONDS = 8.0, 30.0, 8.0
"""Of making the conditions, of their optima, and of one rule flown in them and broken."""
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
    from optdescent.results.price import NOT_STABLE, PRICES

    header, rows = found.rows()
    click.echo(f"{found.provenance.title} ({found.provenance.scenario_digest})")
    width = max(len(sentence) for _, sentence in _SHOWN) + 2
    click.echo(" " * width + "".join(f"{row[0]:>20s}" for row in rows))
    for key, sentence in _SHOWN:
        column, none = header.index(key), NOT_STABLE if key.removesuffix("_kg") in PRICES else ""
        click.echo(f"{sentence:{width}s}" + "".join(f"{row[column] or none:>20s}" for row in rows))
    for flight in found.flights:
        for reason in (*flight.summary.gate.reasons, *(b.sentence for b in flight.summary.breaches)):
            click.echo(f"  {flight.name}: {reason}")
    click.echo(f"Results in {output}")
    click.echo(caution)


def say_over(plain: Plain) -> None:
    """Say how often each rule held, what it cost, which driver explains its misses, and what breaks it [-]."""
    is_grid = "; a grid is chosen, not drawn: its shares have no interval" if plain["sampling"] == "grid" else ""
    click.echo(f"In {plain['conditions']} conditions of {plain['conditions_file']}{is_grid}:")
    if plain["optima_not_found"]:
        click.echo(f"  {plain['optima_not_found']}")
    if plain["conditions_with_optimum"]:
        count = f"the optima of {plain['conditions_with_optimum']} of them"
        beside = f"where it and {plain['optima_compared_with']} are both stable"
        click.echo(f"  Fuel above {count}, {beside} (--optima for more):")
    for rule in plain["rules"]:
        if rule["not_flown"]:
            click.echo(f"  {rule['rule']}: {rule['not_flown']}")
        if not rule["flown"]:
            continue
        share = f"stable in {100.0 * rule['stable_share']:.1f} %{_interval(rule, 'stable_share', '.1f', 100.0)}"
        click.echo(f"  {rule['rule']}: {share}{_cost(rule)}")
        if rule["most_common_reason"]:
            click.echo(f"    most often: {rule['most_common_reason']}")
        if devices := _devices(rule):
            click.echo(f"    {devices}")
        if drivers := _drivers(rule):
            click.echo(f"    misses explained by {drivers}")
        click.echo(f"    {rule['breaking']}")
    for sentence in plain["figures_not_drawn"]:
        click.echo(f"  {sentence}")


def _interval(rule: Plain, key: str, form: str, factor: float = 1.0, suffix: str = "") -> str:
    """The 95 % interval of a number of a rule in brackets, in its unit times a factor; empty where there is none."""
    ends = [rule[f"{key}_{end}{suffix}"] for end in ("low", "high")]
    if None in ends:
        return ""
    low, high = (format(factor * end, form) for end in ends)
    return f" (95 %: {low} to {high})"


def _cost(rule: Plain) -> str:
    """Fuel above the optima, of how many conditions that is the mean, and how sure it is."""
    above = rule["fuel_above_optimum_mean_kg"]
    if above is None:
        return ""
    sure = _interval(rule, "fuel_above_optimum_mean", "+.0f", suffix="_kg")
    return f", {above:+.0f} kg to the optimum, mean of {rule['compared']:.0f} conditions{sure or ' (no interval)'}"


def _devices(rule: Plain) -> str:
    """Where gear and landing flaps come out, in the middle of the conditions."""
    told = (("gear out", "gear_distance_median_nm"), ("landing flaps", "landing_flaps_distance_median_nm"))
    places = [f"{device} at {rule[key]:.1f} nm" for device, key in told if rule[key] is not None]
    return f"{', '.join(places)} to go (median)" if places else ""


def _drivers(rule: Plain) -> str:
    """Shares of the variance of the misses in percent by driver, the largest first, and what remains."""
    shares = {name: share for name, share in rule["miss_share"].items() if share is not None and share >= 0.005}
    told = [f"{name} {100.0 * shares[name]:.0f} %" for name in sorted(shares, key=lambda name: -shares[name])]
    left = rule["miss_remainder"]
    return "" if left is None else ", ".join([*told, f"{rule['miss_remainder_of']} {100.0 * left:.0f} %"])


def _drawn(flights: tuple[Flight, ...]) -> tuple[Flight, ...]:
    """The optimum and the rules that figures show: all, or those nearest to it in fuel, stable ones first."""
    optimum, *rules = flights
    if len(rules) <= _MOST_DRAWN:
        return flights
    nearest = sorted(rules, key=lambda flight: (not flight.summary.gate.stable, flight.summary.fuel))[:_MOST_DRAWN]
    return (optimum, *(flight for flight in rules if any(flight is one for one in nearest)))
