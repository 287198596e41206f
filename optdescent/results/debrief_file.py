"""A debrief as one file: its points, and in groups of the same file the flights it is of and beside."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any, cast

from optdescent.results.debrief import Debrief, Finding, Severity, Subject, WhatIf
from optdescent.results.files import Fault, InputFault, read_netcdf, read_result, replacing
from optdescent.results.flight import Flight, gate_of_plain
from optdescent.results.last_action import LastAction, LastActions, Lost
from optdescent.results.provenance import Provenance

KIND = "debrief"
"""What a stored file says that it is."""


def write_debrief(path: Path, found: Debrief) -> None:
    """Write a debrief as netCDF-4 in one step, in SI.

    The root holds the points, and findings, last useful points and what-ifs as JSON; `flight_0` the flight, other
    groups those beside it.

    Raises
    ------
    InputFault
        The file cannot be written.
    """
    others = (*found.others, *(one.flight for one in found.what_ifs))
    # what was tried stands beside the flight too, and is stored once
    flights = list({id(flight): flight for flight in (found.flight, *others)}.values())
    number = {id(flight): at for at, flight in enumerate(flights)}
    root = found.points.assign_attrs(found.flight.provenance.attributes()).assign_attrs(
        kind=KIND,
        flights=len(flights),
        others=json.dumps([number[id(flight)] for flight in found.others]),
        findings=json.dumps([_plain(finding) for finding in found.findings]),
        last=json.dumps(asdict(found.last)),
        what_ifs=json.dumps(
            [
                {"time": one.time, "action": one.action, "flight": number[id(one.flight)], "low": asdict(one.low)}
                for one in found.what_ifs
            ]
        ),
    )
    with replacing(path) as temporary:
        # xarray leaves part of the annotation of its method open
        cast(Any, root).to_netcdf(temporary, engine="h5netcdf")
        for at, flight in enumerate(flights):
            cast(Any, flight.stored()).to_netcdf(temporary, engine="h5netcdf", group=f"flight_{at}", mode="a")


def read_debrief(path: str | Path) -> Debrief:
    """Debrief of a file that `write_debrief` wrote [SI].

    Raises
    ------
    InputFault
        The file cannot be read or does not hold a debrief.
    """
    try:
        root, given = read_result(path, KIND)
        flights = [Flight.of_stored(read_netcdf(path, f"flight_{at}")) for at in range(int(given["flights"]))]
        tried: list[dict[str, Any]] = json.loads(given["what_ifs"])
        return Debrief(
            flight=flights[0],
            findings=tuple(_finding(plain) for plain in json.loads(given["findings"])),
            points=root,
            last=_last(json.loads(given["last"])),
            others=tuple(flights[int(at)] for at in json.loads(given["others"])),
            what_ifs=tuple(
                WhatIf(one["time"], one["action"], flights[int(one["flight"])], gate_of_plain(one["low"]))
                for one in tried
            ),
        )
    except (OSError, KeyError, IndexError, TypeError, ValueError) as error:
        told = f"does not hold a debrief ({error})"
        raise InputFault([Fault(str(path), "", told, "debrief.nc of this package")]) from error


def _plain(finding: Finding) -> dict[str, Any]:
    return {**asdict(finding), "subject": finding.subject.name, "severity": finding.severity.value}


def _finding(plain: dict[str, Any]) -> Finding:
    enums: dict[str, Any] = {"subject": Subject[plain["subject"]], "severity": Severity(plain["severity"])}
    return Finding(**{**plain, **enums})


def _last(plain: dict[str, Any]) -> LastActions:
    actions = tuple(LastAction(**action) for action in plain["actions"])
    lost = None if plain.get("lost") is None else Lost(**plain["lost"])
    return LastActions(plain["flight"], actions, Provenance(**plain["provenance"]), lost, plain.get("now"))
