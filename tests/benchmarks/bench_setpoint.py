"""Bench of the setpoint advice: simulated seasons steered by nobody, a naive rule, and Outfeed.

    python tests/benchmarks/bench_setpoint.py [seasons] [days] [starting number]

The numbers of the rules were chosen on seasons drawn from the starting numbers 11 to 61, 5001 and
6001. Each move in them is a whole degF, and Outfeed is told a close log of rates and inlet
moistures unless a variant says otherwise. Where the meter is checked, that is done once a day, and
the naive rule gets the same check; how samples and reference scatter is invented.

How often a season ends worse than with nobody is set by the meter: whoever knows all but its offset
is worse in 1.5 to 3 % of 200 seasons (starts 1001, 2001, 5001, 7001, 9401), and with a meter that
is never off in none: it is those that begin near right with a meter that is off. A daily check
whose samples are read five times on the dryer's meter mends that: Outfeed is then worse in 30 of
the 1,800 seasons of the starts 1001, 2001, 7001, 8001, 9001, 9101, 9201, 9301 and 9401, 0.5 to
3.5 % of each 200. With samples read once on it it is 23 of 800 (1001, 2001, 7001, 9401), with no
check 25. Two or three seasons more or less are the luck of the draw. Beside it stands how often it
is worse by half of the tenth of a point that a meter shows.
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field, replace

import numpy as np
from seasons import (
    LOT_BIAS_SD,
    READING_SD,
    SEASON_BIAS_SD,
    TARGET,
    Draws,
    Look,
    Season,
    all_knowing,
    draw,
    naive,
    run,
    settled_moisture,
)

from outfeed.steering.belief import PRIOR_INLET_EFFECT, PRIOR_SENSITIVITY, Belief
from outfeed.steering.inlet import InletDoubt, InletLog, inlet_doubt, read_inlets
from outfeed.steering.lag_doubt import USUAL_UNCERTAINTY, lag_doubt
from outfeed.steering.meter import MeterCheck, Sample, check_meter
from outfeed.steering.pairs import (
    Pairs,
    Transport,
    inlet_at,
    learn_from_pairs,
    pair_readings,
)
from outfeed.steering.setpoint import (
    METER_SD_ASSUMED,
    Rules,
    SetpointAdvice,
    Situation,
    advise_setpoint,
)
from outfeed.steering.steady import (
    SteadyColumn,
    column_offset,
    coming_inlet,
    entered_by,
    steady_column,
    steady_pairs,
)
from outfeed.steering.trend import Trend, TrendLimits, judge_trend


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32.0) / 1.8


DAY_MIN = 1440.0
SHOWN = 0.1  # point, the last digit of a meter
CHECK_SAMPLES, CHECK_READINGS, CHECK_METERED = 6, 3, 5  # a sample's, on reference and on meter
REFERENCE_SD, REFERENCE_BIAS_SD = 0.12, 0.05  # points: of a reading, and for a season


@dataclass
class MeterChecks:
    """A meter check every day: samples read on the dryer's meter and on a reference."""

    metered: int = CHECK_METERED
    samples: dict[int, list[Sample]] = field(default_factory=dict)
    checked: dict[int, float] = field(default_factory=dict)
    found: dict[int, MeterCheck] = field(default_factory=dict)

    def now(self, look: Look) -> MeterCheck:
        """The check in force, a new one where a day has passed."""
        if look.now - self.checked.get(look.season, -np.inf) < DAY_MIN:
            return self.found[look.season]
        kept = self.samples.setdefault(look.season, [])
        biased = np.random.default_rng([look.season, 7]).normal(0.0, REFERENCE_BIAS_SD)
        rng = np.random.default_rng([look.season, 8, len(kept)])
        shown = look.shown + rng.normal(0.0, READING_SD, (CHECK_SAMPLES, self.metered))
        read = look.leaving + biased
        read = read + rng.normal(0.0, REFERENCE_SD, (CHECK_SAMPLES, CHECK_READINGS))
        for meter, reference in zip(np.round(shown, 1), np.round(read, 1), strict=True):
            kept.append(Sample(*(tuple((read / 100.0).tolist()) for read in (reference, meter))))
        self.checked[look.season] = look.now
        found = check_meter(kept, reference_sd=REFERENCE_BIAS_SD / 100.0)
        self.found[look.season] = found
        return found

    def correction(self, look: Look) -> float:
        """What the check in force adds to a reading, points."""
        return 100.0 * self.now(look).advised

    def naive(self, look: Look) -> float:
        """The naive rule on readings put right by the check."""
        return naive()(replace(look, reading=look.reading + self.correction(look)))


