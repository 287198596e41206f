"""Columns of a sweep's dataset that the optimum fills."""

from __future__ import annotations

from optdescent.results.schema import Column
from optdescent.results.sweep import Content, SweepColumn

SUMMARY = (
    SweepColumn(Column("cost", "kg", "what is minimised: fuel, cost of time, charge for smooth controls", "kg")),
    SweepColumn(Column("fuel", "kg", "fuel from the start to the threshold", "kg")),
    SweepColumn(Column("time", "s", "time from the start to the threshold", "min")),
    SweepColumn(Column("top_of_descent", "m", "distance to go at the top of descent", "nm")),
    SweepColumn(Column("thrust_distance", "m", "distance with thrust above idle after the top of descent", "nm")),
    SweepColumn(Column("thrust_fuel", "kg", "fuel burnt above idle after the top of descent", "kg")),
    SweepColumn(Column("brake_distance", "m", "distance with speed brake out", "nm")),
    SweepColumn(Column("gate_speed", "m s-1", "calibrated airspeed at the gate", "kt")),
    SweepColumn(Column("gate_above_reference", "m s-1", "calibrated airspeed above the reference speed there", "kt")),
    SweepColumn(Column("gate_sink", "m s-1", "sink rate at the gate", "ft_per_min")),
    SweepColumn(Column("stable", "", "stable at the gate", ""), Content.FLAG, meanings=("no", "yes")),
)
FIRST_FLIGHT, NEIGHBOUR, AFTER_AN_ERROR = range(3)
"""Flags of `start`; an error beside a neighbour is a defect, which costs the time of a cold search and no answer."""
CERTIFICATE = (
    SweepColumn(
        Column("start", "", "what the solve started from", ""),
        Content.FLAG,
        meanings=("first_flight", "neighbour", "first_flight_after_an_error"),
    ),
    SweepColumn(Column("iterations", "1", "iterations of the last solve", ""), Content.COUNT),
    SweepColumn(Column("optimality", "1", "largest scaled residual of the optimality conditions", "")),
    SweepColumn(Column("constraint_violation", "1", "largest scaled violation of a constraint", "")),
    SweepColumn(Column("local_error", "1", "largest scaled error of an element of the mesh", "")),
    SweepColumn(Column("program_size", "1", "variables of the nonlinear program", ""), Content.COUNT),
    SweepColumn(Column("regularisation", "kg", "charged to make controls unique and smooth", "kg")),
    SweepColumn(Column("order", "", "events in their order", ""), Content.TEXT),
)
REFLIGHT = (
    SweepColumn(Column("reflight_altitude", "m", "largest difference of altitude when flown again", "ft")),
    SweepColumn(Column("reflight_speed", "m s-1", "largest difference of true airspeed when flown again", "kt")),
    SweepColumn(Column("reflight_fuel", "kg", "largest difference of fuel when flown again", "kg")),
)
SLOPES = (
    SweepColumn(
        Column("cost_slope", "", "derivative of the cost in kg to each axis in its axis_unit", ""),
        dims=("axis",),
    ),
    SweepColumn(
        Column("cost_per", "", "derivative of the cost in kg to each quantity in its quantity_unit", ""),
        dims=("quantity",),
    ),
)
