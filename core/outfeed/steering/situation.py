"""What setpoint advice is given for: the situation at the look, and how patient to be."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike
from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB, SENSIBLE, Range
from outfeed.steering.belief import PER_DEGF, READING_SD, Belief
from outfeed.steering.money import COST_RATIO, aim, combined

STEP = Range("step of the setpoint", 0.05, 15.0, "K", SENSIBLE)
RESOLUTION = Range("resolution of the panel", 0.01, 5.0, "K", SENSIBLE)
METER_OFFSET = Range("offset of the meter", -0.1, 0.1, "", SENSIBLE)
METER_SD = Range("uncertainty of the meter", 0.0, 0.05, "", SENSIBLE)

NOW = Range("time of asking", -1e12, 1e12, "s", SENSIBLE)
PASSAGE = Range("transit time", 0.0, 1e9, "s", SENSIBLE)  # of a log: a creeping discharge is slow

STREAM_SD = 0.0035
"""Spread of discharge moisture that no setpoint removes: what transport left on simulated
dryers with a nearly perfect meter."""

METER_SD_ASSUMED = 0.0025
"""Half of the +-0.5 point that Hellevang (NDSU) gives as usual accuracy, read as two SD."""


def as_moisture(value: float) -> float:
    """A moisture that a straight line foretold, kept within those that grain has.

    Parameters
    ----------
    value : float
        What the line says [-].

    Returns
    -------
    float
        Wet basis [-].
    """
    return min(max(value, MOISTURE_WB.low), MOISTURE_WB.high)


def latest_level(temperatures: ArrayLike) -> float:
    """Where a column stands now: no one reading of it decides that.

    Parameters
    ----------
    temperatures : array_like
        Column temperatures in order of time [degC], shape (n,), n at least 1.

    Returns
    -------
    float
        Median of the last three [degC].
    """
    return float(np.median(np.atleast_1d(temperatures)[-3:]))


@dataclass(frozen=True, slots=True)
class Rules:
    """How patient the advice is. The defaults were chosen on simulated dryers.

    Attributes
    ----------
    dead_band : float
        Expected error that is left alone [-].
    certainty : float
        The expected error must also exceed this many of its standard deviations [-].
    least_gain : float
        A move must take more than the square of this off the expected squared error [-]. An error
        just past half a step is no reason to turn the setpoint: a step leaves as much of it on the
        other side, and the next readings take the move back. Chosen, no source.
    hold_share : float
        Time after a move before the next, as a share of transit [-]. The belief knows what a move
        will do and need not see it first; this only keeps two people at one look from both moving.
        Chosen, no source.
    drift_allowance : float
        A drift or an offset beyond this many times what still counts as level is waited out
        whatever the error [-].
    timed_drift_allowance : float
        The same where readings are matched to their time in the dryer, which a column that is
        not yet level does not blur [-]; and how far any column may stand off at the moment.
    swing_allowance : float
        So is a swing beyond this many times what does not forbid a move [-].
    restless_bar : float
        While the column is restless (a slow drift, a disturbance, calming, too little seen since
        the last move) the error must exceed this many times the usual threshold [-], unless
        readings are matched to their time in the dryer.
    largest_step : float
        Bound on one step [K]; 3 degF.
    resolution : float
        Smallest step the panel accepts [K]; 1 degF.
    """

    dead_band: float = 0.0025
    certainty: float = 1.0
    least_gain: float = 0.0016
    hold_share: float = 0.1
    drift_allowance: float = 3.0
    timed_drift_allowance: float = 5.0
    swing_allowance: float = 3.0
    restless_bar: float = 1.25
    largest_step: float = 3.0 / PER_DEGF
    resolution: float = 1.0 / PER_DEGF

    def check(self) -> None:
        """Refuse a step or a resolution outside its range.

        Raises
        ------
        OutOfRange
            The first value outside.
        """
        STEP.check(self.largest_step, "largest_step")
        RESOLUTION.check(self.resolution, "resolution")


LATE_READINGS = 5
"""Believed readings against which doubted ones are counted, at most; chosen, no source."""


@dataclass(frozen=True, slots=True)
class LagDoubt:
    """What is expected if the transport lag is another one; one number for each of some lags.

    Attributes
    ----------
    weights : tuple of float
        How likely each lag is [-], above or equal to 0.
    shifts : tuple of float
        By how much the expected moisture is another one then [-].
    guessed : tuple of float
        What of that is a guess, as an SD [-].
    """

    weights: tuple[float, ...] = (1.0,)
    shifts: tuple[float, ...] = (0.0,)
    guessed: tuple[float, ...] = (0.0,)

    @property
    def sd(self) -> float:
        """How far the expected moisture is off, root of the mean square [-]."""
        square = np.square(self.shifts) + np.square(self.guessed)
        return float(np.sqrt(np.average(square, weights=self.weights)))


@dataclass(frozen=True, slots=True)
class Situation:
    """What the advice is given for.

    Attributes
    ----------
    setpoint : float
        Present column setpoint [degC].
    target_wb : float
        Target moisture, wet basis [-].
    now_s : float
        Time of the look [s], on the caller's clock.
    transit_s : float
        Transit time [s].
    last_move_s : float or None
        When the setpoint was last moved [s].
    inlet_wb : float or None
        Inlet moisture of the grain at the column sensors, wet basis [-].
    meter_offset : float
        To be added to the readings, from a meter check [-].
    meter_sd : float
        Standard uncertainty of the meter's offset [-].
    wet_to_dry : float
        Cost of a point too wet over that of a point too dry [-], 0.05 to 20.
    highest : float or None
        Highest column temperature the grain allows [degC].
    reading_sd : float
        SD of one reading [-].
    trend_missing : bool
        Whether a trend should have been judged but too few readings exist.
    trend_after_s : float
        How long until enough will [s]; 0 where nobody can tell.
    inlet_doubt : float
        SD of the expected moisture from error of the inlet readings [-].
    column_offset : float
        How much warmer the column is than the belief's steady temperature [K]; 0 where readings
        are matched to what the column showed.
    stood_until_s : float or None
        Where what leaves now, or was read last, stood in the dryer on its way: when all of it has
        left [s], from `Transport.stood_until`.
    lag_doubt : LagDoubt
        What is expected with another transport lag, from `lag_doubt`; like the meter's doubt it
        is in the stated chance and in no threshold.
    passing_wb : float or None
        Inlet moisture of the grain now at the column sensors, where `inlet_wb` is that of grain
        still above them [-].
    column_now : float or None
        Where the column stands now, from `latest_level` [degC]; None leaves it to the trend, which
        judges hours and is late for a column that falls away.
    doubted_wb : tuple of float
        Readings learned from together with the latest that were doubted [-].
    """

    setpoint: float
    target_wb: float
    now_s: float
    transit_s: float
    last_move_s: float | None = None
    inlet_wb: float | None = None
    meter_offset: float = 0.0
    meter_sd: float = METER_SD_ASSUMED
    wet_to_dry: float = 1.0
    highest: float | None = None
    reading_sd: float = READING_SD
    trend_missing: bool = False
    trend_after_s: float = 0.0
    inlet_doubt: float = 0.0
    column_offset: float = 0.0
    stood_until_s: float | None = None
    lag_doubt: LagDoubt = LagDoubt()
    passing_wb: float | None = None
    column_now: float | None = None
    doubted_wb: tuple[float, ...] = ()

    @property
    def steady_setpoint(self) -> float:
        """The setpoint on the belief's own scale [degC]."""
        return self.setpoint - self.column_offset

    def check(self) -> None:
        """Refuse what is outside its range.

        Raises
        ------
        OutOfRange
            The first value outside.
        """
        GRAIN_TEMPERATURE.check(self.setpoint, "setpoint")
        MOISTURE_WB.check(self.target_wb, "target_wb")
        NOW.check(self.now_s, "now_s")
        PASSAGE.check(self.transit_s, "transit_s")
        METER_OFFSET.check(self.meter_offset, "meter_offset")
        METER_SD.check(self.meter_sd, "meter_sd")
        if self.passing_wb is not None:
            MOISTURE_WB.check(self.passing_wb, "passing_wb")
        COST_RATIO.check(self.wet_to_dry, "wet_to_dry")

    def recently_moved(self, rules: Rules) -> bool:
        """Whether the last move of the setpoint has not shown yet.

        Parameters
        ----------
        rules : Rules
            How patient to be.

        Returns
        -------
        bool
            False where nobody tells of a move.
        """
        if self.last_move_s is None:
            return False
        return self.now_s - self.last_move_s < rules.hold_share * self.transit_s

    def expected(self, belief: Belief) -> tuple[float, float]:
        """Moisture that the present setpoint will give, the meter's offset applied.

        Parameters
        ----------
        belief : Belief
            What is known.

        Returns
        -------
        tuple of float
            Expected moisture, wet basis [-], and its standard deviation [-]. A setpoint far from
            all that was read gives the driest or wettest grain there is.
        """
        moisture, spread = belief.predict(
            self.steady_setpoint, inlet_wb=self.inlet_wb, at_s=self.now_s
        )
        return as_moisture(moisture + self.meter_offset), combined(spread, self.inlet_doubt)

    def against(self, error: float, threshold: float, aim_wb: float, readings: int) -> float:
        """Share of the late readings that was doubted and speaks against what is expected.

        A reading far off the others is doubted because it is alone. Of two that contradict each
        other nobody knows which is, nor of many of which every other is.

        Parameters
        ----------
        error : float
            Expected moisture minus the aim [-].
        threshold : float
            Error that is left alone [-]: within it every doubted reading speaks against it, and
            beyond it one on the other side of the aim.
        aim_wb : float
            Moisture aimed at, wet basis [-].
        readings : int
            How many were believed.

        Returns
        -------
        float
            0 to 1 [-].
        """
        shown = np.array(self.doubted_wb) + self.meter_offset - aim_wb
        other = int(np.count_nonzero((shown * error < 0.0) | (abs(error) <= threshold)))
        return other / (other + min(readings, LATE_READINGS)) if other else 0.0

    def after(self, belief: Belief, expected_wb: float, step: float) -> float:
        """Moisture that another setpoint will give: no setpoint makes grain wetter than it came in.

        Parameters
        ----------
        belief : Belief
            What is known.
        expected_wb : float
            Moisture that the present one will give, wet basis [-].
        step : float
            Change of the setpoint [K].

        Returns
        -------
        float
            Moisture, wet basis [-].
        """
        moisture = as_moisture(expected_wb + belief.sensitivity * step)
        if self.inlet_wb is None:
            return moisture
        return min(moisture, max(self.inlet_wb, expected_wb))

    def between_lots(self, belief: Belief) -> float:
        """What two lots in the dryer do to a moisture expected of one of them.

        The setpoint is decided for the lot that comes, and one that is right for it may be wrong
        for the lot that still passes: of grain that is as likely the one as the other, moisture
        spreads by half of their difference.

        Parameters
        ----------
        belief : Belief
            What is known.

        Returns
        -------
        float
            SD [-]; zero where one inlet moisture is told.
        """
        if self.inlet_wb is None or self.passing_wb is None:
            return 0.0
        return 0.5 * abs(belief.inlet_effect * (self.inlet_wb - self.passing_wb))

    def aim(self, spread: float) -> float:
        """Moisture to aim at: the target, or beside it where wet and dry cost unequally.

        Parameters
        ----------
        spread : float
            Standard deviation of the expected moisture [-].

        Returns
        -------
        float
            Moisture, wet basis [-].
        """
        about = combined(STREAM_SD, spread, self.meter_sd)
        return aim(self.target_wb, about, self.wet_to_dry)
