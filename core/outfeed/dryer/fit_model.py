"""What a fit to a real dryer starts from and what it leaves behind.

A `Run` is one settled stretch of a dryer as its owner wrote it down. `Errors` says how far each
number on the sheet may be off, `Prior` what is believed before any run is seen. `Fitted` is the
small thing that stays: it makes the `ColumnModel` that every other question can be asked with.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from outfeed.dryer.closures import AIRFLOW_FACTOR, RATE_FACTOR, ColumnModel
from outfeed.dryer.description import STANDARD_PRESSURE
from outfeed.dryer.task import DRY_MATTER_RATE, INLET_MOISTURE
from outfeed.errors import Inconsistent
from outfeed.limits import (
    AMBIENT,
    GRAIN_TEMPERATURE,
    MOISTURE_WB,
    PLENUM,
    PRESSURE,
    RELATIVE_HUMIDITY,
    SENSIBLE,
    Range,
)

RUNS = Range("number of runs", 1, 50, "", SENSIBLE)
SPREAD = Range("standard deviation of the logarithm", 0.0, 2.0, "", SENSIBLE)
CORRELATION = Range("correlation", -1.0, 1.0, "", "definition")
EXHAUST = Range("exhaust temperature", -40.0, 150.0, "degC", SENSIBLE)
HEAT = Range("heat given to the air", 1.0, 1e9, "W", SENSIBLE)
MOISTURE_ERROR = Range("standard deviation of a moisture", 1e-4, 0.05, "", SENSIBLE)
RATE_ERROR = Range("relative standard deviation of the rate", 1e-3, 0.5, "", SENSIBLE)
TEMPERATURE_ERROR = Range("standard deviation of a temperature", 0.01, 20.0, "K", SENSIBLE)
HEAT_ERROR = Range("relative standard deviation of the heat", 1e-3, 0.5, "", SENSIBLE)

RATE_SPREAD = 0.4
"""Standard deviation of the logarithm of the rate factor before any run [-]: an assumption.
Published thin-layer laws of corn lie threefold apart near 40 degC; taken as their 90 % interval
that is 0.33, and 0.2 is added in quadrature for how far a dryer and its description differ."""
AIRFLOW_SPREAD = 0.15
"""The same for the airflow factor [-]: an assumption, common practice without source. A fan's
airflow read off its curve or a catalogue is seldom known better than to 10 to 20 %."""
FIT_VERSION = "1"
"""Version of the meaning of a `Fitted`; a later one that reads factors otherwise raises it."""


@dataclass(frozen=True, slots=True)
class Run:
    """One settled run of the dryer.

    Attributes
    ----------
    ambient_temperature : float
        Ambient dry bulb [degC].
    ambient_relative_humidity : float
        Ambient relative humidity over liquid water [-].
    inlet_moisture_wb : float
        Moisture at the inlet, wet basis [-].
    inlet_temperature : float
        Grain temperature at the inlet [degC].
    dry_matter_rate : float
        Dry matter discharged [kg/s]: the discharge rate times one less the outlet moisture.
    outlet_moisture_wb : float
        Moisture at the discharge, wet basis [-].
    plenum_temperatures : tuple of float or None
        Zone by zone from the top [degC], None for a cooling zone; empty for the description's.
    sensor_temperatures : tuple of float or None
        Grain at the description's sensors from the top [degC], None where none was read; empty
        without any.
    column_temperature : float, optional
        Mean of all sensors [degC], where only that was noted.
    exhaust_temperatures : tuple of float or None
        Exhaust of each zone from the top [degC], None where none was read; empty without any.
    heat : float, optional
        Heat that all burners gave the air [W]: fuel times heating value times efficiency.
    pressure : float
        Barometric pressure [Pa].
    name : str
        What the owner calls the run.
    """

    ambient_temperature: float
    ambient_relative_humidity: float
    inlet_moisture_wb: float
    inlet_temperature: float
    dry_matter_rate: float
    outlet_moisture_wb: float
    plenum_temperatures: tuple[float | None, ...] = ()
    sensor_temperatures: tuple[float | None, ...] = ()
    column_temperature: float | None = None
    exhaust_temperatures: tuple[float | None, ...] = ()
    heat: float | None = None
    pressure: float = STANDARD_PRESSURE
    name: str = ""

    def __post_init__(self) -> None:
        AMBIENT.check(self.ambient_temperature, "ambient_temperature")
        RELATIVE_HUMIDITY.check(self.ambient_relative_humidity, "ambient_relative_humidity")
        INLET_MOISTURE.check(self.inlet_moisture_wb, "inlet_moisture_wb")
        GRAIN_TEMPERATURE.check(self.inlet_temperature, "inlet_temperature")
        DRY_MATTER_RATE.check(self.dry_matter_rate, "dry_matter_rate")
        MOISTURE_WB.check(self.outlet_moisture_wb, "outlet_moisture_wb")
        PRESSURE.check(self.pressure, "pressure")
        _check_some(PLENUM, self.plenum_temperatures, "plenum_temperatures")
        _check_some(GRAIN_TEMPERATURE, self.sensor_temperatures, "sensor_temperatures")
        _check_some(GRAIN_TEMPERATURE, (self.column_temperature,), "column_temperature")
        _check_some(EXHAUST, self.exhaust_temperatures, "exhaust_temperatures")
        _check_some(HEAT, (self.heat,), "heat")
        if self.column_temperature is not None and any(
            value is not None for value in self.sensor_temperatures
        ):
            raise Inconsistent(
                "give the temperatures at the sensors or their mean, not both",
                "column_temperature",
                "sensor_temperatures",
            )


@dataclass(frozen=True, slots=True)
class Errors:
    """Standard deviations of what is written on a run's sheet; the defaults are assumptions.

    Attributes
    ----------
    outlet_moisture, inlet_moisture : float
        Moisture as a meter and a probe show it, wet basis [-]: 0.3 point.
    rate : float
        Relative, of the rate in one run [-]: 5 %. A scale that is off by the same share in every
        run is not an error here: the rate factor takes it up.
    temperature : float
        Plenum, ambient, grain and exhaust temperatures [K].
    heat : float
        Relative, of the heat given to the air, the same in every run [-]: 10 %, for the burner's
        efficiency and the casing's loss.
    """

    outlet_moisture: float = 0.003
    inlet_moisture: float = 0.003
    rate: float = 0.05
    temperature: float = 1.0
    heat: float = 0.10

    def __post_init__(self) -> None:
        MOISTURE_ERROR.check(self.outlet_moisture, "outlet_moisture")
        MOISTURE_ERROR.check(self.inlet_moisture, "inlet_moisture")
        RATE_ERROR.check(self.rate, "rate")
        TEMPERATURE_ERROR.check(self.temperature, "temperature")
        HEAT_ERROR.check(self.heat, "heat")


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of the factors before a run is seen: log-normal.

    Attributes
    ----------
    rate_factor, airflow_factor : float
        Medians [-].
    rate_spread, airflow_spread : float
        Standard deviations of their logarithms [-].
    correlation : float
        Between the logarithms [-].
    runs : int
        Runs behind it; zero for an assumption.
    """

    rate_factor: float
    rate_spread: float = RATE_SPREAD
    airflow_factor: float = 1.0
    airflow_spread: float = AIRFLOW_SPREAD
    correlation: float = 0.0
    runs: int = 0

    def __post_init__(self) -> None:
        RATE_FACTOR.check(self.rate_factor, "rate_factor")
        AIRFLOW_FACTOR.check(self.airflow_factor, "airflow_factor")
        SPREAD.check(self.rate_spread, "rate_spread")
        SPREAD.check(self.airflow_spread, "airflow_spread")
        CORRELATION.check(self.correlation, "correlation")


