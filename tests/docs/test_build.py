"""The documentation is built without a warning, holds together, and says what the project itself declares."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from inspect import getdoc, isclass, isroutine
from pathlib import Path
from types import ModuleType

import click
import pytest

import optdescent
from optdescent.cli import main
from optdescent.figures import AIRFRAME_FIGURES, FIGURES
from optdescent.inputs import Declared, table_keys
from optdescent.results import CAUTION
from optdescent.results.schema import COLUMNS, SOLVED_COLUMNS
from optdescent.rules import read_rules
from optdescent.rules.words import rule_words
from tests.docs.page import DOCS, PAGES, ROOT, blocks
from tests.docs.site import BuiltPage, leads_nowhere
from tests.house.test_texts import MACHINE_PATH, WORKPLACE

FILES = {
    "scenario": "optdescent.scenario.declaration.ScenarioDeclaration",
    "airframe": "optdescent.airframe.declaration.Airframe",
    "rules": "optdescent.rules.parts.RuleFile",
    "study": "optdescent.study.StudyDeclaration",
    "columns": "optdescent.recording.declaration.ColumnMap",
}
STORED_FIGURES = {
    "corridor",
    "debrief",
    "fit",
    "front",
    "last-action",
    "margins",
    "margins-once",
    "rule-map",
    "rule-sheet",
    "slices",
    "slope",
    "wind",
}  # fmt: skip
"""Figures of stored results that the gallery draws."""


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pages, built as the page for developers says, warnings taken as errors."""
    pytest.importorskip("sphinx", reason="sphinx: install the `tests` extra")
    pytest.importorskip("myst_parser", reason="myst-parser: install the `tests` extra")
    folder = tmp_path_factory.mktemp("site")
    command = [sys.executable, "-m", "sphinx", "-W", "-n", "-b", "html", "-d", str(folder / "trees")]
    run = subprocess.run([*command, "docs", str(folder / "html")], cwd=ROOT, capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    return folder / "html"


@pytest.fixture(scope="module")
def pages(built: Path) -> dict[Path, BuiltPage]:
    return {path.resolve(): BuiltPage(path.resolve()) for path in sorted(built.rglob("*.html"))}


def page(pages: dict[Path, BuiltPage], built: Path, name: str) -> BuiltPage:
    return pages[(built / f"{name}.html").resolve()]


def test_every_page_of_the_folder_is_built(built: Path) -> None:
    assert all((built / path.relative_to(DOCS)).with_suffix(".html").is_file() for path in PAGES)


def test_every_link_inside_leads_somewhere(pages: dict[Path, BuiltPage]) -> None:
    faults = {own.path.name: leads_nowhere(own, pages) for own in pages.values()}
    assert not {name: links for name, links in faults.items() if links}
    assert sum(len(own.links) for own in pages.values()) > 300


def test_a_link_that_leads_nowhere_is_seen(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_text("<p id='here'><a href='#here'>x</a><a href='#away'>x</a><a href='no.html'>x</a></p>")
    own = BuiltPage(path)
    assert leads_nowhere(own, {path: own}) == ["#away", "no.html"]


def test_nothing_is_asked_of_any_other_computer(built: Path, pages: dict[Path, BuiltPage]) -> None:
    foreign = re.compile(r"^(?:https?:)?//")
    assert not [url for own in pages.values() for url in own.loaded if foreign.match(url)]
    styles = "".join(path.read_text(encoding="utf-8") for path in built.rglob("*.css"))
    assert not re.search(r"(?:@import|url\()\s*['\"]?(?:https?:)?//", styles)


def test_the_caution_stands_on_every_page(pages: dict[Path, BuiltPage]) -> None:
    assert len(pages) > len(PAGES)
    assert not [own.path.name for own in pages.values() if CAUTION not in " ".join(own.text.split())]


def test_every_figure_has_words_for_those_who_do_not_see_it(pages: dict[Path, BuiltPage]) -> None:
    assert not [src for own in pages.values() for src in own.untold]


def test_no_page_speaks_of_where_it_was_written(pages: dict[Path, BuiltPage]) -> None:
    sources = [path for path in DOCS.rglob("*") if path.suffix in {".md", ".py", ".ipynb", ".html", ".css"}]
    texts = {path.name: path.read_text(encoding="utf-8") for path in sources}
    texts |= {own.path.name: own.text for own in pages.values()}
    assert not [name for name, text in texts.items() if MACHINE_PATH.search(text) or WORKPLACE.search(text)]


def declared(name: str) -> type[Declared]:
    module, _, own = FILES[name].rpartition(".")
    return getattr(import_module(module), own)


def paths(model: type[Declared], above: str = "") -> Iterator[str]:
    """Dotted path of every key of a file, found from the schema that validates it and not from the pages."""
    for key in table_keys(model, above) if above else [f.alias or n for n, f in model.model_fields.items()]:
        path = f"{above}.{key}" if above else key
        yield path
        if path.count(".") < 8:
            yield from paths(model, path)


@pytest.mark.parametrize("name", FILES)
def test_every_key_of_a_file_is_on_its_page(name: str, built: Path, pages: dict[Path, BuiltPage]) -> None:
    found = page(pages, built, f"reference/{name}").text.split()
    keys = {path.rpartition(".")[2] for path in paths(declared(name))}
    assert len(keys) > 20
    assert keys <= set(found)


def test_a_key_tells_its_range_unit_default_and_sentence(built: Path, pages: dict[Path, BuiltPage]) -> None:
    text = " ".join(page(pages, built, "reference/scenario").text.split())
    assert "distance_nm 20 to 400 nm required distance to go to the threshold" in text
    assert "angle_deg 2 to 5.5 ° 3 angle above the horizontal" in text
    assert 'capture "below", "above" "below" side from which the path is captured' in text
    assert "gear_down true or false true whether the gear must be down" in text
    assert "seed whole number, 0 to 2147483647 0 which crew of all that fly this way" in text
    assert "[[arrival.windows]]" in text
    assert '[air.wind] with kind "section"' in text


def test_every_command_and_option_is_on_its_page(built: Path, pages: dict[Path, BuiltPage]) -> None:
    own = page(pages, built, "reference/commands")
    for name, command in main.commands.items():
        assert f"command-{name}" in own.ids
        options = [parameter for parameter in command.params if isinstance(parameter, click.Option)]
        assert all(option.opts[-1] in own.text and option.help in " ".join(own.text.split()) for option in options)


def test_each_example_of_a_command_is_a_line_of_its_own(built: Path, pages: dict[Path, BuiltPage]) -> None:
    lines = re.findall(r"^\$ (optdescent .*)$", page(pages, built, "reference/commands").text, re.MULTILINE)
    assert len(lines) > len(main.commands)
    assert not [line for line in lines if line.count("optdescent ") != 1]
    assert "optdescent chart out/conditions.nc --figure rule-map -o out" in lines


def test_every_public_name_is_on_its_page(built: Path, pages: dict[Path, BuiltPage]) -> None:
    own = page(pages, built, "reference/api")
    stored = (ROOT / "tests" / "house" / "public_names.txt").read_text(encoding="utf-8").split()
    assert {f"api-{name.lower().replace('_', '-')}" for name in stored} <= own.ids
    assert all((getattr(optdescent, name).__doc__ or "").split("\n")[0] for name in stored)
    assert "Optimal descent of a scenario [SI]." in own.text


def test_every_name_of_a_room_is_on_its_page_with_its_parameters(built: Path, pages: dict[Path, BuiltPage]) -> None:
    own = page(pages, built, "reference/rooms")
    text = " ".join(own.text.split())
    told = 0
    for name, room in rooms():
        assert make_id(f"room {name}") in own.ids
        for each in room.__all__:
            of = getattr(room, each)
            is_own = (isclass(of) or isroutine(of)) and of.__module__.startswith("optdescent.")
            if not is_own or getattr(optdescent, each, None) is of:
                assert f" {each} " in text
                continue
            assert {make_id(f"{name} {each}"), make_id(f"{name} {each} function")} & own.ids
            parts = re.split(r"\n(\w+)\n-{3,}\n", getdoc(of) or "")
            assert " ".join(parts[0].split("\n\n")[0].replace("`", "").split()) in text
            parameters = parts[parts.index("Parameters") + 1] if "Parameters" in parts else ""
            fields = [line for line in parameters.splitlines() if line and not line.startswith(" ")]
            assert all(" ".join(field.split()) in text for field in fields), (name, each)
            told += len(fields)
    assert told > 20


def rooms() -> Iterator[tuple[str, ModuleType]]:
    """Rooms that say which names are for others, found in the folders and not from the pages."""
    for path in sorted((ROOT / "optdescent").iterdir()):
        if path.name != "cli" and ((path / "__init__.py").exists() or path.suffix == ".py") and path.stem != "__init__":
            room = import_module(f"optdescent.{path.stem}")
            if getattr(room, "__all__", ()):
                yield room.__name__, room


def make_id(label: str) -> str:
    """What a label is called in a link: small letters, and all else is a hyphen."""
    return re.sub(r"[^a-z0-9]+", "-", label.lower()).strip("-")


def test_every_column_is_in_the_nomenclature(built: Path, pages: dict[Path, BuiltPage]) -> None:
    text = page(pages, built, "reference/nomenclature").text
    for column in (*COLUMNS.values(), *SOLVED_COLUMNS.values()):
        assert column.name in text
        assert column.long_name in text


def test_formulas_are_drawn_by_the_browser_itself(built: Path, pages: dict[Path, BuiltPage]) -> None:
    own = page(pages, built, "concepts/physics")
    assert own.path.read_text(encoding="utf-8").count("<math") > 20
    assert not [url for url in own.loaded if "mathjax" in url.lower()]


def test_the_gallery_shows_what_its_code_drew(built: Path, pages: dict[Path, BuiltPage]) -> None:
    own = page(pages, built, "gallery")
    figures = [built / url for url in own.loaded if url.endswith(".svg")]
    drawn = {figure.stem for figure in figures}
    assert {*FIGURES, *AIRFRAME_FIGURES} <= {name.removeprefix("three-rules-") for name in drawn}
    assert drawn >= STORED_FIGURES
    blocks_of_code = [block for block in blocks(DOCS / "gallery.md") if block.language == "gallery-figure"]
    assert len(figures) == len(blocks_of_code) >= 18, "all are drawn by their code"
    assert all("optdescent" in figure.read_text(encoding="utf-8") for figure in figures)


def test_a_study_answers_its_question_on_the_page(built: Path, pages: dict[Path, BuiltPage]) -> None:
    """Words and cells of every README from its answer to the caution, found by paragraph."""
    own = page(pages, built, "studies")
    told, cells = " ".join(own.text.split()), 0
    for path in sorted((ROOT / "studies").glob("*/README.md")):
        assert f"study-{path.parent.name.replace('_', '-')}" in own.ids
        _, begun, rest = path.read_text(encoding="utf-8").partition("**Answer.** ")
        parts = rest.partition("Training analysis and research only")[0].split("\n\n")
        assert begun, path
        assert any(part.startswith("**Where it would not hold.** ") for part in parts), path
        for part in (each for each in parts if not each.startswith("```")):
            plain = re.sub(r"\[([^\]]*)\]\([^)]*\)|[*`]", r"\1", part)
            rows = plain.strip().split("|") if plain.startswith("|") else [plain]
            words = [" ".join(cell.split()) for cell in rows if not set(cell) <= set("- \n:")]
            assert all(each in told for each in words), (path, [each for each in words if each not in told])
            cells += len(words)
    assert cells > 500


def test_every_rule_of_the_library_has_its_page_and_figure(built: Path, pages: dict[Path, BuiltPage]) -> None:
    own = page(pages, built, "reference/library")
    told = " ".join(own.text.split())
    for rule in read_rules("library"):
        assert f"rule-{rule.name}" in own.ids
        assert all(" ".join(sentence.split()) in told for sentence in (rule.title, rule.source, *rule_words(rule)))
        assert any(name.endswith(f"{rule.name}.svg") for name in own.loaded), rule.name


def test_the_notebook_can_be_taken_away(built: Path, pages: dict[Path, BuiltPage]) -> None:
    own = page(pages, built, "notebook")
    (link,) = [link for link in own.links if link.endswith(".ipynb")]
    assert json.loads((own.path.parent / link).read_text(encoding="utf-8"))["nbformat"] == 4
