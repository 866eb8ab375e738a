"""What is known of a dryer's discharge moisture against its column temperature.

    m_k = level_k + S (T_k - T_ref) + B (inlet_k - inlet_ref) + v_k

The level wanders (weather, variety, the meter's mood), the sensitivity S and the inlet effect B
stand still. A Kalman filter (Kalman 1960, J. Basic Eng. 82:35-45) over these three learns from
every reading as much as it deserves; a reading further off than 3.5 standard deviations is
doubted, and only obeyed when the next one agrees; readings in a row off on one side are a step of
the level (`outfeed.steering.steps`). The filter's whole memory is a `Belief`, small
and frozen, which the caller keeps and passes back: nothing is kept here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import Inconsistent
from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import DERIVED, Method
from outfeed.steering.steps import ONE_MOMENT_S, Run, Surprise, is_step, run_with, stepped

PER_DEGF = 1.8
"""Kelvins to Fahrenheit degrees: a slope per degF times this is a slope per K; exact."""

SENSITIVITY = Range("moisture per degree of column temperature", -0.05, -0.0005, "1/K", SENSIBLE)

SENSITIVITY_SD = Range("doubt about it", 1e-6, 0.05, "1/K", SENSIBLE)
INLET_EFFECT = Range("discharge points per inlet point", -2.0, 2.0, "", SENSIBLE)
INLET_EFFECT_SD = Range("doubt about the inlet effect", 1e-6, 2.0, "", SENSIBLE)
LEVEL = Range("level of a belief", -0.5, 1.0, "", SENSIBLE)
LEVEL_SD = Range("doubt about the level", 1e-6, 0.5, "", SENSIBLE)
CORRELATION = Range("correlation", -1.0, 1.0, "", "definition")
DOUBT = Range("distance of a doubted reading", -0.6, 0.6, "", "definition")

PRIOR_SENSITIVITY = -0.0055 * PER_DEGF
"""Change of moisture_wb per K: -0.55 point per degF; column model at 20-28 % inlet moisture
(-0.53 to -0.62), steering by discharge rate. A prior from a model, never a promise."""

PRIOR_SENSITIVITY_SD = 0.0020 * PER_DEGF
"""0.2 point per degF; spans the model's range down to 18 % inlet moisture."""

SENSITIVITY_BAND = (2.0, 0.36)
"""Learned sensitivities stay between these multiples of the prior (-1.1 to -0.2 point per degF
for the default); chosen, no source."""

PRIOR_INLET_EFFECT = -0.3
"""Points at the discharge per point at the inlet at the same column temperature; column model."""

PRIOR_INLET_EFFECT_SD = 0.15
"""Doubt about it were the sensitivity known; chosen, no source."""

INLET_PER_SENSITIVITY = 117.0
"""Change of the inlet effect per change of the sensitivity [K]. At one rate a point of inlet is
0.92 point at the discharge and cools the column by 2.1 degF (column model), so the effect at one
column temperature is 0.92 plus 2.1 degF times the sensitivity; in the model that holds to a tenth
at 18 to 28 % inlet moisture, wherever the sensors sit."""

READING_SD = 0.0045
"""SD of one discharge reading about what the column temperature explains, as a fraction: 0.39
point of meter and sample at 15.5 % (Hurburgh et al. 1985, Trans. ASAE 28:634-640) and what a
change of rate on its way through the column adds; chosen on simulated dryers."""

LEVEL_WANDER = 0.0016
"""SD the level gains in the square root of an hour, as a fraction; chosen on simulated dryers."""

STEADY_LEVEL_WANDER = 0.0008
"""The same where readings are matched to steady temperatures: the plenum's share is measured then,
and what is left wanders less; chosen on simulated dryers."""

FIRST_LEVEL_SD = 0.02
"""SD of the level before the first reading, as a fraction; wide on purpose."""

DOUBT_AT_SD = 3.5
"""Readings further off than this are doubted; the cut of Iglewicz and Hoaglin 1993, recalled."""

KALMAN = Method(
    "steering.belief.kalman",
    "level, sensitivity and inlet effect learned from matched readings",
    "R. E. Kalman 1960, J. Basic Eng. 82:35-45; sensitivity prior from the column model",
    DERIVED,
    note="the prior of -0.55 point per degF is synthetic; your own readings replace it slowly",
)
METHODS = (KALMAN,)