@dataclass
class Steered:
    """Outfeed at the operator's elbow; keeps what a caller would keep, nothing more."""

    lag_factor: float = 1.0
    lag_error: float = 0.0  # SD of the logarithm by which a season's lag is told wrong besides
    lag_uncertainty: float = 0.0  # of a lag that is told exactly
    tell_inlet: bool = False
    inlet_sd: float | None = None  # points; read at each look with that error; None: a close log
    use_trend: bool = True
    meter_sd: float = METER_SD_ASSUMED
    checks: MeterChecks | None = None
    rules: Rules | None = None
    beliefs: dict[int, Belief] = field(default_factory=dict)
    readings: dict[int, list[tuple[float, float]]] = field(default_factory=dict)
    moved: dict[int, float] = field(default_factory=dict)
    said: list[tuple[int, float, float, SetpointAdvice]] = field(default_factory=list)
    verdicts: dict[str, int] = field(default_factory=dict)
    inlets: dict[int, list[tuple[float, float]]] = field(default_factory=dict)

    def _told(self, season: int) -> float:
        """The lag this season is told, over the true one."""
        drawn = np.random.default_rng([season, 9]).normal(0.0, self.lag_error)
        return self.lag_factor * float(np.exp(drawn))

    def _inlet_log(self, look: Look) -> InletLog | None:
        """Inlet moistures as the operator has them."""
        if not self.tell_inlet:
            return None
        if self.inlet_sd is None:
            return read_inlets(look.times * 60.0, look.inlets / 100.0, 0.0)
        kept = self.inlets.setdefault(look.season, [])
        noise = np.random.default_rng([look.season, len(kept)]).normal(0.0, self.inlet_sd)
        kept.append((look.now * 60.0, (float(look.inlets[-1]) + noise) / 100.0))
        times, values = np.array(kept[-20:]).T
        return read_inlets(times, values, self.inlet_sd / 100.0)

    def _meter_sd(self, check: MeterCheck | None) -> float:
        """What is left of the doubt: of the check, and of how the meter reads another lot."""
        if check is None or not check.advised:
            return self.meter_sd
        return min(float(np.hypot(check.doubt.total, LOT_BIAS_SD / 100.0)), self.meter_sd)

    def policy(self, look: Look) -> float:
        """The setpoint to run after this look."""
        times = look.times * 60.0
        seen = self.readings.setdefault(look.season, [])
        seen.append((look.now * 60.0, look.reading / 100.0))
        del seen[:-6]
        check = None if self.checks is None else self.checks.now(look)
        offset_of_meter = 0.0 if check is None else check.advised
        held = 10_000.0 * look.nominal_transit / 2 / 60.0 * self._told(look.season)
        transport = Transport(held=held, rate_times_s=times, rates=look.rates * 10_000.0 / 3600.0)
        log = self._inlet_log(look)
        inlet_times, inlets = (None, None) if log is None else (log.times_s, log.moistures_wb)
        earlier, now = self.beliefs.get(look.season), look.now * 60.0
        pairs = pair_readings(
            [t for t, _ in seen],
            [m + offset_of_meter for _, m in seen],
            times,
            (look.column - 32.0) / 1.8,
            transport,
            inlet_times_s=inlet_times,
            inlets_wb=inlets,
        )
        steady = steady_column(
            pairs,
            earlier,
            transport,
            inlet_times_s=inlet_times,
            inlets_wb=inlets,
            reference_temperature=_celsius(look.setpoint),
        )
        offset = None
        if steady is not None:
            pairs = steady_pairs(pairs, steady)
            offset = column_offset(times, (look.column - 32.0) / 1.8, steady, now)
        doubt = _doubt(log, pairs, earlier, transport, steady, now)
        belief, doubted = learn_from_pairs(
            pairs,
            earlier,
            reference_temperature=_celsius(look.setpoint),
            inlet_doubt=doubt.learned,
            reference_inlet_wb=None if steady is None else steady.inlet_wb,
            reference_transit_s=0.0 if steady is None else steady.transit_s,
        )
        if belief is not None:
            self.beliefs[look.season] = belief
        moved = self.moved.get(look.season)
        transit = transport.transit_at(now)
        passing = None
        if inlet_times is not None and inlets is not None:
            passing = float(inlet_at(now - transit / 2, inlet_times, inlets))
        inlet = passing if steady is None else coming_inlet(steady, now, transit)
        situation = Situation(
            setpoint=_celsius(look.setpoint),
            target_wb=TARGET / 100.0,
            now_s=now,
            transit_s=transit,
            last_move_s=None if moved is None else moved * 60.0,
            inlet_wb=inlet,
            passing_wb=passing,
            meter_sd=self._meter_sd(check),
            inlet_doubt=doubt.coming,
            column_offset=0.0 if offset is None else offset,
            doubted_wb=tuple(pairs.moistures_wb[list(doubted)].tolist()),
        )
        wondered = lag_doubt(
            pairs,
            belief,
            situation,
            transport,
            times,
            (look.column - 32.0) / 1.8,
            inlet_times_s=inlet_times,
            inlets_wb=inlets,
            steady=steady,
            uncertainty=self.lag_uncertainty,
        )
        situation = replace(situation, lag_doubt=wondered)
        advice = advise_setpoint(belief, None, situation, self.rules)
        if advice.kind == "move" and self.use_trend:
            # a trend can only forbid a move, so it need not be judged for any other answer
            trend = self._trend(look)
            situation = replace(situation, trend_missing=trend is None)
            advice = advise_setpoint(belief, trend, situation, self.rules)
        if belief is not None and advice.chance is not None:
            self.said.append((look.season, look.now, look.setpoint, advice))
        if advice.kind != "move":
            return look.setpoint
        self.moved[look.season] = look.now
        return look.setpoint + round(advice.step * 1.8)

    def _trend(self, look: Look) -> Trend | None:
        since = self.moved.get(look.season, -np.inf)
        recent = (look.times >= look.now - 180.0) & (look.times >= since)
        if np.count_nonzero(recent) < 10:
            return None
        trend = judge_trend(
            look.times[recent] * 60.0,
            (look.column[recent] - 32.0) / 1.8,
            _celsius(look.setpoint),
            limits=TrendLimits.from_sensitivity(PRIOR_SENSITIVITY * 100.0),
        )
        self.verdicts[trend.verdict] = self.verdicts.get(trend.verdict, 0) + 1
        return trend


