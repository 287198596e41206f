"""`optdescent sweep`: every case of a study, to one labelled dataset."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from optdescent.cli.asked import command_line
from optdescent.cli.options import debug_option, json_option
from optdescent.cli.say import DONE, INTERRUPTED, cores, guarded, say_json

if TYPE_CHECKING:
    from optdescent.sweep import Cluster, Local


@dataclass(frozen=True)
class _Run:
    """What was asked on the command line."""

    study: Path
    output: Path
    workers: int | None
    scheduler: str | None
    resume: bool
    settings: tuple[str, ...]
    netcdf: Path | None
    as_json: bool

    @property
    def log(self) -> Path:
        """The log, beside the output."""
        return self.output.with_name(f"{self.output.name}.log")


@click.command(
    epilog="Example: optdescent sweep studies/wind_sensitivity/study.toml -o out.zarr --workers 2",
    short_help="Every case of a study, to one dataset.",
)
@click.argument("study", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    default=Path("out.zarr"),
    show_default=True,
    help="The dataset, a folder in the Zarr format; a log is written beside it.",
)
@click.option(
    "--workers", type=click.IntRange(1, 4096), default=None, help="Processes on this machine [default: one each core]."
)
@click.option("--scheduler", metavar="ADDRESS", default=None, help="Run on a Dask cluster, as tcp://host:8786.")
@click.option("--resume", is_flag=True, help="Go on with the dataset that is there.")
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    help="Override one key: of the study where it begins with conditions, compute or keep, else of the scenario.",
)
@click.option(
    "--netcdf", type=click.Path(dir_okay=False, path_type=Path), default=None, help="Write the dataset as netCDF too."
)
@json_option
@debug_option
def sweep(
    study: Path,
    output: Path,
    workers: int | None,
    scheduler: str | None,
    resume: bool,
    settings: tuple[str, ...],
    netcdf: Path | None,
    as_json: bool,
    debug: bool,
) -> None:
    """Find the optimal descent of every case of STUDY, fly its rules, and keep all answers in one dataset.

    A case that has no descent is an answer, with its reason. An interrupted sweep goes on with --resume.
    """
    run = _Run(study, output, workers, scheduler, resume, settings, netcdf, as_json)
    guarded(lambda: _sweep(run), debug)


def _sweep(run: _Run) -> None:
    place = _place(run)  # before the rest is imported: a wrong address is told at once
    from optdescent.cli.swept import exit_status, say_swept, swept_plain
    from optdescent.cli.write import check_output
    from optdescent.inputs import Fault, InputFault
    from optdescent.results.files import make_folder
    from optdescent.results.sweep import export_sweep, read_sweep
    from optdescent.study import Study
    from optdescent.sweep import Journal, run_sweep

    study = Study.from_toml(run.study, run.settings)
    for file in filter(None, (run.output, run.netcdf)):
        if not file.name:
            raise InputFault([Fault(str(file), "", "is a folder that is there", "a name for what is written")])
        check_output(file.parent)
        make_folder(file.parent)
    try:
        asked = study.sweep(command_line())
        outcome = run_sweep(asked, run.output, place, Journal(run.log), resume=run.resume)
    except KeyboardInterrupt:
        if not run.output.exists():
            raise
        _exit_interrupted(f"what was stored in {run.output} is kept")
    if outcome.interrupted:
        _exit_interrupted(f"{outcome.done} of {study.plan.conditions.size} cases are stored in {run.output}")
    dataset = read_sweep(run.output)
    plain = swept_plain(study, outcome, dataset, run.output)
    if run.netcdf is not None:
        export_sweep(dataset, run.netcdf)
        plain["netcdf"] = str(run.netcdf)
    plain["log"] = str(run.log)
    if run.as_json:
        say_json(plain)
    else:
        say_swept(plain)
    status = exit_status(outcome)
    if status != DONE:
        reason = plain["reasons"][0]["reason"]
        click.echo(f"optdescent: no case was solved; the commonest reason: {reason}", err=True)
        sys.exit(status)


def _place(run: _Run) -> Local | Cluster:
    from optdescent.inputs import Fault, InputFault
    from optdescent.sweep import Cluster, Local

    if run.scheduler is None:
        return Local(run.workers or cores())
    if run.workers is not None:
        given, allowed = f"got {run.workers} beside --scheduler", "one of the two: a cluster has workers of its own"
        raise InputFault([Fault("--workers", "", given, allowed)])
    return Cluster(run.scheduler)


def _exit_interrupted(stored: str) -> NoReturn:
    click.echo(f"optdescent: interrupted; {stored}; the same command with --resume goes on", err=True)
    sys.exit(INTERRUPTED)