@dataclass(frozen=True, slots=True)
class Belief:
    """Everything learned so far; hand it back with the next request.

    Attributes
    ----------
    reference_temperature : float
        Column temperature at which `level` holds [degC].
    reference_inlet_wb : float
        Inlet moisture at which `level` holds [-]; not used before an inlet moisture is given.
    level : float
        Expected discharge moisture, wet basis, at the references [-].
    sensitivity : float
        Change of discharge moisture per degree of column temperature [1/K].
    prior_sensitivity : float
        What was assumed of it before anything was learned [1/K]; bounds what is believed.
    inlet_effect : float
        Change of discharge moisture per change of inlet moisture at one column temperature [-].
    covariance : tuple of float
        Upper triangle, by rows, of the covariance of (level, sensitivity, inlet effect).
    at_s : float
        Time of the last reading learned from [s], on the caller's clock.
    readings : int
        How many readings have been learned from.
    last_doubt : float
        How far the last doubted reading was off [-]; 0 when the last reading was believed.
    reference_transit_s : float
        Time in the dryer at which `level` holds [s]; 0 while readings are matched to what the
        column showed instead of to their time in the dryer.
    run : Run or None
        The last readings, where they are off on one side.
    grain : str
        Id of the grain it was learned from; empty where nobody says.
    """

    reference_temperature: float
    reference_inlet_wb: float
    level: float
    sensitivity: float
    prior_sensitivity: float
    inlet_effect: float
    covariance: tuple[float, float, float, float, float, float]
    at_s: float
    readings: int = 0
    last_doubt: float = 0.0
    reference_transit_s: float = 0.0
    run: Run | None = None
    grain: str = ""

    @property
    def wander(self) -> float:
        """SD the level gains in the square root of an hour [-]."""
        return STEADY_LEVEL_WANDER if self.reference_transit_s > 0 else LEVEL_WANDER

    @property
    def sensitivity_sd(self) -> float:
        """Standard deviation of the sensitivity [1/K]."""
        return sqrt(self.covariance[3])

    def predict(
        self, column_temperature: float, *, inlet_wb: float | None = None, at_s: float | None = None
    ) -> tuple[float, float]:
        """Moisture expected at a column temperature, once the grain dried at it arrives.

        Parameters
        ----------
        column_temperature : float
            Column temperature [degC].
        inlet_wb : float, optional
            Inlet moisture of that grain, wet basis [-]; the reference when left out.
        at_s : float, optional
            When [s]; the level grows less certain with time.

        Returns
        -------
        tuple of float
            Expected moisture, wet basis [-], and the standard deviation of that expectation [-].
        """
        weights = _weights(self, column_temperature, inlet_wb)
        hours = 0.0 if at_s is None else max(0.0, at_s - self.at_s) / 3600.0
        variance = weights @ _matrix(self) @ weights + self.wander**2 * hours
        state = np.array((self.level, self.sensitivity, self.inlet_effect))
        return float(weights @ state), sqrt(float(variance))


@dataclass(frozen=True, slots=True)
class Learned:
    """A belief and what became of each reading.

    Attributes
    ----------
    belief : Belief
        After the readings.
    doubted : tuple of int
        Positions of the readings that were doubted.
    skipped : tuple of int
        Positions of the readings no newer than the belief that came in: already learned.
    """

    belief: Belief
    doubted: tuple[int, ...]
    skipped: tuple[int, ...]


def new_belief(
    column_temperature: float,
    first_moisture_wb: float,
    *,
    at_s: float,
    inlet_wb: float | None = None,
    sensitivity: float = PRIOR_SENSITIVITY,
    sensitivity_sd: float = PRIOR_SENSITIVITY_SD,
    inlet_effect: float = PRIOR_INLET_EFFECT,
    inlet_effect_sd: float = PRIOR_INLET_EFFECT_SD,
    inlet_per_sensitivity: float = INLET_PER_SENSITIVITY,
    reference_transit_s: float = 0.0,
    grain: str = "",
) -> Belief:
    """A belief before any reading was learned from.

    Parameters
    ----------
    column_temperature : float
        Reference column temperature [degC], -40 to 120.
    first_moisture_wb : float
        Where to look for the level at first, wet basis [-], 0 to 0.6; held very loosely.
    at_s : float
        A time before the first reading [s].
    inlet_wb : float, optional
        Reference inlet moisture, wet basis [-], 0 to 0.6.
    sensitivity, sensitivity_sd : float
        Prior change of moisture per degree [1/K] and its SD, above 0.
    inlet_effect, inlet_effect_sd : float
        Prior change of discharge moisture per change of inlet moisture [-] and its SD were the
        sensitivity known; doubt about the sensitivity adds to it.
    inlet_per_sensitivity : float
        Change of the inlet effect per change of the sensitivity [K].
    reference_transit_s : float
        Time in the dryer at the references [s]; 0 where readings are matched to the column.
    grain : str
        Id of the grain; empty where nobody says.

    Returns
    -------
    Belief
        With no readings.

    Raises
    ------
    OutOfRange
        An argument outside its range.
    """
    GRAIN_TEMPERATURE.check(column_temperature, "column_temperature")
    MOISTURE_WB.check(first_moisture_wb, "first_moisture_wb")
    SENSITIVITY.check(sensitivity, "sensitivity")
    shared = inlet_per_sensitivity * sensitivity_sd**2
    inlet_variance = inlet_effect_sd**2 + inlet_per_sensitivity * shared
    return Belief(
        reference_temperature=column_temperature,
        reference_inlet_wb=0.0 if inlet_wb is None else float(MOISTURE_WB.check(inlet_wb, "inlet")),
        level=first_moisture_wb,
        sensitivity=sensitivity,
        prior_sensitivity=sensitivity,
        inlet_effect=inlet_effect,
        covariance=(FIRST_LEVEL_SD**2, 0.0, 0.0, sensitivity_sd**2, shared, inlet_variance),
        at_s=at_s,
        reference_transit_s=reference_transit_s,
        grain=grain,
    )


