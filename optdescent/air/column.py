"""The air an aircraft meets: pressure, temperature, density, height and wind at a distance and pressure altitude."""

from __future__ import annotations

from dataclasses import dataclass

from optdescent.air import atmosphere
from optdescent.air.altitude import setting_shift
from optdescent.air.warmth import WARMTH
from optdescent.air.wind.direction import along_and_across
from optdescent.air.wind.field import WindField
from optdescent.curves.elementary import Value


@dataclass(frozen=True)
class AirSample:
    """Air at one place.

    `height` is geopotential above mean sea level [m]; `stretch` is actual over standard temperature [-], the height
    gained per unit of pressure altitude; wind along the track (tailwind positive) and across it [m/s]; slopes of
    both with height and with distance [1/s].
    """

    pressure: Value
    temperature: Value
    density: Value
    speed_of_sound: Value
    height: Value
    stretch: Value
    wind_along: Value
    wind_across: Value
    wind_along_by_height: Value
    wind_along_by_distance: Value
    wind_across_by_height: Value
    wind_across_by_distance: Value


@dataclass(frozen=True)
class Air:
    """Atmosphere and wind, numeric or symbolic.

    Parameters
    ----------
    temperature_offset : Value
        Difference from the standard temperature at every pressure altitude [K].
    qnh : Value
        Altimeter setting at which an altimeter on the datum shows the datum's elevation [Pa].
    datum_elevation : Value
        Elevation of the airport above mean sea level [m].
    field : WindField
        How the wind is evaluated.
    wind : Value
        Coefficients (field.size,) of the wind [m/s].
    warmth : Value or None
        Coefficients of `warmth.WARMTH` [-]: a measured day's temperature, to which the offset is added; None for the
        standard atmosphere's.
    """

    temperature_offset: Value
    qnh: Value
    datum_elevation: Value
    field: WindField
    wind: Value
    warmth: Value | None = None

    def sample(self, distance: Value, pressure_altitude: Value, course: Value) -> AirSample:
        """Air at a distance along the track [m] and pressure altitude [m], wind resolved on a course [rad]."""
        temperature = self.temperature(pressure_altitude)
        static_pressure = atmosphere.pressure(pressure_altitude)
        height = self.height(pressure_altitude)
        wind = self.field.sample(self.wind, distance, height)
        along, across = along_and_across(wind.east, wind.north, course)
        by_height = along_and_across(wind.east_by_height, wind.north_by_height, course)
        by_distance = along_and_across(wind.east_by_distance, wind.north_by_distance, course)
        return AirSample(
            pressure=static_pressure,
            temperature=temperature,
            density=static_pressure / (atmosphere.GAS_CONSTANT * temperature),
            speed_of_sound=atmosphere.speed_of_sound_at(temperature),
            height=height,
            stretch=temperature / atmosphere.standard_temperature(pressure_altitude),
            wind_along=along,
            wind_across=across,
            wind_along_by_height=by_height[0],
            wind_along_by_distance=by_distance[0],
            wind_across_by_height=by_height[1],
            wind_across_by_distance=by_distance[1],
        )

    def temperature(self, pressure_altitude: Value) -> Value:
        """Static air temperature [K] at a pressure altitude [m]."""
        standard = atmosphere.standard_temperature(pressure_altitude)
        if self.warmth is None:
            return standard + self.temperature_offset
        return standard * (1.0 + WARMTH.value_and_slope(self.warmth, pressure_altitude)[0]) + self.temperature_offset

    def speed_of_sound(self, pressure_altitude: Value) -> Value:
        """Speed of sound [m/s] at a pressure altitude [m]."""
        return atmosphere.speed_of_sound_at(self.temperature(pressure_altitude))

    def datum_pressure_altitude(self) -> Value:
        """Pressure altitude [m] of the datum."""
        return self.datum_elevation + setting_shift(self.qnh)

    def height(self, pressure_altitude: Value) -> Value:
        """Geopotential height above mean sea level [m] of a pressure altitude [m]."""
        datum = self.datum_pressure_altitude()
        rise = atmosphere.geopotential_rise(datum, pressure_altitude, self.temperature_offset)
        if self.warmth is not None:
            above, below = (WARMTH.integral(self.warmth, WARMTH.place(at)) for at in (pressure_altitude, datum))
            rise = rise + above - below
        return self.datum_elevation + rise
