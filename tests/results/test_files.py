"""No half-written files."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from optdescent.inputs import InputFault
from optdescent.results.files import csv_text, make_folder, replacing, write_text
from optdescent.results.provenance import Provenance, software_version
from tests.figures import conditions, fits, fronts

TWO_LINES = "Arrival from the west\nand a second line"


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def interrupted(path: Path, error: type[BaseException]) -> None:
    """Write half a file, then fail."""
    with replacing(path) as temporary:
        temporary.write_text("half", encoding="utf-8")
        raise error


def test_the_file_appears_only_when_the_block_ends(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b.txt"
    with replacing(path) as temporary:
        temporary.write_text("new", encoding="utf-8")
        assert temporary.parent == path.parent
        assert temporary.suffix == path.suffix
        assert not path.exists()
    assert path.read_text(encoding="utf-8") == "new"
    assert names(path.parent) == ["b.txt"]


@pytest.mark.parametrize("error", [RuntimeError, KeyboardInterrupt, SystemExit])
def test_an_interrupted_block_leaves_nothing(tmp_path: Path, error: type[BaseException]) -> None:
    with pytest.raises(error):
        interrupted(tmp_path / "b.txt", error)
    assert names(tmp_path) == []


def test_an_interrupted_block_leaves_the_old_file_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "b.txt"
    write_text(path, "old")
    with pytest.raises(RuntimeError):
        interrupted(path, RuntimeError)
    assert path.read_text(encoding="utf-8") == "old"
    assert names(tmp_path) == ["b.txt"]


def test_an_existing_file_is_replaced(tmp_path: Path) -> None:
    write_text(tmp_path / "b.txt", "old")
    write_text(tmp_path / "b.txt", "neu ≤")
    assert (tmp_path / "b.txt").read_text(encoding="utf-8") == "neu ≤"
    assert names(tmp_path) == ["b.txt"]


def test_a_place_that_cannot_be_written_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(InputFault, match=r"b\.txt: cannot be written"):
        write_text(tmp_path / "file" / "b.txt", "x")


def test_a_folder_that_cannot_be_made_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("kept", encoding="utf-8")
    with pytest.raises(InputFault, match="cannot be made"):
        make_folder(tmp_path / "file" / "below")
    make_folder(tmp_path / "new" / "below")
    make_folder(tmp_path / "new" / "below")
    assert (tmp_path / "new" / "below").is_dir()


def test_a_folder_in_the_place_of_the_file_is_a_fault_and_stays(tmp_path: Path) -> None:
    (tmp_path / "b.txt").mkdir()
    with pytest.raises(InputFault, match="cannot be written"):
        write_text(tmp_path / "b.txt", "x")
    assert names(tmp_path) == ["b.txt"]


@pytest.mark.skipif(os.name == "nt", reason="permissions")
def test_the_file_can_be_read_by_whom_the_place_lets_read(tmp_path: Path) -> None:
    """A file made under a private temporary name must not stay private: it is as readable as any other here."""
    write_text(tmp_path / "b.txt", "x")
    (tmp_path / "plain.txt").write_text("x", encoding="utf-8")
    assert (tmp_path / "b.txt").stat().st_mode == (tmp_path / "plain.txt").stat().st_mode


def test_where_a_result_is_from_is_one_line() -> None:
    source = Provenance(TWO_LINES, "", "0123456789ab").source
    assert source == f"Arrival from the west and a second line; optdescent {software_version()}, scenario 0123456789ab"


def test_a_comment_of_several_lines_is_one_line() -> None:
    assert csv_text(("a\nb", "c\r\n\td"), ("x",), ({"x": 1},)) == "# a b\n# c d\nx\n1\n"


@pytest.mark.parametrize("invented", [conditions.once, fronts.invented])
def test_a_title_of_several_lines_makes_no_row_of_a_table(invented: Callable[[str], Any], tmp_path: Path) -> None:
    written: list[list[str]] = []
    for title in ("Arrival from the west", TWO_LINES):
        invented(title).to_csv(tmp_path / "table.csv")
        written.append((tmp_path / "table.csv").read_text(encoding="utf-8").splitlines())
    plain, broken = written
    assert broken[0].startswith("# Arrival from the west and a second line; optdescent ")
    assert len(broken) == len(plain)
    assert [line for line in broken if line[0] != "#"] == [line for line in plain if line[0] != "#"]


def test_a_title_of_several_lines_makes_no_row_of_a_fit() -> None:
    plain, broken = (fits.invented(title).text().splitlines() for title in ("Arrival", TWO_LINES))
    assert broken[0].startswith("# Arrival from the west and a second line; optdescent ")
    assert broken[1:] == plain[1:]