def learn(
    belief: Belief,
    times_s: ArrayLike,
    column_temperatures: ArrayLike,
    moistures_wb: ArrayLike,
    *,
    inlets_wb: ArrayLike | None = None,
    reading_sd: ArrayLike = READING_SD,
) -> Learned:
    """Learn from readings matched to their column temperatures.

    Parameters
    ----------
    belief : Belief
        What was known before.
    times_s : array_like
        Times of the readings [s], ascending, shape (k,).
    column_temperatures : array_like
        Column temperature one lag before each reading [degC], shape (k,).
    moistures_wb : array_like
        Discharge moistures, wet basis [-], shape (k,).
    inlets_wb : array_like, optional
        Inlet moisture of the sampled grain, wet basis [-], shape (k,).
    reading_sd : array_like
        SD of one reading [-], above 0, one for all or shape (k,).

    Returns
    -------
    Learned
        The belief after, and what became of each reading.

    Raises
    ------
    OutOfRange
        A temperature or moisture outside its range.
    Inconsistent
        Unequal lengths or times that do not ascend.
    """
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    temperatures = np.atleast_1d(GRAIN_TEMPERATURE.check(column_temperatures, "temperatures"))
    moistures = np.atleast_1d(MOISTURE_WB.check(moistures_wb, "moistures_wb"))
    if not times.shape == temperatures.shape == moistures.shape:
        raise Inconsistent("one temperature and one moisture for every time", "moistures_wb")
    if np.any(np.diff(times) < 0):
        raise Inconsistent("the times of the readings do not ascend", "times_s")
    inlets = None if inlets_wb is None else np.atleast_1d(MOISTURE_WB.check(inlets_wb, "inlets_wb"))
    spreads = np.broadcast_to(np.asarray(reading_sd, dtype=np.float64), times.shape)
    doubted: list[int] = []
    skipped: list[int] = []
    for k in range(times.size):
        if times[k] <= belief.at_s:
            skipped.append(k)
            continue
        inlet = None if inlets is None else float(inlets[k])
        belief = _step(belief, times[k], temperatures[k], moistures[k], inlet, spreads[k])
        if belief.last_doubt:
            doubted.append(k)
    return Learned(belief, tuple(doubted), tuple(skipped))


def set_aside(
    belief: Belief,
    at_s: float,
    column_temperature: float,
    moisture_wb: float,
    *,
    inlet_wb: float | None = None,
    reading_sd: float = READING_SD,
) -> Belief:
    """A belief that doubts one more reading, to be believed if the next one agrees with it.

    Parameters
    ----------
    belief : Belief
        What is known before it.
    at_s : float
        Time of the reading [s], later than the last one learned from.
    column_temperature : float
        Column temperature it belongs to [degC].
    moisture_wb : float
        Discharge moisture, wet basis [-].
    inlet_wb : float, optional
        Its inlet moisture, wet basis [-].
    reading_sd : float
        SD of one reading [-], above 0.

    Returns
    -------
    Belief
        With the distance of the reading as `last_doubt`, and older by the time until it.
    """
    expected, spread = belief.predict(column_temperature, inlet_wb=inlet_wb, at_s=at_s)
    seen = Surprise(
        moisture_wb - expected,
        spread**2,
        reading_sd**2,
        READING_SD**2,
        at_s - belief.at_s < ONE_MOMENT_S,
    )
    return replace(
        belief,
        covariance=_triangle(_aged(belief, at_s)),
        at_s=float(at_s),
        last_doubt=seen.off,
        run=run_with(belief.run, seen) if belief.readings else None,
    )


