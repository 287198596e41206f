"""The help of `optdescent chart`: its table at 80 columns, and that it tells what there is."""

from __future__ import annotations

from click.testing import CliRunner

from optdescent.cli import main
from optdescent.figures import figures_of
from tests.figures import conditions, debriefs, fits, fronts, sheets, sweeps, test_corridor, test_slope


def test_each_result_has_a_line_of_its_own_that_is_no_wider_than_a_terminal() -> None:
    told = CliRunner().invoke(main, ["chart", "--help"], terminal_width=80).output
    assert max(map(len, told.splitlines())) <= 80
    assert "\\b" not in told
    lines = [line.split(maxsplit=1) for line in told.split("Figures of each RESULT:")[1].splitlines()]
    figures = {words[0]: words[1] for words in lines if len(words) == 2}
    made = {
        "margins.nc": conditions.once(), "conditions.nc": conditions.over(), "debrief.nc": debriefs.invented(),
        "corridor.nc": test_corridor.invented(), "slope.nc": test_slope.invented(), "front.nc": fronts.invented(),
        "fit.nc": fits.invented(),
    }  # fmt: skip
    for name, result in made.items():
        assert figures[name] == ", ".join(figures_of((result,))), name
    assert figures["sweep"].endswith(", ".join(figures_of((sweeps.swept(),))))
    assert figures["rule"].endswith(", ".join(figures_of((sheets.invented(),))))
