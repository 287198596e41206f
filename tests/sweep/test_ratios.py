"""The table of a benchmark of sweeps that says what was measured beside what is asked, of facts made by hand."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

from benchmarks.sweep.__main__ import up_from, write_tables
from benchmarks.sweep.ratios import merged, ratios

FACTS = {
    "cold_s": 6.0,
    "workers_1_s": 0.9,
    "workers_2_s": 0.5,
    "case_100_s": 0.4,
    "case_10000_s": 0.6,
    "busy_100_s": 0.4,
    "busy_10000_s": 0.6,
    "sweep_10000_s": 6100.0,
    "memory_first_10000_MB": 1000.0,
    "memory_last_10000_MB": 1050.0,
    "memory_most_10000_MB": 1600.0,
    "memory_most_100_MB": 800.0,
    "solved_10000_percent": 99.6,
    "local_s": 100.0,
    "cluster_s": 116.0,
    "memory_first_rules_MB": 1000.0,
    "memory_last_rules_MB": 1200.0,
    "memory_most_rules_MB": 1300.0,
}


def test_each_ratio_stands_beside_what_is_asked() -> None:
    rate = "two workers beside cold solves one by one, cases a second"
    assert ratios(FACTS) == [
        (f"{rate}, some blocks, preparation aside", "12", "at least 10", "yes"),
        (f"{rate}, 10000 cases, with preparation", "9.836", "at least 10", "no"),
        ("two workers beside one, cases a second, preparation aside", "1.8", "at least 1.7", "yes"),
        (
            "memory of the last quarter beside the first with all workers up, 10000 cases",
            "1.05",
            "at most 1.1",
            "yes",
        ),
        ("most memory, MB, 10000 cases", "1600", "at most 1500", "no"),
        ("solved, %, 10000 cases", "99.6", "at least 99.5", "yes"),
        (
            "processor seconds a case, 10000 cases beside some 100 of them, preparation aside",
            "1.5",
            "at least 0.8, at most 1.25",
            "no",
        ),
        ("Dask beside local processes, seconds with preparation", "1.16", "at most 1.15", "no"),
        (
            "memory of the last quarter beside the first with all workers up, flights of a rule",
            "1.2",
            "at most 1.1",
            "no",
        ),
        ("most memory, MB, flights of a rule", "1300", "at most 1500", "yes"),
    ]


def test_a_ratio_of_which_a_fact_is_not_there_is_left_out() -> None:
    assert ratios({}) == []
    assert ratios({"cold_s": 6.0, "workers_1_s": 0.9, "local_s": 1.0, "yardstick_s": 0.03}) == []
    only = {name: fact for name, fact in FACTS.items() if name in {"case_100_s", "memory_most_100_MB"}}
    assert [row[0] for row in ratios(only)] == ["most memory, MB, 100 cases"]


def test_facts_of_parts_run_apart_come_together(tmp_path: Path) -> None:
    path = tmp_path / "sweep.json"
    assert merged(path, {"cold_s": 6.0}) == {"cold_s": 6.0}
    path.write_text(json.dumps({"cold_s": 6.0, "yardstick_s": 0.03}), encoding="utf-8")
    both = merged(path, {"workers_2_s": 0.5, "yardstick_s": 0.04})
    assert both == {"cold_s": 6.0, "workers_2_s": 0.5, "yardstick_s": 0.04}
    assert len(ratios(both)) == 1


def test_the_tables_are_written_where_a_benchmark_puts_its_results(tmp_path: Path) -> None:
    (tmp_path / "sweep.json").write_text(json.dumps({"cold_s": 6.0}), encoding="utf-8")
    write_tables(tmp_path, [], {"workers_1_s": 0.9, "workers_2_s": 0.5})
    lines = (tmp_path / "sweep_ratios.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "what,measured,asked,met"
    assert lines[1].endswith(",12,at least 10,yes")
    assert lines[2] == '"two workers beside one, cases a second, preparation aside",1.8,at least 1.7,yes'
    assert json.loads((tmp_path / "sweep.json").read_text(encoding="utf-8"))["cold_s"] == 6.0


def test_memory_counts_from_where_each_worker_has_stored_a_block(tmp_path: Path) -> None:
    log = tmp_path / "log"
    stamps = ("begin: 9 cases", "block 1: 8 cases", "case 3: infeasible", "block 0: 8 cases", "block 2: 8 cases")
    log.write_text(
        "".join(f"2026-01-31T12:00:0{second}Z {event}\n" for second, event in enumerate(stamps)), encoding="utf-8"
    )
    noon = datetime(2026, 1, 31, 12, tzinfo=UTC).timestamp()
    assert [up_from(log, workers) - noon for workers in (1, 2, 3)] == [1.0, 3.0, 4.0]
    assert up_from(log, 4) == float("inf")