def reading_weight(
    belief: Belief,
    column_temperature: float,
    *,
    at_s: float,
    inlet_wb: float | None = None,
    reading_sd: float = READING_SD,
) -> tuple[float, float]:
    """How far one more reading at that temperature would move the expectation.

    Parameters
    ----------
    belief : Belief
        What is known now.
    column_temperature : float
        Column temperature the reading belongs to [degC].
    at_s : float
        When it is taken [s].
    inlet_wb : float, optional
        Its inlet moisture, wet basis [-].
    reading_sd : float
        SD of one reading [-], above 0.

    Returns
    -------
    tuple of float
        Share of the surprise that is believed, 0 to 1 [-], and the SD of the surprise [-].
    """
    _, spread = belief.predict(column_temperature, inlet_wb=inlet_wb, at_s=at_s)
    total = spread**2 + reading_sd**2
    return spread**2 / total, sqrt(total)


def _step(
    belief: Belief,
    at_s: float,
    temperature: float,
    moisture: float,
    inlet: float | None,
    reading_sd: float,
) -> Belief:
    covariance = _aged(belief, at_s)
    weights = _weights(belief, temperature, inlet)
    state = np.array((belief.level, belief.sensitivity, belief.inlet_effect))
    seen = Surprise(
        moisture - float(weights @ state),
        float(weights @ covariance @ weights),
        reading_sd**2,
        READING_SD**2,
        at_s - belief.at_s < ONE_MOMENT_S,
    )
    run = run_with(belief.run, seen) if belief.readings else None
    total = seen.variance + seen.reading_variance
    far = belief.readings > 0 and abs(seen.off) > DOUBT_AT_SD * sqrt(total)
    # two far readings on the same side: the dryer has changed, not the sample; the same grain once
    # more, or one reading sent twice, is no second witness
    agreed = far and not seen.again and seen.off * belief.last_doubt > 0
    if agreed or is_step(run, seen):
        run = run or Run(1, seen.off, sqrt(seen.variance))
        move, left = stepped(run, seen)
        state[0] += move
        covariance[0, 0] += max(0.0, left - seen.variance)
        run = None
    elif far:
        return set_aside(belief, at_s, temperature, moisture, inlet_wb=inlet, reading_sd=reading_sd)
    else:
        gain = covariance @ weights / total
        state = state + gain * seen.off
        covariance = covariance - np.outer(gain, weights @ covariance)
        if run is not None:
            run = replace(run, followed=run.followed + float(weights @ gain) * seen.off)
    low, high = (belief.prior_sensitivity * share for share in SENSITIVITY_BAND)
    held = float(np.clip(state[1], low, high))
    # what goes with the sensitivity is held with it, or reading after reading drives it away
    state = state + covariance[:, 1] / covariance[1, 1] * (held - state[1])
    return replace(
        belief,
        level=float(state[0]),
        sensitivity=held,
        inlet_effect=float(state[2]),
        covariance=_triangle(covariance),
        at_s=float(at_s),
        readings=belief.readings + 1,
        last_doubt=0.0,
        run=run,
    )


def _aged(belief: Belief, at_s: float) -> FloatArray:
    """The covariance at a later time, for the level wanders."""
    hours = (at_s - belief.at_s) / 3600.0 if belief.readings else 0.0
    covariance = _matrix(belief)
    covariance[0, 0] += belief.wander**2 * hours
    return covariance


def _weights(belief: Belief, temperature: float, inlet: float | None) -> FloatArray:
    # a level learned without an inlet moisture stands for whatever has come in
    anchored = belief.reference_inlet_wb > 0.0
    inlet_away = inlet - belief.reference_inlet_wb if inlet is not None and anchored else 0.0
    return np.array((1.0, temperature - belief.reference_temperature, inlet_away))


def _matrix(belief: Belief) -> FloatArray:
    a, b, c, d, e, f = belief.covariance
    return np.array(((a, b, c), (b, d, e), (c, e, f)))


def _triangle(matrix: FloatArray) -> tuple[float, float, float, float, float, float]:
    m = (matrix + matrix.T) / 2
    return (
        float(m[0, 0]), float(m[0, 1]), float(m[0, 2]),
        float(m[1, 1]), float(m[1, 2]), float(m[2, 2]),
    )  # fmt: skip
