"""Options that commands share, declared once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])


output_option = click.option(
    "-o",
    "--output",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("out"),
    show_default=True,
    help="Folder for the results.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print the summary as one JSON object.")


def scenario_argument(command: Command) -> Command:
    """The scenario file."""
    return click.argument("scenario", type=click.Path(path_type=Path))(command)


def common_options(command: Command) -> Command:
    """`--output`, `--set`, `--json`, `--debug`."""
    options = (
        output_option,
        click.option(
            "--set",
            "settings",
            multiple=True,
            metavar="KEY=VALUE",
            help="Override one scenario key, for example --set air.wind.kind=none.",
        ),
        json_option,
        debug_option,
    )
    for option in reversed(options):
        command = option(command)
    return command


debug_option = click.option("--debug", is_flag=True, help="Show the traceback of a failure.")
