"""`chart` of stored results: figures, files, JSON, what may be chosen, and bad input."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from optdescent.cli import main
from optdescent.results import CAUTION
from optdescent.results.debrief_file import write_debrief
from optdescent.results.files import write_text
from optdescent.results.last_action import last_actions_csv
from tests.figures import debriefs, fits, fronts, sheets, test_corridor, test_slope
from tests.figures.conditions import once, over
from tests.figures.sweeps import flown, last_useful, optimum, store


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["chart", *map(str, arguments)])


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a result of several kinds."""
    folder = tmp_path_factory.mktemp("stored")
    optimum().to_netcdf(folder / "optimum.nc")
    flown().to_netcdf(folder / "flown.nc")
    once().to_netcdf(folder / "margins.nc")
    over().to_netcdf(folder / "conditions.nc")
    over("Descent 降下").to_netcdf(folder / "other-script.nc")
    lacking = replace(over(), table=over().table.drop_vars("stable_share"))
    lacking.to_netcdf(folder / "lacking.nc")
    write_text(folder / "last_useful.csv", last_actions_csv([last_useful()]))
    write_debrief(folder / "debrief.nc", debriefs.invented())
    store(folder / "sweep")
    test_corridor.invented().to_netcdf(folder / "corridor.nc")
    test_slope.invented().to_netcdf(folder / "slope.nc")
    fronts.invented().to_netcdf(folder / "front.nc")
    fits.invented().to_netcdf(folder / "fit.nc")
    sheets.invented().to_netcdf(folder / "three-to-one.nc")
    built_in = resources.files("optdescent.airframe").joinpath("data", "narrow-body-twin.toml")
    (folder / "own.toml").write_text(built_in.read_text(encoding="utf-8"), encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("sources", "names"),
    [
        (("optimum.nc", "flown.nc"), {"height", "speed", "energy", "wind"}),
        (("margins.nc",), {"margins"}),
        (("conditions.nc",), {"margins", "rule-map"}),
        (("sweep",), {"slices", "rule-map"}),
        (("debrief.nc",), {"debrief", "energy", "last-action"}),
        (("corridor.nc",), {"corridor"}),
        (("slope.nc",), {"slope"}),
        (("front.nc",), {"front"}),
        (("fit.nc",), {"fit"}),
        (("three-to-one.nc",), {"rule-sheet"}),
        (("own.toml",), {"polar", "idle", "operating-speeds"}),
    ],
)
def test_every_figure_of_a_result_is_drawn_in_three_formats(
    stored: Path, tmp_path: Path, sources: tuple[str, ...], names: set[str]
) -> None:
    result = run(*(stored / source for source in sources), "--page", "a5", "-o", tmp_path, "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    wanted = {f"{name}{suffix}" for name in names for suffix in (".pdf", ".svg", ".png")}
    assert {Path(file).name for file in found["files"]} == wanted == {path.name for path in tmp_path.iterdir()}
    assert found["sources"] == [str(stored / source) for source in sources]
    assert found["caution"] == CAUTION


def test_one_figure_of_what_is_chosen(stored: Path, tmp_path: Path) -> None:
    chosen = ("--axis", "anti_ice", "--axis", "mass_kg", "--rule", "three-to-one")
    result = run(stored / "conditions.nc", "--figure", "rule-map", *chosen, "--format", "svg", "-o", tmp_path)
    assert result.exit_code == 0, result.output
    text = (tmp_path / "rule-map.svg").read_text("utf-8")
    assert "Engine anti-ice" in text
    assert "three-to-one-alone" not in text


def test_a_figure_that_cannot_be_drawn_is_told_and_the_others_are_drawn(stored: Path, tmp_path: Path) -> None:
    chosen = ("--axis", "anti_ice", "--axis", "mass_kg")
    result = run(stored / "conditions.nc", *chosen, "--format", "svg", "-o", tmp_path, "--json")
    assert result.exit_code == 0, result.output
    assert [path.name for path in tmp_path.iterdir()] == ["rule-map.svg"]
    found = json.loads(result.stdout)
    assert len(found["figures_not_drawn"]) == 1
    assert found["figures_not_drawn"][0].startswith("figure margins is not drawn: figure margins: does not take axes")
    assert found["figures_not_drawn"][0] in result.stderr


def test_last_actions_need_their_flight(stored: Path, tmp_path: Path) -> None:
    both = (stored / "flown.nc", stored / "last_useful.csv")
    result = run(*both, "--figure", "last-action", "--format", "png", "-o", tmp_path)
    assert result.exit_code == 0, result.output
    assert [path.name for path in tmp_path.iterdir()] == ["last-action.png"]
    assert CAUTION in result.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("optimum.nc", "--figure", "hight"), "'hight' is none of flights; allowed: height, speed, energy, wind"),
        (("margins.nc", "--figure", "rule-map"), "'rule-map' is none of margins; allowed: margins"),
        (("optimum.nc", "conditions.nc"), "2 results: flights, margins over conditions"),
        (("last_useful.csv",), "last useful points alone"),
        (("lacking.nc", "--figure", "margins"), "stable_share: is missing"),
        (("other-script.nc", "--figure", "margins"), "has letters that figures cannot write: 降 下"),
        (("other-script.nc",), "has letters that figures cannot write: 降 下"),
        (("conditions.nc", "--figure", "margins", "--figure", "rule-map", "--axis", "anti_ice"), "does not take axes"),
        (("conditions.nc", "--page", "a0"), "a4, a5, letter, column, slide"),
        (("conditions.nc", "--figure", "rule-map", "--axis", "gear", "--axis", "mass_kg"), "axis: 'gear'"),
        (("conditions.nc", "--figure", "margins", "--rule", "none"), "rule: 'none'; allowed: three-to-one"),
        (("conditions.nc", "--figure", "margins", "--quantity", "fuel"), "does not take quantity"),
        (("sweep", "--figure", "slices", "--quantity", "drag"), "'drag' is missing; allowed: fuel"),
        (("none.nc",), "not found"),
    ],
)
def test_bad_input_is_named_with_status_2_and_nothing_is_written(
    stored: Path, tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    own = [str(stored / one) if "." in one or one == "sweep" else one for one in arguments]
    result = run(*own, "--format", "svg", "-o", tmp_path / "out")
    assert result.exit_code == 2, result.output
    assert words in result.stderr
    assert not (tmp_path / "out").exists()


def test_a_target_that_cannot_be_written_is_named(stored: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    result = run(stored / "margins.nc", "-o", tmp_path / "file" / "out")
    assert result.exit_code == 2
    assert "lies below a file" in result.stderr


def test_an_airframe_is_drawn_by_its_name_alone(tmp_path: Path) -> None:
    result = run("regional-jet", "--figure", "polar", "--format", "svg", "-o", tmp_path)
    assert result.exit_code == 0, result.output
    assert [path.name for path in tmp_path.iterdir()] == ["polar.svg"]
