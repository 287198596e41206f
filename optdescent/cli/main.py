"""The group of commands."""

from __future__ import annotations

import click

from optdescent.caution import CAUTION
from optdescent.cli.capture import capture
from optdescent.cli.chart import chart
from optdescent.cli.check import check
from optdescent.cli.corridor import corridor
from optdescent.cli.debrief import debrief, rehearse
from optdescent.cli.derive import derive
from optdescent.cli.identify import identify
from optdescent.cli.margins import margins
from optdescent.cli.optimise import optimise
from optdescent.cli.report import report
from optdescent.cli.rules import rules
from optdescent.cli.slope import slope
from optdescent.cli.sweep import sweep


@click.group(epilog=CAUTION, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="optdescent")
def main() -> None:
    """Minimum-fuel descents under constraints, and how far mental rules of thumb can be trusted against them.

    Exit status: 0 done; 2 bad input; 3 the demands cannot be met, or recordings cannot tell; 4 the solver did not
    converge.
    """


main.add_command(check)
main.add_command(optimise)
main.add_command(margins)
main.add_command(chart)
main.add_command(report)
main.add_command(identify)
main.add_command(sweep)
main.add_command(rules)
main.add_command(derive)
main.add_command(corridor)
main.add_command(capture)
main.add_command(debrief)
main.add_command(rehearse)
main.add_command(slope)
