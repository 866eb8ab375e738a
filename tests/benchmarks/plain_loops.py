"""A second, plainer set of simulated loops, drawn without a look at the first.

`loops` draws many border cases; here a trace is drawn as somebody would who has never seen the
judgement. The two share the plant's equations (poles, ultimate gain, time stepping) and what a word
means (`truth`), nothing else. Every number is invented for the bench.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from loops import STEPS_PER_DEAD_TIME, Case, Loops, dominant_poles, simulate, ultimate_gain
from truth import TWO_HOURS, Array, Happened, Truth

INTERVALS = (5.0, 10.0, 30.0, 60.0, 120.0, 300.0, 600.0)
STEPS_K = (0.1, 0.1 / 1.8, 0.2, 0.5, 0.5 / 1.8, 1.0, 1.0 / 1.8)
BEFORE_H = 12.0  # of noise before the trace

KINDS = {
    "quiet": 0.22,
    "step": 0.34,
    "slow": 0.10,
    "limit-cycle": 0.06,
    "swinging-load": 0.03,
    "knock": 0.08,
    "stuck": 0.06,
    "frozen": 0.05,
    "ramp": 0.03,
    "brief": 0.03,
}


@dataclass
class Drawn:
    """What was drawn for one trace (seconds, kelvin)."""

    kind: str
    span: float
    size: float
    onset: float
    noise: float
    load_sd: float
    interval: float
    step: float
    reach: float
    moved_at: float  # the setpoint, inside the trace; below zero when before
    wave: float  # period of a swinging load
    frozen: float


def plain_cases(seed: int, n: int) -> list[Case]:
    """Labelled traces of the second set.

    Parameters
    ----------
    seed : int
        Start of the random numbers.
    n : int
        Number of traces.
    """
    rng = np.random.default_rng([seed, 2])
    kinds = rng.choice(list(KINDS), n, p=list(KINDS.values()))
    share = np.array([_share(rng, str(kind)) for kind in kinds])
    loops = _loops(rng, share)
    growth, omega, _ = dominant_poles(loops)
    omega = np.where(np.isfinite(growth) & (omega > 0), omega, 1.0 / loops.dead_time)
    growth = np.where(np.isfinite(growth), growth, -4.0 / loops.dead_time)
    period = 2 * np.pi / omega
    drawn = [
        _draw(rng, str(kinds[j]), float(period[j]), float(growth[j]), float(loops.dead_time[j]))
        for j in range(n)
    ]
    clock, expected, real, output, setpoint = _run(rng, loops, drawn, growth, period)
    return [
        _case(rng, drawn[j], float(growth[j] * period[j]), float(period[j]),
              clock[:, j], expected[:, j], real[:, j], output[:, j], setpoint[:, j])
        for j in range(n)
    ]  # fmt: skip


def _share(rng: np.random.Generator, kind: str) -> float:
    """Gain over the ultimate gain."""
    low, high = {
        "quiet": (0.2, 0.6),
        "slow": (0.02, 0.15),
        "limit-cycle": (1.1, 2.0),
        "ramp": (0.05, 0.4),
        "brief": (0.1, 1.2),
    }.get(kind, (0.25, 0.55))
    if kind == "step":
        low, high = [(0.15, 0.5), (0.5, 0.85), (0.85, 1.08), (1.08, 1.5)][rng.integers(4)]
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _loops(rng: np.random.Generator, share: Array) -> Loops:
    n = share.size
    transit = rng.uniform(2400.0, 9000.0, n)
    dead = transit * rng.uniform(0.12, 0.22, n)
    lag = transit * rng.uniform(0.25, 0.45, n)
    second = np.where(rng.random(n) < 0.5, 0.0, lag * rng.uniform(0.15, 0.5, n))
    only = rng.random(n) < 0.4
    p = np.where(only, 0.0, 1.0)
    i = np.where(only, 1.0, 1.0 / (lag * rng.uniform(0.8, 1.6, n)))
    gain = share * ultimate_gain(dead, lag, second, p, i)
    return Loops(dead, lag, second, gain * p, gain * i, share, only)


def _draw(rng: np.random.Generator, kind: str, period: float, growth: float, dead: float) -> Drawn:
    span = float(np.exp(rng.uniform(np.log(1800.0), np.log(43200.0))))
    size = float(rng.uniform(1.0, 8.0) * rng.choice([-1.0, 1.0]))
    moved = -1.0
    onset = -float(rng.uniform(0.0, 0.6)) * period
    if kind == "brief":
        span = float(rng.uniform(400.0, 1150.0))
    if kind == "step" and rng.random() < 0.5:
        span = float(np.clip(rng.uniform(0.7, 6.0) * period, 1800.0, 43200.0))
    if kind == "step" and growth > 0:
        span = min(span, 5.0 / growth)
        onset = -0.3 * period
    if kind == "slow":
        onset = -float(rng.uniform(0.0, 3.0)) * 3600.0
    if kind in ("step", "quiet") and growth <= 0 and rng.random() < 0.2 and span > 3600.0:
        moved = float(rng.uniform(0.05, 0.5)) * span
        onset = moved
    if kind == "knock":
        span = max(span, 5400.0)
        onset = span - float(rng.uniform(0.15, 0.9)) * min(span, TWO_HOURS)
        size *= 1.5
    interval = min(float(rng.choice(INTERVALS)), span / 15.0)
    frozen = 0.0
    if kind == "frozen":
        span = max(span, 3600.0)
        frozen = max(float(rng.uniform(0.2, 0.8)) * span, 1500.0)
    return Drawn(
        kind=kind, span=span, size=size, onset=onset, interval=interval, moved_at=moved,
        noise=float(np.exp(rng.uniform(np.log(0.03), np.log(0.3)))),
        load_sd=float(np.exp(rng.uniform(np.log(0.02), np.log(0.25)))),
        step=float(rng.choice(STEPS_K)),
        reach=abs(size) * float(rng.uniform(0.1, 0.75)) if kind == "stuck"
        else abs(size) * float(rng.uniform(0.4, 1.2)),
        wave=dead * float(rng.uniform(5.0, 20.0)), frozen=frozen,
    )  # fmt: skip


def _run(rng, loops, drawn, growth, period):  # type: ignore[no-untyped-def]
    """Clock, noise-free and noisy temperature, output and setpoint, one column a trace."""
    n = len(drawn)
    dt = loops.dead_time / STEPS_PER_DEAD_TIME
    kinds = np.array([d.kind for d in drawn])
    span = np.array([d.span for d in drawn])
    onset = np.array([d.onset for d in drawn])
    size = np.array([d.size for d in drawn])
    held = kinds == "limit-cycle"
    free = (growth > 0) & ~held
    before = np.where(free, 0.4 * period, np.maximum(-onset, 0.0) + 20.0 * loops.dead_time)
    before = np.where(held, 8.0 / np.maximum(growth, 1e-6) + 20.0 * loops.dead_time, before)
    before = np.minimum(before, BEFORE_H * 3600.0)
    before = np.maximum(before, np.where(onset < 0, -onset + 1.0, 0.0))
    steps = int(np.ceil(np.max((before + span) / dt))) + 2
    clock = np.arange(steps)[:, None] * dt - before
    after = clock >= np.where(held, -0.9 * before, onset)
    by_setpoint = (rng.random(n) < 0.4) | np.array([d.moved_at > 0 for d in drawn])
    stepped = np.isin(kinds, ["step", "slow", "limit-cycle", "brief", "frozen"])
    stepped |= (kinds == "quiet") & np.array([d.moved_at > 0 for d in drawn])
    setpoint = np.where(stepped & by_setpoint, size, 0.0) * after
    load = np.where(stepped & ~by_setpoint | (kinds == "knock"), size, 0.0) * after
    load = load + np.where(kinds == "stuck", size, 0.0)
    load = load + np.where(kinds == "ramp", 0.25 * size / 3600.0, 0.0) * np.maximum(clock, 0.0)
    wave = np.array([d.wave for d in drawn])
    load = load + np.where(kinds == "swinging-load", size, 0.0) * np.sin(2 * np.pi * clock / wave)
    load = np.where(held, 0.3 * load, load)
    setpoint = np.where(held, 0.0, setpoint)
    load = np.where(held & by_setpoint, 0.3 * size * after, load)
    bounded = held | (kinds == "stuck")
    reach = np.where(bounded, np.array([d.reach for d in drawn]), 1e9)
    limits = (-reach, reach)
    expected, output = simulate(loops, steps, setpoint, load, limits)
    inside = (clock > span - period) & (clock <= span)
    top = np.max(np.abs(expected - setpoint) * inside, axis=0)
    scale = np.where(free, np.abs(size) / np.maximum(top, 1e-9), 1.0)
    keep = np.exp(-dt / (loops.dead_time * rng.uniform(0.5, 3.0, n)))
    state, wobble = rng.standard_normal(n), np.empty((steps, n))
    for k in range(steps):
        state = keep * state + np.sqrt(1 - keep**2) * rng.standard_normal(n)
        wobble[k] = state
    load_sd = np.array([d.load_sd for d in drawn])
    small = np.abs(size) * np.exp(-np.maximum(growth, 0.0) * span)
    load_sd = np.where(free, np.minimum(load_sd, 0.2 * small), load_sd)
    noisy = load * scale + wobble * load_sd
    real, output = simulate(loops, steps, setpoint * scale, noisy, limits)
    return clock, expected * scale, real, output, setpoint * scale


def _case(  # type: ignore[no-untyped-def]
    rng, d, log_decay, period, clock, expected, real, output, setpoint
):
    times = np.arange(0.0, d.span, d.interval)
    keep = rng.random(times.size) > rng.choice([0.0, 0.03, 0.1])
    if rng.random() < 0.2:
        hole = rng.uniform(0.1, 0.75) * d.span
        keep &= ~((times > hole) & (times < hole + rng.uniform(0.05, 0.15) * d.span))
    keep[[0, -1]] = True
    times = times[keep]
    base = float(rng.uniform(50.0, 100.0))
    values = base + np.interp(times, clock, real) + rng.normal(0.0, d.noise, times.size)
    # The setpoint is known exactly, so it is read off in steps, not between them.
    at = np.clip(np.searchsorted(clock, times, side="right") - 1, 0, clock.size - 1)
    target = base + setpoint[at]
    if d.frozen:
        stop = int(np.searchsorted(times, d.span - d.frozen))
        values[stop:] = values[min(stop, times.size - 1)]
    values = np.round(values / d.step) * d.step
    if rng.random() < 0.25:
        hits = (rng.random(times.size) < 0.01) & (times < d.span - d.frozen)
        values = values + hits * rng.choice([-1.0, 1.0], times.size) * rng.uniform(8.0, 40.0)
    known = bool(rng.random() < 0.5)
    held = d.kind in ("stuck", "limit-cycle")
    truth = Truth(
        Happened(
            clock, expected - setpoint, real - setpoint, output,
            span=d.span, start=max(d.moved_at, 0.0), noise=d.noise, interval=d.interval,
            step=d.step, log_decay=log_decay, period=period, stopped=d.frozen,
            reach=d.reach if held else np.inf,
            pushed_at=d.onset if d.kind == "knock" else np.inf,
            swings=d.kind not in ("ramp", "stuck"),
            wave=d.wave if d.kind == "swinging-load" else 0.0, limit_cycle=d.kind == "limit-cycle",
        )
    )  # fmt: skip
    word, clear = truth.word()
    rate = np.interp(times, clock, output)
    return Case(
        truth=word, clear=clear, judged=truth.judged, times=times + float(rng.uniform(0, 1e6)),
        values=values, setpoint=target,
        rate=100.0 + 5.0 * rate if known else None,
        rate_limits=(100.0 - 5.0 * d.reach, 100.0 + 5.0 * d.reach) if known and held else None,
        slope=truth.slope, amplitude=truth.half, numbers=truth.numbers(),
    )  # fmt: skip
