"""The grid of winds of this study, from eight soundings: ``python studies/grid_wind/make_grid.py``.

Each component of the wind at each height is a thin-plate spline through the eight stations of 1999-05-04 00Z (Duchon,
Splines minimizing rotation-invariant semi-norms in Sobolev spaces, 1977; scipy's RBFInterpolator). Below a station's
own elevation its lowest observed wind is held. The file follows the CF conventions, version 1.11.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import xarray as xr
from scipy.interpolate import RBFInterpolator

from optdescent.air.wind.sounding import BUILT_IN, read_sounding, sounding_text

STATIONS = tuple(name for name in BUILT_IN if name.endswith("1999-05-04"))
LATITUDE = np.arange(32.5, 39.51, 0.5)
LONGITUDE = np.arange(-102.0, -85.99, 0.5)
HEIGHT = np.concatenate([np.arange(0.0, 3000.0, 250.0), np.arange(3000.0, 16001.0, 500.0)])
TARGET = Path(__file__).with_name("winds-1999-05-04.nc")


def position(title: str) -> tuple[float, float]:
    """Latitude and longitude [degrees] in a sounding's first line."""
    found = re.search(r"\((\d+\.?\d*)N (\d+\.?\d*)W", title)
    if found is None:
        raise ValueError(f"no position in {title!r}")
    return float(found[1]), -float(found[2])


def grid() -> xr.Dataset:
    """Winds on the grid [m/s]."""
    soundings = [read_sounding(*sounding_text(name, None)) for name in STATIONS]
    places = np.array([position(sounding.title) for sounding in soundings])
    winds = np.stack([np.stack(sounding.at(HEIGHT)) for sounding in soundings])
    latitude, longitude = np.meshgrid(LATITUDE, LONGITUDE, indexing="ij")
    # One degree of longitude is shorter than one of latitude: in degrees of latitude the distances are near true.
    shrink = np.cos(np.radians(places[:, 0].mean()))
    at = np.column_stack([latitude.ravel(), shrink * longitude.ravel()])
    fit = RBFInterpolator(places * [1.0, shrink], winds.reshape(len(soundings), -1), kernel="thin_plate_spline")
    values = fit(at).reshape(*latitude.shape, 2, HEIGHT.size).transpose(2, 3, 0, 1).astype("float32")
    axes = ("height", "latitude", "longitude")
    return xr.Dataset(
        {
            "u": (axes, values[0], {"standard_name": "eastward_wind", "units": "m s-1"}),
            "v": (axes, values[1], {"standard_name": "northward_wind", "units": "m s-1"}),
        },
        {
            "height": (
                "height",
                HEIGHT,
                {"standard_name": "geopotential_height", "units": "m", "positive": "up", "axis": "Z"},
            ),
            "latitude": ("latitude", LATITUDE, {"standard_name": "latitude", "units": "degrees_north"}),
            "longitude": ("longitude", LONGITUDE, {"standard_name": "longitude", "units": "degrees_east"}),
        },
        {
            "Conventions": "CF-1.11",
            "title": "Winds of 1999-05-04 00Z between eight soundings",
            "source": "thin-plate splines through radiosonde winds: " + "; ".join(s.title for s in soundings),
            "comment": "Training analysis and research only; not for use in flight or for dispatch.",
        },
    )


if __name__ == "__main__":
    encoding = {name: {"zlib": True, "complevel": 6} for name in ("u", "v")}
    grid().to_netcdf(TARGET, engine="h5netcdf", encoding=encoding)
    print(TARGET.name)
