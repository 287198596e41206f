"""The engine beside general-purpose libraries: ``python -m benchmarks.peers [-o FOLDER] [-n ROUNDS]``.

The same problems, from the same straight guess, on as many elements of the same degree, in one process, turn by turn;
writes ``peers.csv``, ``peers.md``, ``peers.pdf`` and ``peers.png``.

``pip install -e '.[tests,peers]'`` installs the libraries whose requirements agree with this project's. Two more are
taken if present: ``pip install --no-deps yapss mpopt && pip install mpmath`` (the first asks for an older CasADi,
the second for an older numpy; both were seen to work with current ones).
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import importlib.metadata
import io
import os
import platform
from collections.abc import Sequence
from pathlib import Path

import casadi as ca

from benchmarks.peers.adapter import Library
from benchmarks.peers.cases import CASES
from benchmarks.peers.contest import Result, compete, refined
from benchmarks.peers.engine import Engine
from benchmarks.peers.plot import draw
from benchmarks.peers.reference import reference
from benchmarks.peers.verdict import Duel, duels, sentences
from benchmarks.tables import markdown, write_csv
from benchmarks.yardstick import SENTENCE, yardstick

_PEERS = {"yapss": "Yapss", "mpopt": "Mpopt", "rockit": "Rockit", "maptor": "Maptor"}
_HEADER = (
    "case", "library", "result", "error", "error re-solve", "iterations", "iterations re-solve",
    "build ms", "build + first ms", "re-solve ms", "first / engine", "re-solve / engine", "rounds",
)  # fmt: skip


def _libraries(wanted: Sequence[str]) -> tuple[list[Library], list[str]]:
    """The engine and the peers that are installed; sentences about versions and absences."""
    found: list[Library] = [Engine()]
    said: list[str] = []
    for name in wanted:
        try:
            module = importlib.import_module(f"benchmarks.peers.posed_to_{name}")
            library: Library = getattr(module, _PEERS[name])()
        except ImportError as fault:
            said.append(f"{name}: not installed ({fault})")
            continue
        found.append(library)
    versions = [f"{x.name} {importlib.metadata.version(x.distribution)}: {x.way}" for x in found]
    return found, [*versions, *said]


def _number(value: float, form: str) -> str:
    return "–" if value != value or value < 0 else format(value, form)


def _row(result: Result, own: Result) -> list[str]:
    return [
        result.case,
        result.library,
        result.status,
        _number(result.error, ".1e"),
        _number(result.error_again, ".1e"),
        _number(result.iterations, "d"),
        _number(result.iterations_again, "d"),
        _number(1e3 * result.build, ".1f"),
        _number(1e3 * result.first, ".1f"),
        _number(1e3 * result.again, ".1f"),
        _number(result.first / own.first, ".2f"),
        _number(result.again / own.again, ".2f"),
        str(result.rounds),
    ]


def _duel_table(found: Sequence[Duel]) -> str:
    header = ("case", "first solve: fastest peer", "times faster", "re-solve: fastest peer", "times faster", "error")
    rows = [
        (
            d.case,
            d.first_peer,
            f"{d.first:.2f}",
            d.again_peer,
            f"{d.again:.2f}",
            "as good" if d.is_as_exact else "WORSE",
        )
        for d in found
    ]
    return markdown(header, rows)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.peers", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("-o", "--output", type=Path, default=Path("benchmarks/out"), help="folder for table and plot")
    parser.add_argument("-n", "--rounds", type=int, default=7, help="timed rounds of each case")
    parser.add_argument("-c", "--case", action="append", help="only this case (may be given again)")
    parser.add_argument("-p", "--peer", action="append", choices=sorted(_PEERS), help="only this peer (again)")
    given = parser.parse_args()
    os.environ.setdefault("MPLBACKEND", "Agg")
    libraries, said = _libraries(given.peer or list(_PEERS))
    results: list[Result] = []
    notes: list[str] = []
    for case in CASES:
        if given.case and case.name not in given.case:
            continue
        known = reference(case)
        if not known.agrees:
            notes.append(f"{case.name}: the reference {known.nominal!r} does NOT agree with the published number")
        notes.append(f"{case.name}: reference {known.nominal:.10g} ({known.source})")
        quiet = io.StringIO()
        with contextlib.redirect_stdout(quiet):
            results += [*compete(case, known, libraries, given.rounds), refined(case, known, min(given.rounds, 3))]
        notes += [line.strip() for line in quiet.getvalue().splitlines() if line.startswith("    ")]
        print(f"{case.name}: done", flush=True)
    owns = {r.case: r for r in results if r.library == Engine.name}
    rows = [_row(r, owns[r.case]) for r in results]
    found = duels(results)
    machine = (
        f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}, "
        f"CasADi {ca.__version__}; yardstick {1e3 * yardstick():.1f} ms for {SENTENCE}"
    )
    parts = [
        "# The engine beside general-purpose direct-collocation libraries",
        machine,
        *(f"- {s}" for s in said),
        markdown(_HEADER, rows),
        _duel_table(found),
        *(f"- {s}" for s in sentences(found, results)),
        "Errors are of the cost, in units of the case's size. Times are medians over the rounds.",
        *(f"- {n}" for n in notes),
    ]
    text = "\n\n".join(parts) + "\n"
    folder: Path = given.output
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "peers.md").write_text(text, encoding="utf-8")
    write_csv(folder / "peers.csv", _HEADER, rows)
    draw(results, folder, "peers")
    print(text)


if __name__ == "__main__":
    main()
