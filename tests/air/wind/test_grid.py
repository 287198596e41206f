"""Winds on a horizontal grid: conventions, coverage, faults, and what is read of a large file."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray as xr

from optdescent.air.altitude import geopotential
from optdescent.air.atmosphere import pressure
from optdescent.air.wind.grid import GridWind, read_grid
from optdescent.air.wind.route import Route
from optdescent.inputs import InputFault

PLACES = np.linspace(-300e3, 20e3, 17)
ROUTE = Route(PLACES, 36.0 - 1.5 * PLACES / 300e3, -95.0 + 3.0 * PLACES / 300e3)
HEIGHT = np.arange(0.0, 15001.0, 1000.0)
Change = Callable[[xr.Dataset], xr.Dataset]


def made(longitude: np.ndarray | None = None, latitude: np.ndarray | None = None) -> xr.Dataset:
    """A grid whose winds are linear in latitude, longitude and height: bilinear reading is exact."""
    lat = np.arange(30.0, 43.0) if latitude is None else latitude
    lon = np.arange(-105.0, -84.0) if longitude is None else longitude
    shape = np.ix_(HEIGHT, lat, (lon + 180.0) % 360.0 - 180.0)
    u = 0.002 * shape[0] + 0.5 * (shape[1] - 36.0) + 0.0 * shape[2]
    v = 5.0 + 0.0 * shape[0] + 0.0 * shape[1] - 0.8 * (shape[2] + 95.0)
    axes = ("level", "lat", "lon")
    return xr.Dataset(
        {
            "u": (axes, u, {"standard_name": "eastward_wind", "units": "m s-1"}),
            "v": (axes, v, {"standard_name": "northward_wind", "units": "m s-1"}),
        },
        {
            "level": ("level", HEIGHT, {"standard_name": "geopotential_height", "units": "m"}),
            "lat": ("lat", lat, {"standard_name": "latitude", "units": "degrees_north"}),
            "lon": ("lon", lon, {"standard_name": "longitude", "units": "degrees_east"}),
        },
    )


def read(data: xr.Dataset, folder: Path, time: str | None = None, route: Route = ROUTE) -> GridWind:
    path = folder / "winds.nc"
    data.to_netcdf(path, engine="h5netcdf")
    return read_grid(path, route, time)


def check(wind: GridWind, factor: float = 1.0) -> None:
    height = np.array([2500.0, 4000.0, 10000.0])
    for k in (0, 5, 16):
        sample = wind.field.sample(wind.coefficients(), float(PLACES[k]), height)
        east = 0.002 * height + 0.5 * (ROUTE.latitude[k] - 36.0)
        north = np.full(3, 5.0 - 0.8 * (ROUTE.longitude[k] + 95.0))
        assert np.asarray(sample.east) == pytest.approx(factor * east, abs=2e-3)
        assert np.asarray(sample.north) == pytest.approx(factor * north, abs=2e-3)


def test_what_is_linear_is_read_exactly(tmp_path: Path) -> None:
    check(read(made(), tmp_path))


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d.isel(lat=slice(None, None, -1)),
        lambda d: d.isel(level=slice(None, None, -1)),
        lambda d: d.transpose("lon", "level", "lat"),
        lambda d: d.assign_coords(lon=d.lon % 360.0).assign_coords(lon=lambda e: e.lon.assign_attrs(d.lon.attrs)),
    ],
    ids=["descending latitudes", "descending levels", "axes in another order", "longitudes from 0 to 360"],
)
def test_conventions_do_not_matter(change: Change, tmp_path: Path) -> None:
    check(read(change(made()), tmp_path))


def test_a_track_across_the_date_line(tmp_path: Path) -> None:
    """All longitudes turned by any angle: the same wind, to 1e-6, whatever the convention of the file."""
    plain = read(made(), tmp_path).coefficients()
    for turn in (95.0, -84.5, 271.3):
        data = made()
        turned = ((data.lon + turn + 180.0) % 360.0 - 180.0).assign_attrs(data.lon.attrs)
        data = data.assign_coords(lon=turned).sortby("lon")
        route = Route(PLACES, ROUTE.latitude, ROUTE.longitude + turn)
        assert read(data, tmp_path, route=route).coefficients() == pytest.approx(plain, abs=1e-6)


def test_knots_and_pressure_levels(tmp_path: Path) -> None:
    """Standard atmosphere, ICAO Doc 7488/3: the pressure at a height, read back as that height."""
    data = made()
    level = xr.DataArray(
        np.asarray(pressure(HEIGHT)) / 100.0, dims="level", attrs={"standard_name": "air_pressure", "units": "hPa"}
    )
    data = data.assign_coords(level=level)
    for name in ("u", "v"):
        data[name] = (data[name] / (1852.0 / 3600.0)).assign_attrs({**data[name].attrs, "units": "knots"})
    check(read(data, tmp_path))


def test_heights_of_the_file_come_before_the_standard_atmosphere(tmp_path: Path) -> None:
    data = made().assign_coords(level=("level", np.arange(16.0, 0.0, -1.0), {"units": "hPa"}))
    heights = np.broadcast_to(HEIGHT[:, None, None], data.u.shape)
    data["z"] = (data.u.dims, heights, {"standard_name": "geopotential_height", "units": "m"})
    check(read(data, tmp_path))


def test_geometric_heights_become_geopotential(tmp_path: Path) -> None:
    """ICAO Doc 7488/3, table 3: geometric 10 000 m is geopotential 9984 m."""
    assert float(geopotential(10000.0)) == pytest.approx(9984.0, abs=0.5)
    data = made()
    data = data.assign_coords(level=data.level.assign_attrs(standard_name="altitude"))
    wind = read(data, tmp_path)
    east = float(wind.field.sample(wind.coefficients(), float(PLACES[0]), 9984.3).east)
    assert east == pytest.approx(0.002 * 10000.0 + 0.5 * (ROUTE.latitude[0] - 36.0), abs=3e-3)


def test_between_two_times_it_is_linear(tmp_path: Path) -> None:
    times = np.array(["2026-01-31T00", "2026-01-31T06"], dtype="datetime64[ns]")
    data = xr.concat(
        [made() * 1.0, made() * 3.0], xr.DataArray(times, dims="time", name="time"), combine_attrs="override"
    )
    for name in ("u", "v"):
        data[name].attrs = made()[name].attrs
    check(read(data, tmp_path, "2026-01-31T03:00"), 2.0)
    check(read(data, tmp_path, "2026-01-31T04:00+01:00"), 2.0)
    with pytest.raises(InputFault, match="holds 2 times"):
        read(data, tmp_path)
    with pytest.raises(InputFault, match="2026-02-01"):
        read(data, tmp_path, "2026-02-01T00:00")
    with pytest.raises(InputFault, match="noon"):
        read(data, tmp_path, "noon")


def holed(data: xr.Dataset) -> xr.Dataset:
    data["u"][3, 6, 10] = np.nan
    return data


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: d.isel(lat=slice(0, 6)), "lat: covers 30.00 to 35.00 degrees; allowed: the track's 35.90 to 37.50"),
        (lambda d: d.isel(lon=slice(9, None)), "lon: covers -96.00 to -85.00"),
        (lambda d: d.drop_vars("u"), "a variable with standard_name 'eastward_wind'"),
        (lambda d: d.assign(u=d.u.assign_attrs(units="m")), "u, units: got 'm'"),
        (holed, "u: 1 of"),
        (lambda d: d.isel(level=[0, 1, 2, 8, 9, 10]), "no level between 2000 and 8000 m"),
        (lambda d: d.isel(level=[0]), "level: covers 0 to 0 m"),
        (lambda d: d.isel(level=slice(9, None)), "level: covers 9000 to 15000 m"),
        (lambda d: d.assign(v=d.v.rename(lat="lat2")), "v: has axes"),
        (lambda d: d.assign(u=(d.u * 0 + 9999.0).assign_attrs(d.u.attrs)), "u: holds 9999 m/s"),
        (lambda d: d.assign_coords(lat=d.lat.assign_attrs(units="radians")), "lat, units: got 'radians'"),
        (lambda d: d.assign_coords(level=d.level.assign_attrs(standard_name="air_pressure")), "level, units: got 'm'"),
        (lambda d: d.isel(level=[0, 2, 2, 4, 6, 8, 10]), "levels that repeat or cross"),
        (lambda d: d.isel(lat=[0, 4, 12]), "lat: leaves out 8.0 degrees"),
        (lambda d: d.assign_coords(level=d.level.assign_attrs(standard_name="height")), "standard_name air_pressure"),
        (lambda d: d.expand_dims(member=2), "'member' too many"),
        (lambda d: d.isel(lat=[0, 3, 3, 6, 9]), "lat: holds a value twice"),
        (lambda d: d.assign_coords(lat=d.lat.assign_attrs(standard_name="y", units="m")), "standard_name 'latitude'"),
    ],
)
def test_what_a_file_lacks_is_named(change: Change, said: str, tmp_path: Path) -> None:
    with pytest.raises(InputFault) as caught:
        read(change(made()), tmp_path)
    assert said in str(caught.value)
    assert "winds.nc" in str(caught.value)


def test_a_repeated_meridian_is_taken_once(tmp_path: Path) -> None:
    data = made(np.arange(-180.0, 181.0))
    check(read(data, tmp_path))


def test_heights_in_other_units_are_converted_and_without_units_refused(tmp_path: Path) -> None:
    data = made().assign_coords(level=("level", np.arange(16.0, 0.0, -1.0), {"units": "hPa"}))
    heights = np.broadcast_to(HEIGHT[:, None, None], data.u.shape) / 1000.0
    data["z"] = (data.u.dims, heights, {"standard_name": "geopotential_height", "units": "km"})
    check(read(data, tmp_path))
    del data["z"].attrs["units"]
    with pytest.raises(InputFault, match="z, units: got ''"):
        read(data, tmp_path)


def test_a_damaged_file_is_named(tmp_path: Path) -> None:
    path = tmp_path / "winds.nc"
    made().to_netcdf(path, engine="h5netcdf", encoding={n: {"zlib": True} for n in ("u", "v")})
    with h5py.File(path) as file:
        chunk = file["u"].id.get_chunk_info(0)
    content = bytearray(path.read_bytes())
    content[chunk.byte_offset : chunk.byte_offset + chunk.size] = bytes(chunk.size)
    path.write_bytes(bytes(content))
    with pytest.raises(InputFault, match=r"winds\.nc: the grid is damaged"):
        read_grid(path, ROUTE, None)


def test_a_time_for_a_file_without_times_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="one time without an axis"):
        read(made(), tmp_path, "2026-01-31T00:00")


def test_what_is_no_grid_is_named(tmp_path: Path) -> None:
    (tmp_path / "text.nc").write_text("not a grid")
    for name in ("text.nc", "absent.nc"):
        with pytest.raises(InputFault, match=f"{name}: the grid cannot be read"):
            read_grid(tmp_path / name, ROUTE, None)


@pytest.mark.slow
def test_of_a_large_file_only_the_box_is_read(tmp_path: Path) -> None:
    """More than 100 MB of winds and other fields; what is allocated meanwhile is a few per cent of it."""
    lat, lon = np.arange(-60.0, 60.01, 0.5), np.arange(-180.0, 180.0, 0.5)
    data = made(lon, lat)
    random = np.random.default_rng(0)
    others = {name: (data.u.dims, random.standard_normal(data.u.shape)) for name in ("t", "q", "w")}
    data = data.assign({name: data[name].copy() for name in ("u", "v")} | others)
    path = tmp_path / "large.nc"
    data.to_netcdf(path, engine="h5netcdf", encoding={name: {"chunksizes": (4, 40, 60)} for name in data.data_vars})
    assert path.stat().st_size > 100_000_000
    read_grid(path, ROUTE, None)
    tracemalloc.start()
    wind = read_grid(path, ROUTE, None)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    check(wind)
    assert peak < 5_000_000
