"""How grain gets through the dryer: by what it holds and the rates, or by a stated time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, BoolArray, FloatArray
from outfeed.errors import Inconsistent
from outfeed.methods import Method
from outfeed.steering.lag import (
    HALF_TRANSIT,
    HELD_GRAIN,
    LAG,
    LAG_SHARE_OF_TRANSIT,
    PLUG_FLOW,
    TRANSIT,
    passage_times,
)
from outfeed.steering.settling import long_stops, replaced_at, stop_on_the_way

ROUNDING = 1e-9
"""Of an amount of grain, by conversion of units [-]."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """When grain gets where.

    Attributes
    ----------
    at_sensors_s, at_discharge_s : float
        When it reaches the column sensors and the discharge [s].
    """

    at_sensors_s: float
    at_discharge_s: float


Reaches = Callable[[float], Arrival]
"""When grain that entered at a time is at the sensors and at the discharge [s]."""


def by_transit(transit_s: float, lag_s: float) -> Reaches:
    """When grain gets where at one rate.

    Parameters
    ----------
    transit_s, lag_s : float
        Transit time, and lag from the sensors to the discharge [s].

    Returns
    -------
    callable
        From the time of entry [s].
    """
    to_sensors = max(0.0, transit_s - lag_s)
    return lambda entered_s: Arrival(entered_s + to_sensors, entered_s + transit_s)


@dataclass(frozen=True, slots=True)
class Transport:
    """How grain gets from the sensors to the sampling point.

    Give the grain held and a rate log, or a lag, or a transit time; the first that is there is
    used. Beside a lag or a transit time alone the grain held says where the sensors are.

    Attributes
    ----------
    held : float or None
        Grain held between sensors and sampling point [kg].
    above : float or None
        Grain held between the top of the column and the sensors [kg]; as much as below them where
        None. Counts beside `held`.
    rate_times_s, rates : ndarray or None
        Rate log [s], [kg/s], each rate holding until the next entry.
    lag_s : float or None
        Transport lag [s].
    transit_s : float or None
        Time of a kernel from top to discharge [s].
    """

    held: float | None = None
    rate_times_s: FloatArray | None = None
    rates: FloatArray | None = None
    lag_s: float | None = None
    transit_s: float | None = None
    above: float | None = None

    @property
    def method(self) -> Method:
        """How the lag comes about."""
        guessed = self._flow is None and self.lag_s is None and self.above is None
        return HALF_TRANSIT if guessed else PLUG_FLOW

    @property
    def _flow(self) -> tuple[float, FloatArray] | None:
        """Grain held and the rates that carry it off; None where the lag is stated instead."""
        if self.held is None or self.rates is None or self.rates.size == 0:
            return None
        return self.held, self.rates

    @property
    def _logged(self) -> tuple[FloatArray, FloatArray, float] | None:
        """Times and rates of the log and the grain in the whole dryer; None without a log."""
        if self._flow is None or self.rate_times_s is None:
            return None
        held, rates = self._flow
        return self.rate_times_s, rates, HELD_GRAIN.nearest(held / self._lag_share)

    @property
    def _lag_share(self) -> float:
        """Lag as a share of transit [-]."""
        if self.held is None or self.above is None:
            return LAG_SHARE_OF_TRANSIT
        return self.held / (self.held + self.above)

    def passage(self, times_s: ArrayLike) -> tuple[FloatArray, BoolArray]:
        """When grain sampled at some times passed the sensors.

        Parameters
        ----------
        times_s : array_like
            Times of sampling [s], shape (k,).

        Returns
        -------
        tuple of ndarray
            Times of passage [s] and whether the rate log reaches back that far, shape (k,).

        Raises
        ------
        OutOfRange, Inconsistent
            Nothing to find a lag from, or values outside their ranges.
        """
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        if self._flow is not None:
            held, rates = self._flow
            log = self.rate_times_s if self.rate_times_s is not None else times[:1]
            found = passage_times(times, log, rates, held)
            return found.times_s, found.covered
        return times - self._stated_lag(), np.ones(times.shape, dtype=np.bool_)

    def stood(self, times_s: ArrayLike) -> BoolArray:
        """Whether grain sampled at some times stood in the dryer for long.

        Parameters
        ----------
        times_s : array_like
            Times of sampling [s], shape (k,).

        Returns
        -------
        ndarray of bool
            Whether a stop of ten minutes or more lies between entry and sampling, shape (k,);
            False without a rate log.
        """
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        logged = self._logged
        if logged is None:
            return np.zeros(times.shape, dtype=np.bool_)
        log, rates, whole = logged
        entered = passage_times(times, log, rates, whole).times_s
        begun, over = long_stops(log, rates)
        inside = (begun < times[:, None]) & (over > entered[:, None])
        return np.asarray(inside.any(axis=1))

    def stood_until(self, times_s: ArrayLike) -> float | None:
        """When the grain that stood in the dryer has left, if some is sampled at any of some times.

        Parameters
        ----------
        times_s : array_like
            Times of sampling [s], shape (k,).

        Returns
        -------
        float or None
            Time at the rates logged and then at the last one [s], the latest of all; None where
            none stood for ten minutes on its way, where the log ends in a stop, or without a log.
        """
        logged = self._logged
        if logged is None:
            return None
        log, rates, whole = logged
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        entered = passage_times(times, log, rates, whole).times_s
        stops = [
            stop_on_the_way(log, rates, whole, at, entered_s=since)
            for at, since in zip(times.tolist(), entered.tolist(), strict=True)
        ]
        return max((s.passed_s for s in stops if s and s.passed_s is not None), default=None)

    def reaches(self, entered_s: float, now_s: float) -> Arrival:
        """When grain that entered at a time is at the sensors, and when at the discharge.

        Parameters
        ----------
        entered_s : float
            Time of entry [s].
        now_s : float
            Time until which the last rate has held [s].

        Returns
        -------
        Arrival
            By the grain held and the rates logged, and then at the last one; by the present
            transit and lag without a log, or while the discharge stands.
        """
        transit = self.transit_at(now_s)
        to_sensors = max(0.0, transit - self.lag_at(now_s))
        arrival = Arrival(entered_s + to_sensors, entered_s + transit)
        logged = self._logged
        if logged is None:
            return arrival
        log, rates, whole = logged
        until, above = max(now_s, entered_s), whole * (1.0 - self._lag_share)
        sensors, discharge = (
            replaced_at(log, rates, held, until, entered_s) for held in (above, whole)
        )
        if sensors is None or discharge is None:
            return arrival
        return Arrival(sensors, discharge)

    def entered_at_sensors(self, now_s: float) -> float:
        """When the grain entered that is at the sensors now.

        Parameters
        ----------
        now_s : float
            Time of asking [s].

        Returns
        -------
        float
            Time [s], by the grain held and the rates logged where both are known.
        """
        logged = self._logged
        if logged is None:
            return now_s - max(0.0, self.transit_at(now_s) - self.lag_at(now_s))
        log, rates, whole = logged
        above = HELD_GRAIN.nearest(whole * (1.0 - self._lag_share))
        return float(passage_times(now_s, log, rates, above).times_s[0])

    def lag_at(self, time_s: float) -> float:
        """Lag of grain sampled at a time [s].

        Parameters
        ----------
        time_s : float
            Time of sampling [s].

        Returns
        -------
        float
            Lag [s].
        """
        return float(time_s - self.passage(time_s)[0][0])

    def transit_at(self, time_s: float) -> float:
        """Transit time of grain sampled at a time; from the lag where none is stated.

        Parameters
        ----------
        time_s : float
            Time of sampling [s].

        Returns
        -------
        float
            Transit time [s].
        """
        if self.transit_s is not None:
            return float(TRANSIT.check(self.transit_s, "transit_s"))
        return self.lag_at(time_s) / self._lag_share

    def lag_share_at(self, time_s: float) -> float:
        """How much of the way through the dryer lies below the sensors.

        Parameters
        ----------
        time_s : float
            Time of sampling [s].

        Returns
        -------
        float
            Share of the grain held where that is known, else of the transit time, 0 to 1 [-].
        """
        if self._flow is not None:
            return self._lag_share
        return min(1.0, self.lag_at(time_s) / self.transit_at(time_s))

    def _stated_lag(self) -> float:
        if self.lag_s is not None:
            return float(LAG.check(self.lag_s, "lag_s"))
        if self.transit_s is not None:
            return self._lag_share * float(TRANSIT.check(self.transit_s, "transit_s"))
        raise Inconsistent(
            "the lag needs the grain held with discharge rates, or a lag, or a transit time",
            "lag_s",
            "transit_s",
            "held",
        )


def above_sensors(
    transit_s: float, held: float, rate_times_s: FloatArray, rates: FloatArray, now_s: float
) -> float:
    """Grain above the sensors, by a transit time and the rates that it belongs to.

    Few measure a transit anew at every rate, so the one they tell is that of their usual rate: the
    mean while grain moves. What the dryer holds by that stays as the rate changes, and grain takes
    longer at a lower one.

    Parameters
    ----------
    transit_s : float
        Time of a kernel from top to discharge [s].
    held : float
        Grain held between sensors and sampling point [kg].
    rate_times_s, rates : ndarray
        Rate log [s], [kg/s], each rate holding until the next entry, shape (n,).
    now_s : float
        Until when the last rate has held [s].

    Returns
    -------
    float
        Grain [kg], 0 or more.

    Raises
    ------
    OutOfRange
        A transit time outside its range.
    Inconsistent
        At the highest rate in the log less leaves in that time than is held below the sensors.
    """
    TRANSIT.check(transit_s, "transit_s")
    most = transit_s * float(np.max(rates))
    if most < held * (1.0 - ROUNDING):
        raise Inconsistent(
            "in the transit told no more than {} leave the dryer at the rates told, less than "
            "the {} told to be held below its sensors, which are only a part of what it holds",
            "transit",
            values=((most, "kg"), (held, "kg")),
        )
    lasted = np.diff(rate_times_s, append=max(now_s, rate_times_s[-1]))
    moved = np.where(rates > 0, lasted, 0.0)
    if not np.any(moved):  # a log of this moment alone
        moved = np.sign(rates)
    above = transit_s * float(np.average(rates, weights=moved)) - held
    return above if above > ROUNDING * held else 0.0
