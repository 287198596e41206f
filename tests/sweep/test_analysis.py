"""What a stored sweep says, against functions whose indices, effects and slopes are known in closed form."""

from __future__ import annotations

import json
import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import stats

from optdescent.inputs import InputFault, validated
from optdescent.scenario import Conditions, ConditionsDeclaration
from optdescent.sweep.analysis import main_effects, nearest_case, percentiles, slope_map, sobol_indices

Formula = Callable[..., NDArray[np.float64]]

TAILWIND = {"kind": "range", "key": "added_tailwind_kt", "from": -20.0, "to": 20.0, "count": 5}
MASS = {"kind": "values", "key": "start.mass_kg", "values": [50000.0, 53000.0, 60000.0]}
SOUNDING = {"kind": "soundings", "soundings": ["calm", "windy", "warm"]}
MEMBER = {"kind": "ensemble", "members": 4, "random_kt": 5.0}


def conditions(axes: Sequence[Mapping[str, Any]], **sampling: Any) -> Conditions:
    declared = validated(ConditionsDeclaration, {"axes": list(axes), "sampling": sampling or {"kind": "grid"}}, "test")
    return Conditions.of(declared, "test")


def shuffled(chosen: Conditions, seed: int = 3) -> Conditions:
    return chosen.reordered(np.random.default_rng(seed).permutation(chosen.size))


def stored(chosen: Conditions, unsolved: Sequence[int] = (), **formulas: Formula) -> xr.Dataset:
    """A sweep in which each variable is a formula of the levels (cases,) of all axes; unsolved are numbers of cases."""
    names = [axis.name for axis in chosen.axes]
    is_grid = chosen.shares is None
    dims = tuple(names) if is_grid else ("case",)
    columns = [np.array(column) for column in zip(*map(chosen.levels, range(chosen.size)), strict=True)]
    attributes = [
        {"long_name": axis.name, "key": axis.key} | ({"units": axis.unit.symbol} if axis.is_ordered else {})
        for axis in chosen.axes
    ]
    levels = [np.array(axis.levels) for axis in chosen.axes] if is_grid else columns
    coordinates: dict[str, Any] = {
        name: (name if is_grid else "case", level, told)
        for name, level, told in zip(names, levels, attributes, strict=True)
    }
    if not is_grid:
        coordinates["draw"] = ("case", chosen.draw)
    is_solved = ~np.isin(np.arange(chosen.size), unsolved)
    status = np.where(is_solved, 0, 4).astype(np.int8)
    table: dict[str, Any] = {"status": (dims, status.reshape(chosen.shape))}
    for name, formula in formulas.items():
        values = np.where(is_solved, formula(*columns), np.nan).reshape(chosen.shape)
        table[name] = (dims, values, {"units": "kg", "long_name": f"{name} of it"})
    own = chosen.sampling
    sampling = {"kind": own.kind, "count": getattr(own, "count", None), "seed": getattr(own, "seed", None)}
    return xr.Dataset(table, coordinates, {"axes": json.dumps(names), "sampling": json.dumps(sampling)})


def fault(action: Callable[[], object]) -> tuple[str, str, str]:
    with pytest.raises(InputFault) as caught:
        action()
    (only,) = caught.value.faults
    return only.key, only.given, only.allowed


# The function of Ishigami and Homma, An importance quantification technique in uncertainty analysis for computer
# models, ISUMA 1990, on (-pi, pi)^3, and the parts of its variance by integration.

A, B = 7.0, 0.1
V = A**2 / 8.0 + B * math.pi**4 / 5.0 + B**2 * math.pi**8 / 18.0 + 0.5
V1, V2, V13 = 0.5 * (1.0 + B * math.pi**4 / 5.0) ** 2, A**2 / 8.0, B**2 * math.pi**8 * (1.0 / 18.0 - 1.0 / 50.0)
FIRST = np.array([V1, V2, 0.0]) / V
TOTAL = np.array([V1 + V13, V2, V13]) / V