def _doubt(
    log: InletLog | None,
    pairs: Pairs,
    belief: Belief | None,
    transport: Transport,
    steady: SteadyColumn | None,
    now_s: float,
) -> InletDoubt:
    """What the error of the inlet readings adds, as setpoint advice has it."""
    if log is None:
        return InletDoubt(np.zeros(pairs.times_s.shape), 0.0)
    effect, slope = PRIOR_INLET_EFFECT, PRIOR_SENSITIVITY
    if belief is not None:
        effect, slope = belief.inlet_effect, belief.sensitivity
    if steady is not None:
        effect += slope * steady.column_per_inlet
    before = None
    if belief is not None and belief.readings:
        before = belief.at_s - 2.0 * transport.lag_at(belief.at_s)
    transit = transport.transit_at(now_s)
    coming = now_s - 0.5 * transit if steady is None else entered_by(now_s, transit)
    return inlet_doubt(log, pairs, coming, effect, learned_before_s=before)


def _rms(season: Season) -> float:
    """Of all seasons together, points."""
    return float(np.sqrt(np.mean(season.rms**2)))


def show(name: str, season: Season, nobody: Season) -> None:
    """One line of the table."""
    rms = _rms(season)
    worse, plainly = (100 * np.mean(season.rms > nobody.rms + by) for by in (0.0, SHOWN / 2))
    print(
        f"{name:34s} {rms:5.2f} {np.mean(season.mean_absolute):5.2f} "
        f"{100 * np.mean(season.outside):7.0f} {np.mean(season.moves_per_day):9.1f} "
        f"{np.mean(season.dry_cost_per_tonne):9.2f} {worse:11.1f} {plainly:8.1f}",
        flush=True,
    )