@dataclass(frozen=True, slots=True)
class Fitted:
    """What a fit found, small enough to store and to pass to every other question.

    Attributes
    ----------
    grain : str
        Id of the grain.
    kinetics, isotherm : str
        Method ids that the factors belong to.
    rate_factor : float
        Multiplier on the kinetics [-].
    rate_spread : float
        Standard deviation of its logarithm [-].
    airflow_factor : float
        Multiplier on the stated airflow [-].
    airflow_spread : float
        Standard deviation of its logarithm [-].
    correlation : float
        Between the two logarithms [-].
    discrepancy : float
        Standard deviation of outlet moisture, wet basis, that the column model leaves even with
        the right factors [-].
    runs : int
        Runs behind it, at most 50 counted; runs noted twice count once.
    version : str
        `FIT_VERSION` it was made with.
    """

    grain: str
    kinetics: str
    isotherm: str
    rate_factor: float
    rate_spread: float
    airflow_factor: float
    airflow_spread: float
    correlation: float
    discrepancy: float
    runs: int
    version: str = FIT_VERSION

    def __post_init__(self) -> None:
        RATE_FACTOR.check(self.rate_factor, "rate_factor")
        AIRFLOW_FACTOR.check(self.airflow_factor, "airflow_factor")
        SPREAD.check(self.rate_spread, "rate_spread")
        SPREAD.check(self.airflow_spread, "airflow_spread")
        CORRELATION.check(self.correlation, "correlation")
        Range("discrepancy", 0.0, 0.1, "", SENSIBLE).check(self.discrepancy, "discrepancy")
        RUNS.check(self.runs, "runs")
        if self.version != FIT_VERSION:
            raise Inconsistent(
                f"a fit of version {self.version!r} cannot be read here; this is {FIT_VERSION!r}",
                "version",
            )

    def to_dict(self) -> dict[str, str | float | int]:
        """The fit as names and plain values.

        Returns
        -------
        dict
            Ready for any notation; `from_dict` reads it back.
        """
        return {field.name: getattr(self, field.name) for field in fields(self)}

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Fitted:
        """A fit from what `to_dict` gave.

        Parameters
        ----------
        values : mapping
            Names and plain values.

        Returns
        -------
        Fitted
            The fit.

        Raises
        ------
        OutOfRange
            A value outside its range.
        Inconsistent
            A missing or unknown name, or another version.
        """
        known = {field.name for field in fields(cls)}
        wrong = known.symmetric_difference(values) - {"version"}
        if wrong:
            raise Inconsistent(f"not the names of a fit: {', '.join(sorted(wrong))}", *wrong)
        return cls(**values)


