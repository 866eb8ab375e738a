"""A few states of outside air that stand for all hours of a season, and what lies between them.

What a dryer does is smooth in temperature and humidity, so it is computed at the corners of a small
grid over the weather and drawn straight between them for every hour.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.weather import Weather

ONE_VALUE = 1e-6
"""Span of an axis below which it is a single value."""


@dataclass(frozen=True, slots=True, eq=False)
class WeatherGrid:
    """Axes of a grid over temperature and humidity; outside them the nearest value holds.

    Attributes
    ----------
    temperatures : ndarray
        Outside air, evenly spaced [degC].
    humidities : ndarray
        Its relative humidity, evenly spaced [-].
    """

    temperatures: FloatArray
    humidities: FloatArray

    def nodes(self, moistures: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Every node with every moisture.

        Parameters
        ----------
        moistures : ndarray
            Inlet moistures, wet basis [-].

        Returns
        -------
        tuple of ndarray
            Temperature, relative humidity and moisture of each node, flat.
        """
        mesh = np.meshgrid(self.temperatures, self.humidities, moistures, indexing="ij")
        warm, damp, wet = (axis.ravel() for axis in mesh)
        return warm, damp, wet

    def table(self, values: FloatArray) -> FloatArray:
        """Values at the nodes as a table.

        Parameters
        ----------
        values : ndarray
            As `nodes` lists them.

        Returns
        -------
        ndarray
            Shape (temperatures, humidities, moistures).
        """
        return values.reshape(self.temperatures.size, self.humidities.size, -1)

    def between(
        self, table: FloatArray, temperature: FloatArray, humidity: FloatArray
    ) -> FloatArray:
        """A table at states of the air, straight between its nodes.

        Parameters
        ----------
        table : ndarray
            Shape (temperatures, humidities, moistures).
        temperature, humidity : ndarray
            States of the air [degC], [-], shape (hours,).

        Returns
        -------
        ndarray
            Shape (hours, moistures).
        """
        i, u = _place(self.temperatures, temperature)
        j, v = _place(self.humidities, humidity)
        i2 = np.minimum(i + 1, self.temperatures.size - 1)
        j2 = np.minimum(j + 1, self.humidities.size - 1)
        u, v = u[:, None], v[:, None]
        low = table[i, j] * (1.0 - v) + table[i, j2] * v
        high = table[i2, j] * (1.0 - v) + table[i2, j2] * v
        return np.asarray(low * (1.0 - u) + high * u)


def grid_over(weather: Weather, temperatures: int, humidities: int) -> WeatherGrid:
    """The grid that spans a season's weather.

    Parameters
    ----------
    weather : Weather
        Hour by hour.
    temperatures, humidities : int
        Steps of each axis; an axis without span has one.

    Returns
    -------
    WeatherGrid
        From the lowest to the highest value of each.
    """
    return WeatherGrid(
        _axis(weather.temperature, temperatures), _axis(weather.relative_humidity, humidities)
    )


def _axis(values: FloatArray, steps: int) -> FloatArray:
    low, high = float(values.min()), float(values.max())
    return np.linspace(low, high, steps) if high - low > ONE_VALUE else np.array([low])


def _place(axis: FloatArray, values: FloatArray) -> tuple[np.ndarray, FloatArray]:
    if axis.size == 1:
        return np.zeros(values.shape, dtype=np.intp), np.zeros(values.shape)
    step = axis[1] - axis[0]
    place = np.clip((values - axis[0]) / step, 0.0, axis.size - 1.0)
    index = np.minimum(place.astype(np.intp), axis.size - 2)
    return index, place - index