def ishigami(x: NDArray[np.float64], y: NDArray[np.float64], z: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.sin(x) + A * np.sin(y) ** 2 + B * z**4 * np.sin(x)


def ishigami_sample(count: int) -> Conditions:
    axes = [{"kind": "range", "key": name, "from": -math.pi, "to": math.pi} for name in "xyz"]
    return conditions(axes, kind="saltelli", count=count, seed=5)


def ishigami_grid(levels: int) -> xr.Dataset:
    middles = ((np.arange(levels) + 0.5) / levels * 2.0 - 1.0) * math.pi
    axes = [{"kind": "values", "key": name, "values": middles.tolist()} for name in "xyz"]
    return stored(conditions(axes), cost=ishigami)


def test_the_parts_of_the_variance_are_the_published_ones() -> None:
    np.testing.assert_allclose(FIRST, [0.3139, 0.4424, 0.0], atol=5e-5)
    np.testing.assert_allclose(TOTAL, [0.5576, 0.4424, 0.2437], atol=5e-5)


def test_a_sample_gives_the_indices_of_ishigami_within_its_intervals() -> None:
    found = sobol_indices(stored(shuffled(ishigami_sample(4096)), cost=ishigami), "cost")
    assert found["axis"].to_numpy().tolist() == ["x", "y", "z"]
    for name, exact in (("first_order", FIRST), ("total_order", TOTAL)):
        np.testing.assert_allclose(found[name], exact, atol=0.01)
        assert np.all(found[f"{name}_low"] <= exact)
        assert np.all(found[f"{name}_high"] >= exact)
        assert found[name].attrs["units"] == "1"


def test_the_order_in_which_cases_are_stored_changes_no_index() -> None:
    chosen = ishigami_sample(256)
    first = sobol_indices(stored(chosen, cost=ishigami), "cost")
    xr.testing.assert_identical(first, sobol_indices(stored(shuffled(chosen), cost=ishigami), "cost"))
    lost = stored(shuffled(chosen), cost=ishigami).assign_coords(draw=("case", np.arange(chosen.size)))
    assert float(np.abs(sobol_indices(lost, "cost")["first_order"] - first["first_order"]).max()) > 0.1


def test_a_sample_is_estimated_as_by_the_estimator_that_draws_for_itself() -> None:
    chosen = ishigami_sample(512)
    a, b, *ab = np.array([chosen.levels(number) for number in range(chosen.size)]).reshape(5, 512, 3)
    values = {
        "f_A": ishigami(*a.T)[None],
        "f_B": ishigami(*b.T)[None],
        "f_AB": np.array([[ishigami(*x.T)] for x in ab]),
    }
    expected = stats.sobol_indices(func=values, n=512)
    found = sobol_indices(stored(shuffled(chosen), cost=ishigami), "cost")
    np.testing.assert_allclose(found["first_order"], expected.first_order, rtol=1e-12, atol=1e-14)
    np.testing.assert_allclose(found["total_order"], expected.total_order, rtol=1e-12)


def test_intervals_narrow_with_the_root_of_the_count() -> None:
    few, many = (sobol_indices(stored(ishigami_sample(n), cost=ishigami), "cost") for n in (256, 4096))
    width = [float((f["total_order_high"] - f["total_order_low"]).sel(axis="x")) for f in (few, many)]
    assert 3.0 < width[0] / width[1] < 5.3


def test_a_grid_gives_the_indices_of_ishigami_and_its_error_falls_with_the_square_of_the_step() -> None:
    found = []
    for levels in (20, 40):
        dataset = ishigami_grid(levels)
        indices = sobol_indices(dataset, "cost")
        assert indices.attrs["method"] == "exact"
        assert "first_order_low" not in indices
        found.append(np.stack([indices["first_order"], indices["total_order"]]))
        # the grid's own parts: sums over equal steps are exact for sines, so only the moments of z differ
        fourth, eighth = (float((dataset["z"] ** power).mean()) for power in (4, 8))
        first = [0.5 * (1.0 + B * fourth) ** 2, A**2 / 8.0, 0.0]
        joint = 0.5 * B**2 * (eighth - fourth**2)
        total = [first[0] + joint, first[1], joint]
        np.testing.assert_allclose(found[-1], np.array([first, total]) / (sum(first) + joint), rtol=1e-9, atol=1e-12)
    coarse, fine = (np.abs(parts - [FIRST, TOTAL]).max() for parts in found)
    assert 3.5 < coarse / fine < 4.5
    np.testing.assert_allclose((4.0 * found[1] - found[0]) / 3.0, [FIRST, TOTAL], atol=5e-5)  # the published digits


def test_a_product_of_two_signs_is_all_interaction() -> None:
    axes = [{"kind": "values", "key": name, "values": [-1.0, 1.0]} for name in "xy"]
    found = sobol_indices(stored(conditions(axes), cost=lambda x, y: x * y), "cost")
    np.testing.assert_allclose(found["first_order"], [0.0, 0.0], atol=1e-15)
    np.testing.assert_allclose(found["total_order"], [1.0, 1.0])


@pytest.mark.parametrize("sampling", [{"kind": "grid"}, {"kind": "saltelli", "count": 256, "seed": 1}])
def test_one_axis_explains_everything(sampling: dict[str, Any]) -> None:
    found = sobol_indices(stored(conditions([MASS], **sampling), fuel=lambda mass: mass), "fuel")
    assert found["first_order"].dims == ("axis",)
    np.testing.assert_allclose([found["first_order"], found["total_order"]], 1.0, atol=0.03)


@pytest.mark.parametrize("sampling", [{"kind": "grid"}, {"kind": "saltelli", "count": 64}])
def test_indices_keep_a_further_dimension_and_do_not_change_with_units(sampling: dict[str, Any]) -> None:
    dataset = stored(conditions([TAILWIND, SOUNDING], **sampling), fuel=lambda wind, s: wind + 9.0 * (s == "warm"))
    alone = sobol_indices(dataset, "fuel")
    rules = xr.DataArray([1.0, -1000.0, 0.0], dims="rule", coords={"rule": ["first", "second", "constant"]})
    both = sobol_indices(dataset.assign(fuel=rules * dataset["fuel"]), "fuel")
    assert both["first_order"].dims == ("axis", "rule")
    for rule in ("first", "second"):
        np.testing.assert_allclose(both["first_order"].sel(rule=rule), alone["first_order"], rtol=1e-9)
        np.testing.assert_allclose(both["total_order"].sel(rule=rule), alone["total_order"], rtol=1e-9)
    assert np.isnan(both.sel(rule="constant").to_dataarray()).all()


def test_indices_say_which_sampling_gives_them_and_how_many_cases_lack_the_value() -> None:
    latin = stored(conditions([TAILWIND, MASS], kind="latin-hypercube", count=12), fuel=lambda wind, mass: mass)
    key, given_, allowed = fault(lambda: sobol_indices(latin, "fuel"))
    assert (key, given_) == ("sampling.kind", "got 'latin-hypercube'")
    assert "grid or saltelli" in allowed
    gaps = stored(conditions([TAILWIND, MASS]), unsolved=(0, 7), fuel=lambda wind, mass: mass)
    assert "2 of 15 cases" in fault(lambda: sobol_indices(gaps, "fuel"))[1]
    sample = stored(conditions([TAILWIND, MASS], kind="saltelli", count=4), fuel=lambda wind, mass: mass)
    assert fault(lambda: sobol_indices(sample.isel(case=slice(1, None)), "fuel"))[0] == "draw"


# main effects


def test_effects_of_a_sum_are_its_terms() -> None:
    bonus = {"calm": 0.0, "windy": 40.0, "warm": -7.0}
    terms: list[Formula] = [lambda w: w**2, np.sqrt, np.vectorize(bonus.get)]
    dataset = stored(
        conditions([TAILWIND, MASS, SOUNDING]), fuel=lambda *x: sum(f(v) for f, v in zip(terms, x, strict=True))
    )
    found = main_effects(dataset, "fuel")
    parts = [
        term(dataset[name].to_numpy()) for term, name in zip(terms, json.loads(dataset.attrs["axes"]), strict=True)
    ]
    means, variances = [part.mean() for part in parts], [part.var() for part in parts]
    for name, part, mean, variance in zip(json.loads(dataset.attrs["axes"]), parts, means, variances, strict=True):
        np.testing.assert_allclose(found[f"mean_by_{name}"], part - mean + sum(means), rtol=1e-12)
        np.testing.assert_allclose(
            found[f"standard_deviation_by_{name}"], math.sqrt(sum(variances) - variance), rtol=1e-9
        )
        assert np.all(found[f"count_by_{name}"] == 45 // len(part))
        xr.testing.assert_identical(found[name], dataset[name])
    assert float(found["standard_deviation"]) == pytest.approx(math.sqrt(sum(variances)))
    assert found["mean_by_mass_kg"].attrs == {"units": "kg", "long_name": "mean of fuel of it by mass_kg"}


def test_unsolved_cases_count_nowhere() -> None:
    chosen = conditions([TAILWIND, MASS])
    dataset = stored(chosen, unsolved=(0, 1, 2, 3), fuel=lambda wind, mass: mass)
    dataset["fuel"][0, 0] = 1e9  # a number is there, but the case was not solved
    found = main_effects(dataset, "fuel")
    assert found["count_by_added_tailwind_kt"].to_numpy().tolist() == [0, 2, 3, 3, 3]
    assert np.isnan(found["mean_by_added_tailwind_kt"][0])
    assert np.isnan(found["standard_deviation_by_added_tailwind_kt"][0])
    assert found["mean_by_added_tailwind_kt"][1] == 56500.0
    assert found["mean_by_mass_kg"].to_numpy().tolist() == [50000.0, 53000.0, 60000.0]


def test_an_ordered_axis_of_a_sample_is_cut_into_ten_bins_of_equal_count() -> None:
    dataset = stored(
        shuffled(conditions([TAILWIND, SOUNDING], kind="random", count=200)), fuel=lambda w, _: 3.0 * w + 1.0
    )
    found = main_effects(dataset, "fuel")
    assert found["count_by_added_tailwind_kt"].to_numpy().tolist() == [20] * 10
    np.testing.assert_allclose(found["mean_by_added_tailwind_kt"], 3.0 * found["added_tailwind_kt"] + 1.0)
    lower, upper = found["added_tailwind_kt_lower"].to_numpy(), found["added_tailwind_kt_upper"].to_numpy()
    assert np.all(upper[:-1] < lower[1:])
    assert np.all((lower < found["added_tailwind_kt"]) & (found["added_tailwind_kt"] < upper))
    ends = float(dataset["added_tailwind_kt"].min()), float(dataset["added_tailwind_kt"].max())
    assert (lower[0], upper[-1]) == ends
    assert found["sounding"].to_numpy().tolist() == ["calm", "warm", "windy"]
    for name in ("calm", "warm", "windy"):
        own = dataset["fuel"].to_numpy()[dataset["sounding"].to_numpy() == name]
        assert found["mean_by_sounding"].sel(sounding=name) == pytest.approx(own.mean())
        assert found["count_by_sounding"].sel(sounding=name) == own.size


def test_cases_of_one_level_stay_in_one_bin_and_members_go_by_number() -> None:
    dataset = stored(conditions([MASS, MEMBER], kind="random", count=300), fuel=lambda mass, member: mass + member)
    found = main_effects(dataset, "fuel")
    assert found["mass_kg"].to_numpy().tolist() == [50000.0, 53000.0, 60000.0]
    assert found["member"].to_numpy().tolist() == [0, 1, 2, 3]
    many = main_effects(dataset.assign_coords(member=("case", np.arange(300), dataset["member"].attrs)), "fuel")
    assert many.sizes["member"] == 300


# slopes


def quadratic(x: NDArray[np.float64], mass: NDArray[np.float64]) -> NDArray[np.float64]:
    m = mass / 1000.0
    return 4.0 - 3.0 * x + 0.25 * x**2 + 0.5 * x * m + 2.0 * m**2


def with_slopes(dataset: xr.Dataset, added: float = 0.0) -> xr.Dataset:
    x, mass = (dataset[name] for name in ("added_tailwind_kt", "mass_kg"))
    by_x = -3.0 + 0.5 * x + 0.5 * mass / 1000.0 + added
    by_mass = (0.5 * x + 4.0 * mass / 1000.0) / 1000.0 + added
    slopes = xr.concat([by_x.broadcast_like(dataset["cost"]), by_mass.broadcast_like(dataset["cost"])], dim="axis")
    return dataset.assign(cost_slope=slopes.assign_coords(axis=["added_tailwind_kt", "mass_kg"]))


def test_differences_of_a_quadratic_are_exact_at_levels_in_any_order_and_step() -> None:
    uneven = {"kind": "values", "key": "added_tailwind_kt", "values": [5.0, -20.0, 0.0, 17.0, -1.0]}
    dataset = with_slopes(stored(conditions([uneven, MASS]), cost=quadratic), added=0.125)
    for axis, unit in (("added_tailwind_kt", "kg/(kt)"), ("mass_kg", "kg/(kg)")):
        found = slope_map(dataset, axis)
        assert found["from_differences"].dims == ("added_tailwind_kt", "mass_kg")
        np.testing.assert_allclose(found["from_differences"], dataset["cost_slope"].sel(axis=axis) - 0.125, rtol=1e-9)
        np.testing.assert_allclose(found["difference"], 0.125, rtol=1e-9)
        assert found["difference"].attrs["units"] == unit
        assert "axis" not in found.coords


def test_two_levels_give_the_slope_between_them() -> None:
    two = {"kind": "values", "key": "added_tailwind_kt", "values": [10.0, 2.0]}
    found = slope_map(with_slopes(stored(conditions([two, MASS]), cost=quadratic)), "added_tailwind_kt")
    middle = -3.0 + 0.5 * 6.0 + 0.5 * found["mass_kg"] / 1000.0
    np.testing.assert_allclose(found["from_differences"], np.broadcast_to(middle, (2, 3)))


@pytest.mark.parametrize("levels", [[0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [0.0, 1.0, 2.5, 3.0, 4.0, 5.0, 7.0]])
def test_no_difference_is_taken_at_or_across_an_unsolved_case(levels: list[float]) -> None:
    axis = {"kind": "values", "key": "added_tailwind_kt", "values": levels}
    dataset = with_slopes(stored(conditions([axis, MASS]), unsolved=(3 * 3 + 1,), cost=quadratic))
    found = slope_map(dataset, "added_tailwind_kt")
    assert np.isnan(found["from_differences"][:, 1]).to_numpy().tolist() == [
        False,
        False,
        True,
        True,
        True,
        False,
        False,
    ]
    assert not np.isnan(found["from_differences"][:, [0, 2]]).any()
    assert np.isnan(found["from_multipliers"]).to_numpy().sum() == 1


def test_a_slope_needs_a_grid_and_an_ordered_axis_with_levels() -> None:
    sample = stored(conditions([TAILWIND, MASS], kind="sobol", count=8), cost=quadratic)
    assert fault(lambda: slope_map(sample, "mass_kg"))[:2] == ("sampling.kind", "got 'sobol'")
    one = {"kind": "values", "key": "start.altitude_ft", "values": [9000.0]}
    grid = stored(conditions([TAILWIND, SOUNDING, MEMBER, one]), cost=lambda wind, *_: wind)
    for axis in ("sounding", "member", "altitude_ft"):
        assert fault(lambda axis=axis: slope_map(grid, axis)) == (
            "axis",
            f"got {axis!r}",
            "one with two or more levels in order: added_tailwind_kt",
        )
    assert "nearest is 'added_tailwind_kt'" in fault(lambda: slope_map(grid, "tailwind_kt"))[2]
    assert fault(lambda: slope_map(grid, "added_tailwind_kt"))[1] == "got 'cost_slope'"


# the nearest case

SAMPLE = stored(shuffled(conditions([TAILWIND, MASS, SOUNDING], kind="random", count=40)), fuel=lambda w, m, _: w + m)
GRID = stored(conditions([TAILWIND, MASS, SOUNDING]), unsolved=(5,), fuel=lambda w, m, _: w + m)


@given(
    wind=st.floats(-30.0, 30.0), mass=st.floats(45000.0, 65000.0), sounding=st.sampled_from(["calm", "windy", "warm"])
)
@pytest.mark.parametrize("dataset", [SAMPLE, GRID], ids=["sample", "grid"])
def test_no_case_is_nearer_than_the_nearest(dataset: xr.Dataset, wind: float, mass: float, sounding: str) -> None:
    found = nearest_case(dataset, {"mass_kg": mass, "sounding": sounding, "added_tailwind_kt": wind})
    ranges = {name: float(dataset[name].max() - dataset[name].min()) for name in ("added_tailwind_kt", "mass_kg")}
    rows = xr.broadcast(
        *(dataset[name].reset_coords(drop=True) for name in ("added_tailwind_kt", "mass_kg", "sounding"))
    )
    distances = [
        math.hypot((w - wind) / ranges["added_tailwind_kt"], (m - mass) / ranges["mass_kg"])
        for w, m, s in zip(*(row.to_numpy().ravel() for row in rows), strict=True)
        if s == sounding
    ]
    own = ((float(found[name]) - x) / ranges[name] for name, x in (("added_tailwind_kt", wind), ("mass_kg", mass)))
    assert str(found["sounding"].to_numpy()) == sounding
    assert math.hypot(*own) == pytest.approx(min(distances), rel=1e-9, abs=1e-12)
    assert float(found["distance_from_wanted"]) == pytest.approx(min(distances), rel=1e-9, abs=1e-12)
    assert found["fuel"].dims == ()


def test_an_axis_left_out_does_not_count() -> None:
    found = nearest_case(GRID, {"mass_kg": 54000.0})
    assert (float(found["added_tailwind_kt"]), float(found["mass_kg"]), str(found["sounding"].to_numpy())) == (
        -20.0,
        53000.0,
        "calm",
    )
    assert float(found["distance_from_wanted"]) == pytest.approx(0.1)
    unsolved = nearest_case(GRID, {"added_tailwind_kt": -20.0, "mass_kg": 53000.0, "sounding": "warm"})
    assert int(unsolved["status"]) == 4
    one = {"kind": "values", "key": "start.altitude_ft", "values": [9000.0]}
    alone = stored(conditions([one]), fuel=lambda altitude: altitude)
    assert float(nearest_case(alone, {"altitude_ft": 1.0})["altitude_ft"]) == 9000.0


def test_unknown_axes_and_levels_are_all_named() -> None:
    with pytest.raises(InputFault) as caught:
        nearest_case(SAMPLE, {"mas_kg": 1.0, "sounding": "windi", "added_tailwind_kt": "calm", "mass_kg": math.nan})
    told = {found.key: f"{found.given}; {found.allowed}" for found in caught.value.faults}
    assert told == {
        "wanted": "got 'mas_kg'; one of added_tailwind_kt, mass_kg, sounding; nearest is 'mass_kg'",
        "wanted.sounding": "got 'windi'; one of calm, warm, windy; nearest is 'windy'",
        "wanted.added_tailwind_kt": "got 'calm'; a number",
        "wanted.mass_kg": "got nan; a number",
    }
    assert fault(lambda: nearest_case(GRID, {}))[0] == "wanted"
    apart = stored(conditions([SOUNDING, MEMBER], kind="random", count=3), fuel=lambda _, member: member)
    together = set(zip(apart["sounding"].to_numpy().tolist(), apart["member"].to_numpy().tolist(), strict=True))
    free = [(s, m) for s, _ in together for _, m in together if (s, m) not in together]
    sounding, member = free[0]
    key, given_, _ = fault(lambda: nearest_case(apart, {"sounding": sounding, "member": member}))
    assert (key, given_) == ("wanted", f"no case has sounding {sounding!r} and member {member!r}")


# percentiles


def test_percentiles_are_those_of_the_standard_library() -> None:
    dataset = stored(conditions([TAILWIND, MASS, SOUNDING]), unsolved=(4, 9), fuel=lambda w, m, _: np.sin(w) * m)
    found = percentiles(dataset, "fuel")
    solved = dataset["fuel"].to_numpy().ravel()[~np.isin(np.arange(45), (4, 9))]
    twentieths = statistics.quantiles(solved.tolist(), n=20, method="inclusive")
    np.testing.assert_allclose(found["fuel"], [twentieths[at] for at in (0, 4, 9, 14, 18)], rtol=1e-12)
    assert found["share"].to_numpy().tolist() == [5.0, 25.0, 50.0, 75.0, 95.0]
    assert int(found["count"]) == 43
    assert found["fuel"].attrs == {"units": "kg", "long_name": "fuel of it"}


def test_percentiles_by_level_come_from_the_cases_of_that_level_and_keep_rules() -> None:
    rules = xr.DataArray([1.0, 2.0], dims="rule", coords={"rule": ["first", "second"]})
    dataset = GRID.assign(fuel=rules * GRID["fuel"])
    found = percentiles(dataset, "fuel", (0.0, 50.0, 100.0), by="sounding")
    assert found["fuel"].dims == ("share", "sounding", "rule")
    own = dataset["fuel"].sel(sounding="calm", rule="second")
    np.testing.assert_allclose(found["fuel"].sel(sounding="calm", rule="second"), [own.min(), own.median(), own.max()])
    assert found["count"].sel(rule="first").to_numpy().tolist() == [15, 15, 14]
    lost = percentiles(GRID.assign(status=GRID["status"].where(GRID["sounding"] != "calm", -1)), "fuel", by="sounding")
    assert np.isnan(lost["fuel"].sel(sounding="calm")).all()
    assert lost["count"].to_numpy().tolist() == [0, 15, 14]


def test_percentiles_of_a_sample_by_an_ordered_axis_go_by_bin() -> None:
    found = percentiles(SAMPLE, "fuel", (50.0,), by="added_tailwind_kt")
    assert found["fuel"].dims == ("share", "added_tailwind_kt")
    assert found["count"].to_numpy().tolist() == [4] * 10
    assert "added_tailwind_kt_upper" in found.coords


@pytest.mark.parametrize("shares", [(), (50.0, 101.0), (-1.0,), (math.nan,)])
def test_a_share_is_a_percentage(shares: tuple[float, ...]) -> None:
    assert fault(lambda: percentiles(GRID, "fuel", shares))[0] == "shares"


# every function


def test_an_unknown_name_is_told_with_those_there_are() -> None:
    assert fault(lambda: main_effects(GRID, "feul")) == ("variable", "got 'feul'", "one of fuel; nearest is 'fuel'")
    assert fault(lambda: sobol_indices(SAMPLE.assign_attrs(GRID.attrs), "time"))[0] == "variable"
    assert fault(lambda: percentiles(GRID, "status")) == ("variable", "got 'status'", "one of fuel")
    key, _, allowed = fault(lambda: percentiles(SAMPLE, "fuel", by="mass"))
    assert (key, allowed) == ("by", "one of added_tailwind_kt, mass_kg, sounding; nearest is 'mass_kg'")
    assert fault(lambda: main_effects(xr.Dataset({"fuel": 1.0}), "fuel"))[2] == "a stored sweep"
    slopes = with_slopes(stored(conditions([TAILWIND, MASS]), cost=quadratic))
    assert "for each axis" in fault(lambda: sobol_indices(slopes, "cost_slope"))[1]
    assert percentiles(slopes, "cost_slope")["cost_slope"].dims == ("share", "axis")


def test_a_count_or_flag_of_minus_one_is_no_answer() -> None:
    dataset = stored(conditions([MASS]), fuel=lambda mass: mass)
    dataset["gates"] = ("mass_kg", np.array([3, -1, 0], dtype=np.int32))
    found = main_effects(dataset, "gates")
    assert found["count_by_mass_kg"].to_numpy().tolist() == [1, 0, 1]
    assert float(found["mean"]) == 1.5


@pytest.mark.parametrize("dataset", [SAMPLE, GRID], ids=["sample", "grid"])
@pytest.mark.parametrize("form", ["netcdf", "zarr"])
def test_a_sweep_says_the_same_when_it_is_read_back(dataset: xr.Dataset, form: str, tmp_path: Path) -> None:
    path = tmp_path / "sweep"
    if form == "zarr":
        pytest.importorskip("zarr")
        pytest.importorskip("dask")
        texts = dataset["sounding"].astype(object)  # Zarr has texts of any length, but no stable form of a fixed one
        dataset.assign_coords(sounding=texts).to_zarr(path, consolidated=False)
    else:
        dataset.to_netcdf(path, engine="h5netcdf")
    engine = {"engine": "h5netcdf"} if form == "netcdf" else {"engine": "zarr", "chunks": {}, "consolidated": False}
    with xr.open_dataset(path, **engine) as again:
        xr.testing.assert_equal(main_effects(dataset, "fuel"), main_effects(again, "fuel"))
        xr.testing.assert_equal(percentiles(dataset, "fuel", by="sounding"), percentiles(again, "fuel", by="sounding"))
        wanted = {"mass_kg": 52000.0, "sounding": "warm"}
        xr.testing.assert_equal(nearest_case(dataset, wanted), nearest_case(again, wanted).load())
    main_effects(dataset, "fuel").to_netcdf(tmp_path / "effects.nc", engine="h5netcdf")


def test_no_unit_is_made_up_where_none_is_stored() -> None:
    """A flag is a number without dimension; a variable whose unit differs along a dimension has none."""
    dataset = stored(conditions([MASS, TAILWIND]), fuel=lambda mass, wind: mass, stable=lambda mass, wind: 0.0 * mass)
    dataset["stable"].attrs = {"long_name": "stable", "flag_values": [-1, 0, 1]}
    dataset["slope"] = dataset["fuel"].expand_dims({"axis": ["mass_kg"]}, axis=-1).drop_attrs()
    found = {name: main_effects(dataset, name)["mean_by_mass_kg"].attrs for name in ("fuel", "stable", "slope")}
    assert found["fuel"]["units"] == "kg"
    assert found["stable"]["units"] == "1"
    assert "units" not in found["slope"]


def test_a_number_without_a_unit_is_only_a_name() -> None:
    """As the store has it: only levels with an order between which others lie have a unit."""
    dataset = stored(conditions([MASS, MEMBER]), fuel=lambda mass, member: mass + member)
    assert "units" not in dataset["member"].attrs
    assert float(nearest_case(dataset, {"mass_kg": 53000.0, "member": 2})["fuel"]) == 53002.0
    with pytest.raises(InputFault, match=r"wanted\.member"):
        nearest_case(dataset, {"member": 2.5})
