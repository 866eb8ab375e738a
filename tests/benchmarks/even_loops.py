"""A third set of simulated loops, in which every word is wished for equally often.

`loops` and `plain_loops` draw what happens to a loop and see which words come of it; here a word is
drawn first and a loop made that should earn it, so that rare words are as frequent as common ones.
Whatever was wished for, the word that counts follows from what the loop then does, as `truth` says.
Traces are as long as somebody would take them who knows that slope and offset need two hours and a
swing two periods. The plant's equations are those of `loops`; nothing else is shared. Every number
is invented for the bench.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from loops import STEPS_PER_DEAD_TIME, Case, Loops, dominant_poles, simulate, ultimate_gain
from truth import TWO_HOURS, Happened, Truth

WISHES = (
    "level", "drifting", "calming", "cycling", "growing", "stuck", "disturbed", "too-short",
    "sensor-fault",
)  # fmt: skip
LONGEST = 12 * 3600.0
DECAY_OF_GAIN = {False: 2.75, True: 2.0}  # ln(decay ratio) = c (1 - 1/g), PI and integral-only
DECAYS = {"calming": (0.15, 0.62), "cycling": (0.62, 1.25), "growing": (1.25, 2.6)}
GAINS = {
    "level": (0.1, 0.6),
    "drifting": (0.02, 0.16),
    "stuck": (0.1, 0.5),
    "disturbed": (0.15, 0.5),
    "sensor-fault": (0.1, 0.8),
}
STEPS_K = (0.01, 0.1, 0.1, 0.1 / 1.8, 0.1 / 1.8, 0.5, 0.5 / 1.8, 1.0 / 1.8, 1.0)


@dataclass
class Wish:
    """What was drawn for one trace (seconds, kelvin)."""

    word: str
    way: str  # how the word is to come about
    span: float
    onset: float  # of the step
    size: float
    noise: float
    wobble: float  # standard deviation of the noise on the load
    memory: float  # of that noise
    interval: float
    step: float
    reach: float
    wave: float
    stopped: float  # how long the sensor gives one value
    lasting: float  # of a push


def even_cases(seed: int, n: int) -> list[Case]:
    """Labelled traces of the third set.

    Parameters
    ----------
    seed : int
        Start of the random numbers.
    n : int
        Number of traces.
    """
    rng = np.random.default_rng([seed, 3])
    words = [str(word) for word in rng.choice(WISHES, n)]
    ways = [_way(rng, word) for word in words]
    loops = _loops(rng, words, ways)
    growth, omega, slow = dominant_poles(loops)
    swings = np.isfinite(growth) & (omega > 0)
    growth = np.where(swings, growth, -5.0 / loops.dead_time)
    period = 2 * np.pi / np.where(swings, omega, 1.0 / loops.dead_time)
    closing = 1.0 / np.maximum(-np.where(np.isfinite(slow), slow, -1.0), 1e-6)
    drawn = [
        _draw(rng, words[j], ways[j], float(period[j]), float(growth[j]), float(closing[j]),
              float(loops.dead_time[j]))
        for j in range(n)
    ]  # fmt: skip
    runs = _run(rng, loops, drawn, growth, period)
    return [
        _case(rng, drawn[j], float(growth[j] * period[j]), float(period[j]),
              *(part[:, j] for part in runs))
        for j in range(n)
    ]  # fmt: skip


def _way(rng: np.random.Generator, word: str) -> str:
    ways = {
        "level": ["still", "still", "settled", "small-swing"],
        "drifting": ["far", "far", "ramp"],
        "calming": ["released"],
        "cycling": ["released", "released", "limit-cycle", "wave"],
        "growing": ["released"],
        "stuck": ["limit"],
        "disturbed": ["step", "pulse"],
        "too-short": ["minutes", "released"],
        "sensor-fault": ["still", "released", "far", "impossible"],
    }
    return str(rng.choice(ways[word]))


def _loops(rng: np.random.Generator, words: list[str], ways: list[str]) -> Loops:
    n = len(words)
    transit = np.exp(rng.uniform(np.log(2700.0), np.log(10800.0), n))
    dead, lag = transit / 6.0 * rng.uniform(0.8, 1.25, n), transit / 3.0 * rng.uniform(0.8, 1.25, n)
    second = np.where(rng.random(n) < 0.5, lag * rng.uniform(0.1, 0.5, n), 0.0)
    only = rng.random(n) < 0.5
    share = np.array([_gain(rng, *each) for each in zip(words, ways, map(bool, only), strict=True)])
    p = np.where(only, 0.0, 1.0)
    i = np.where(only, 1.0, 1.0 / (np.minimum(lag, 8.0 * dead) * rng.uniform(0.8, 1.5, n)))
    gain = share * ultimate_gain(dead, lag, second, p, i)
    return Loops(dead, lag, second, gain * p, gain * i, share, only)


def _gain(rng: np.random.Generator, word: str, way: str, only: bool) -> float:
    """Gain over the ultimate gain that should earn the word."""
    if way == "limit-cycle":
        return float(rng.uniform(1.1, 2.0))
    if way == "wave":
        return float(rng.uniform(0.1, 0.5))
    if way in ("small-swing", "minutes") or word == "too-short":
        low, high = 0.2, 1.6
    elif word in DECAYS:
        low, high = DECAYS[word]
    else:
        return float(np.exp(rng.uniform(*np.log(GAINS[word]))))
    decay = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return 1.0 / (1.0 - np.log(decay) / DECAY_OF_GAIN[only])


def _draw(  # type: ignore[no-untyped-def]
    rng, word: str, way: str, period: float, growth: float, closing: float, dead: float
) -> Wish:
    span = TWO_HOURS if rng.random() < 0.4 else float(rng.uniform(1.0, 4.0)) * TWO_HOURS
    size = float(np.exp(rng.uniform(np.log(0.8), np.log(10.0))) * rng.choice([-1.0, 1.0]))
    wave = dead * float(rng.uniform(5.0, 18.0))
    onset = -float(rng.uniform(0.0, 0.5)) * period
    if word in DECAYS or way == "small-swing":
        seen = wave if way == "wave" else period
        span = min(max(span, float(rng.uniform(1.6, 4.0)) * seen), LONGEST)
    if word == "calming":
        # Not so long that it is over: what has died away in two hours is level.
        span = max(float(rng.uniform(1.5, 2.6)) * period, 0.7 * TWO_HOURS)
        size *= 1.6
    if way == "small-swing":
        size *= 0.15
    if growth > 0 and way != "limit-cycle":
        span = min(span, 5.0 / growth)
        onset = -0.3 * period
    if way == "far":
        onset = -float(rng.uniform(0.0, 1.5)) * min(closing, 4 * TWO_HOURS)
    if way == "settled":
        onset = -float(rng.uniform(2.0, 5.0)) * period
    if word == "disturbed":
        onset = span - float(rng.uniform(0.12, 1.0)) * TWO_HOURS
        size *= 1.3
    if word == "too-short":
        span = float(rng.uniform(0.5, 1.45)) * period
        span = float(rng.uniform(420.0, 1150.0)) if way == "minutes" else max(span, 1300.0)
    interval = min(float(rng.choice([5, 10, 20, 30, 60, 60, 120, 300])), span / 20.0)
    stopped = 0.0
    if word == "sensor-fault" and way != "impossible":
        stopped = max(float(rng.uniform(0.16, 0.8)) * span, 1300.0)
    noise = float(np.exp(rng.uniform(np.log(0.03), np.log(0.35))))
    step = float(rng.choice(STEPS_K))
    if stopped:
        step = min(step, max(0.1, 2.0 * noise))  # a stop among coarse steps shows nowhere
    return Wish(
        word=word, way=way, span=span, onset=onset, size=size, wave=wave, interval=interval,
        noise=noise, step=step,
        wobble=float(np.exp(rng.uniform(np.log(0.02), np.log(0.3)))),
        memory=dead * float(np.exp(rng.uniform(np.log(0.3), np.log(4.0)))),
        reach=abs(size) * float(rng.uniform(0.1, 0.8)) if way == "limit"
        else abs(size) * float(rng.uniform(0.5, 1.6)),
        stopped=stopped,
        lasting=dead * float(rng.uniform(0.5, 4.0)) if way == "pulse" else np.inf,
    )  # fmt: skip


def _run(rng, loops, drawn, growth, period):  # type: ignore[no-untyped-def]
    """Clock, noise-free and real temperature, output and setpoint, one column a trace."""
    dt = loops.dead_time / STEPS_PER_DEAD_TIME
    n, way = len(drawn), np.array([wish.way for wish in drawn])
    span, onset, size, wave, reach, wobble, memory, lasting = (
        np.array([getattr(wish, name) for wish in drawn])
        for name in ("span", "onset", "size", "wave", "reach", "wobble", "memory", "lasting")
    )
    held = way == "limit-cycle"
    free = (growth > 0) & ~held
    before = np.maximum(-onset, 0.0) + 15.0 * loops.dead_time
    before = np.where(held, 7.0 / np.maximum(growth, 1e-6) + 15.0 * loops.dead_time, before)
    before = np.where(free, 0.5 * period, np.minimum(before, 5 * LONGEST))
    onset = np.where(held, -0.95 * before, np.maximum(onset, -0.98 * before))
    steps = int(np.ceil(np.max((before + span) / dt))) + 2
    clock = np.arange(steps)[:, None] * dt - before
    acts = (clock >= onset) & (clock < onset + lasting)
    by_setpoint = (rng.random(n) < 0.3) & np.isin(way, ["released", "far", "small-swing"])
    by_setpoint &= onset < 0
    pushed = np.where(np.isin(way, ["ramp", "wave", "still", "limit"]), 0.0, size)
    pushed = np.where(held, 0.3 * size, pushed)
    load = np.where(by_setpoint, 0.0, pushed) * acts
    setpoint = np.where(by_setpoint, pushed, 0.0) * acts
    load = load + np.where(way == "limit", size, 0.0)
    load = load + np.where(way == "ramp", 0.3 * size / 3600.0, 0.0) * np.maximum(clock - onset, 0.0)
    load = load + np.where(way == "wave", size, 0.0) * np.sin(2 * np.pi * clock / wave)
    limits = (np.where(held | (way == "limit"), -reach, -1e9),
              np.where(held | (way == "limit"), reach, 1e9))  # fmt: skip
    expected, output = simulate(loops, steps, setpoint, load, limits)
    last = (clock > span - period) & (clock <= span)
    top = np.max(np.abs(expected - setpoint) * last, axis=0)
    scale = np.where(free, np.abs(size) / np.maximum(top, 1e-9), 1.0)
    keep = np.exp(-dt / memory)
    state, series = rng.standard_normal(n), np.empty((steps, n))
    for k in range(steps):
        state = keep * state + np.sqrt(1 - keep**2) * rng.standard_normal(n)
        series[k] = state
    start = np.abs(size) * np.exp(-np.maximum(growth, 0.0) * span)
    wobble = np.where(free, np.minimum(wobble, 0.2 * start), wobble)
    real, output = simulate(loops, steps, setpoint * scale, load * scale + wobble * series, limits)
    return clock, expected * scale, real, output, setpoint * scale


def _case(  # type: ignore[no-untyped-def]
    rng, wish, log_decay, period, clock, expected, real, output, setpoint
):
    times = np.arange(0.0, wish.span + 1.0, wish.interval)
    if rng.random() < 0.3:
        times = np.sort(times + rng.uniform(-0.4, 0.4, times.size) * wish.interval)
    keep = rng.random(times.size) > rng.choice([0.0, 0.0, 0.05])
    if rng.random() < 0.15:
        hole = rng.uniform(0.1, 0.7) * wish.span
        keep &= (times < hole) | (times > hole + rng.uniform(0.05, 0.15) * wish.span)
    keep[[0, -1]] = True
    times = times[keep]
    base = float(rng.uniform(55.0, 95.0))
    values = base + np.interp(times, clock, real) + rng.normal(0.0, wish.noise, times.size)
    at = np.clip(np.searchsorted(clock, times, side="right") - 1, 0, clock.size - 1)
    if wish.stopped:
        stop = int(np.searchsorted(times, wish.span - wish.stopped))
        values[stop:] = values[min(stop, times.size - 1)]
    values = np.round(values / wish.step) * wish.step
    live = times < wish.span - wish.stopped
    if rng.random() < 0.2:
        values = values + live * (rng.random(times.size) < 0.006) * rng.uniform(-30, 30, times.size)
    if wish.way == "impossible":
        odd = rng.random(times.size) < rng.uniform(0.35, 0.9)
        if np.count_nonzero(~odd) < 5:
            odd[::4] = False  # so few readings are refused, not judged
        values = np.where(odd, float(rng.choice([-90.0, 900.0, 3276.7])), values)
    truth = Truth(
        Happened(
            clock, expected - setpoint, real - setpoint, output,
            span=wish.span, noise=wish.noise, interval=wish.interval, step=wish.step,
            log_decay=log_decay, period=period, stopped=wish.stopped,
            reach=wish.reach if wish.way == "limit" else np.inf,
            pushed_at=wish.onset if wish.word == "disturbed" else np.inf,
            impossible=wish.way == "impossible", swings=wish.way not in ("ramp", "limit"),
            wave=wish.wave if wish.way == "wave" else 0.0, limit_cycle=wish.way == "limit-cycle",
        )
    )  # fmt: skip
    word, clear = truth.word()
    known = bool(rng.random() < 0.5)
    bounded = known and wish.way in ("limit", "limit-cycle")
    return Case(
        truth=word, clear=clear, judged=truth.judged, values=values,
        times=times + float(rng.uniform(0, 1e6)), setpoint=base + setpoint[at],
        rate=100.0 + 8.0 * np.interp(times, clock, output) if known else None,
        rate_limits=(100.0 - 8.0 * wish.reach, 100.0 + 8.0 * wish.reach) if bounded else None,
        slope=truth.slope, amplitude=truth.half, numbers=truth.numbers(),
    )  # fmt: skip