def column_model(fitted: Fitted, grain: str | None = None) -> ColumnModel:
    """Column formulas with the factors of a fit, for every solver of the column.

    Parameters
    ----------
    fitted : Fitted
        The fit.
    grain : str, optional
        Id of the grain that is to be dried, to be checked against the fit's.

    Returns
    -------
    ColumnModel
        The formulas.

    Raises
    ------
    Inconsistent
        A fit for another grain.
    """
    if grain is not None and grain != fitted.grain:
        raise Inconsistent(f"the fit is for {fitted.grain}, the grain is {grain}", "grain")
    return ColumnModel(
        grain=fitted.grain,
        isotherm=fitted.isotherm,
        kinetics=fitted.kinetics,
        rate_factor=fitted.rate_factor,
        airflow_factor=fitted.airflow_factor,
    )


def prior_of(fitted: Fitted) -> Prior:
    """An earlier fit as what is believed before the next runs.

    Parameters
    ----------
    fitted : Fitted
        The earlier fit, to other runs than the next.

    Returns
    -------
    Prior
        Its factors with their spreads.
    """
    return Prior(
        fitted.rate_factor,
        fitted.rate_spread,
        fitted.airflow_factor,
        fitted.airflow_spread,
        fitted.correlation,
        fitted.runs,
    )


def _check_some(limit: Range, values: tuple[float | None, ...], name: str) -> None:
    given = [value for value in values if value is not None]
    if given:
        limit.check(given, name)