def show_confidence(steered: Steered, draws: Draws, heading: str) -> None:
    """How often stated chances and intervals were right."""
    chances, rights, inside = [], [], {"assumed": [], "drawn": []}
    meters = {"assumed": METER_SD_ASSUMED, "drawn": np.hypot(SEASON_BIAS_SD, LOT_BIAS_SD) / 100.0}
    for season, now, setpoint, advice in steered.said:
        truth = settled_moisture(draws, season, now, setpoint) / 100.0
        expected, spread = advice.expected_moisture_wb, advice.expected_sd
        if expected is None or spread is None or advice.chance is None:
            continue
        chances.append(advice.chance)
        rights.append((truth > advice.aim_wb) == (expected > advice.aim_wb))
        for name, meter in meters.items():
            inside[name].append(abs(truth - expected) <= 1.96 * np.hypot(spread, meter))
    chance, right = np.array(chances), np.array(rights)
    print(f"\n{heading}: stated chance that the direction is right, and how often it was")
    for low, high in ((0.5, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01)):
        chosen = (chance >= low) & (chance < high)
        if chosen.any():
            print(
                f"  {100 * chance[chosen].mean():5.1f} % stated, {100 * right[chosen].mean():5.1f} "
                f"% right, {chosen.sum()} looks"
            )
    print(f"  all: {100 * chance.mean():.1f} % stated, {100 * right.mean():.1f} % right")
    for name, held in inside.items():
        print(
            f"95 % interval of the expected moisture, with the meter's offset {name} "
            f"({100 * meters[name]:.2f} point), held the truth in {100 * np.mean(held):.1f} %"
        )


def main(count: int = 200, days: float = 5.0, start: int = 1001) -> None:
    """Run the bench and print it."""
    began = time.process_time()
    draws = draw(count, days, start)
    print(f"{count} seasons of {days:g} days; moisture in points, about a target of {TARGET}")
    print(
        f"{'steered by':34s}   RMS   MAE  %>0.5pt moves/day  dry cost/t %worse than nobody, by 0.05"
    )
    nobody = run(draws, None)
    show("nobody", nobody, nobody)
    hourly = run(draws.looking_every(60), naive())
    for name, season in (
        ("naive, at every look", run(draws, naive())),
        ("naive, every half hour", run(draws.looking_every(30), naive())),
        ("naive, every hour", hourly),
        ("naive, every two hours", run(draws.looking_every(120), naive())),
        ("all-knowing but for meter offset", run(draws, all_knowing(draws))),
    ):
        show(name, season, nobody)
    steered = Steered(tell_inlet=True)
    told = run(draws, steered.policy)
    show("Outfeed", told, nobody)
    corrected = run(draws.looking_every(60), MeterChecks().naive)
    show("naive, every hour, meter checked", corrected, nobody)
    known = all_knowing(draws, MeterChecks().correction)
    show("all-knowing, meter checked daily", run(draws, known), nobody)
    checked = run(draws, Steered(tell_inlet=True, checks=MeterChecks()).policy)
    show("Outfeed, meter checked daily", checked, nobody)
    once = Steered(tell_inlet=True, checks=MeterChecks(metered=1))
    show("Outfeed, meter read once a sample", run(draws, once.policy), nobody)
    print(
        f"Outfeed's RMS is {_rms(told) / _rms(hourly):.2f} of the hourly naive rule's, "
        f"{_rms(checked) / _rms(corrected):.2f} where both check the meter."
    )
    print(
        f"Its mean absolute error is {np.mean(told.mean_absolute):.2f} point; published automatic "
        "control of whole dryers reports 0.19 to 0.35."
    )
    show_confidence(steered, draws, "Outfeed")
    few = draws.first(max(1, count // 5))
    print(f"\nVariants on the first {few.transit.size} of these seasons:")
    nobody = run(few, None)
    show("nobody", nobody, nobody)
    half = Steered(tell_inlet=True, lag_factor=0.5, lag_uncertainty=USUAL_UNCERTAINTY)
    usual = float(np.log1p(USUAL_UNCERTAINTY))
    wrong = Steered(tell_inlet=True, lag_error=usual, lag_uncertainty=USUAL_UNCERTAINTY)
    for name, variant in (
        ("Outfeed", Steered(tell_inlet=True)),
        ("Outfeed, inlet read at each look", Steered(tell_inlet=True, inlet_sd=0.4)),
        ("Outfeed, inlet moisture not told", Steered()),
        ("Outfeed, lag half of the truth", half),
        (
            "Outfeed, lag half as much again",
            Steered(tell_inlet=True, lag_factor=1.5, lag_uncertainty=USUAL_UNCERTAINTY),
        ),
        ("Outfeed, lag wrong as it is doubted", wrong),
        ("Outfeed, trend left out", Steered(tell_inlet=True, use_trend=False)),
    ):
        show(name, run(few, variant.policy), nobody)
    show_confidence(wrong, few, "Lag wrong by as much as it is doubted")
    show_confidence(half, few, "Lag half of the truth, not known better than usual")
    print(f"{time.process_time() - began:.0f} s of processor time")


if __name__ == "__main__":
    given = sys.argv[1:]
    main(*(kind(text) for kind, text in zip((int, float, int), given, strict=False)))
