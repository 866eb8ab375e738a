"""Simulated control loops whose true behaviour is known.

A loop is a plant of one or two lags and a dead time, all in proportion to the transit time of
the grain, under a proportional-integral or an integral-only controller. What it does is known
from outside the judgement: from the roots of its characteristic equation (found by Newton's
method on the equation with its exponential, no rational approximation), from the noise-free
response, and from what was done to it (a load step, an output at its limit, a frozen sensor);
`truth` says which word that earns.
Every number here is invented for the bench.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from truth import OFFSET_LIMIT, TWO_HOURS, Array, Happened, Truth

STEPS_PER_DEAD_TIME = 20
WARM_UP = 60.0  # dead times before the window, for the noise to reach its steady state


@dataclass
class Loops:
    """Many loops at once, one entry per loop (times in seconds)."""

    dead_time: Array
    lag: Array
    second_lag: Array
    proportional: Array  # gain
    integral: Array  # gain per second
    relative_gain: Array  # over the ultimate gain
    integral_only: NDArray[np.bool_]

    def __len__(self) -> int:
        return int(self.dead_time.size)


@dataclass
class Case:
    """One sampled trace and what is true of it."""

    truth: str
    clear: bool
    judged: float  # seconds that a judgement rests on
    times: Array
    values: Array
    setpoint: Array
    rate: Array | None
    rate_limits: tuple[float, float] | None
    slope: float | None  # K/h of the noise-free trend in the last two hours
    amplitude: float  # K, half swing at the end
    numbers: Array  # what the word follows from, as `truth` says


def draw_loops(
    rng: np.random.Generator,
    n: int,
    relative_gain: Array,
    integral_only: NDArray[np.bool_] | None = None,
    transit: Array | None = None,
) -> Loops:
    """Random plants with a controller at a given share of its ultimate gain."""
    transit = np.exp(rng.uniform(np.log(1800.0), np.log(9000.0), n)) if transit is None else transit
    dead_time = transit / 6.0 * rng.uniform(0.75, 1.35, n)
    lag = transit / 3.0 * rng.uniform(0.7, 1.4, n)
    second = np.where(rng.random(n) < 0.5, 0.0, lag * rng.uniform(0.1, 0.6, n))
    only = rng.random(n) < 0.35 if integral_only is None else integral_only
    reset = lag * rng.uniform(0.7, 2.0, n)
    shape_p = np.where(only, 0.0, 1.0)
    shape_i = np.where(only, 1.0, 1.0 / reset)
    ultimate = ultimate_gain(dead_time, lag, second, shape_p, shape_i)
    gain = relative_gain * ultimate
    return Loops(dead_time, lag, second, gain * shape_p, gain * shape_i, relative_gain, only)


def ultimate_gain(dead_time: Array, lag: Array, second: Array, p: Array, i: Array) -> Array:
    """Gain at which a loop of this shape just keeps swinging (first crossing of -180 degrees)."""
    omega = np.geomspace(0.02, 6.0, 4000)[None, :] / dead_time[:, None]
    s = 1j * omega
    controller_phase = np.angle(p[:, None] * s + i[:, None]) - np.pi / 2
    phase = (
        controller_phase
        - np.arctan(omega * lag[:, None])
        - np.arctan(omega * second[:, None])
        - omega * dead_time[:, None]
    )
    first = np.argmax(phase <= -np.pi, axis=1)
    at = np.take_along_axis(omega, first[:, None], axis=1)[:, 0]
    size = np.abs(p * 1j * at + i) / at
    size /= np.hypot(1.0, at * lag) * np.hypot(1.0, at * second)
    return 1.0 / size


def dominant_poles(loops: Loops) -> tuple[Array, Array, Array]:
    """Rightmost roots: growth rate and angular speed of the swinging pair, rate of the real one.

    The characteristic equation is s (lag s + 1)(second s + 1) + (p s + i) exp(-dead_time s) = 0.
    """
    theta = loops.dead_time[:, None]
    real = np.linspace(-3.5, 1.2, 9)
    imag = np.concatenate([[0.0], np.linspace(0.08, 4.0, 14)])
    start = (real[:, None] + 1j * imag[None, :]).reshape(1, -1)
    slow = -np.geomspace(1e-4, 0.3, 14)[None, :] + 0j
    s = np.concatenate([start, slow], axis=1) / theta
    t1, t2 = loops.lag[:, None], loops.second_lag[:, None]
    p, i = loops.proportional[:, None], loops.integral[:, None]
    for _ in range(60):
        delay = np.exp(np.clip(-theta * s.real, -50, 50) - 1j * theta * s.imag)
        a = s * (t1 * s + 1) * (t2 * s + 1)
        da = (t1 * s + 1) * (t2 * s + 1) + s * t1 * (t2 * s + 1) + s * (t1 * s + 1) * t2
        f = a + (p * s + i) * delay
        df = da + (p - theta * (p * s + i)) * delay
        step = f / np.where(np.abs(df) < 1e-30, 1e-30, df)
        limit = 0.5 / theta
        size = np.abs(step)
        s = s - step * np.minimum(1.0, limit / np.maximum(size, 1e-30))
    good = size * theta < 1e-7
    swings = good & (np.abs(s.imag) * theta > 1e-3)
    growth = np.where(swings, s.real, -np.inf)
    best = np.argmax(growth, axis=1)
    row = np.arange(len(loops))
    still = good & (np.abs(s.imag) * theta < 1e-6)
    slow_rate = np.max(np.where(still, s.real, -np.inf), axis=1)
    return growth[row, best], np.abs(s.imag[row, best]), slow_rate


def simulate(
    loops: Loops,
    steps: int,
    setpoint: Array,
    load: Array,
    limits: tuple[Array, Array],
    start_output: Array | None = None,
) -> tuple[Array, Array]:
    """Temperature and output at each step of a twentieth of the dead time (rows are steps)."""
    n = len(loops)
    dt = loops.dead_time / STEPS_PER_DEAD_TIME
    keep1 = np.exp(-dt / loops.lag)
    keep2 = np.where(loops.second_lag > 0, np.exp(-dt / np.maximum(loops.second_lag, 1e-9)), 0.0)
    first = np.zeros(n)
    second = np.zeros(n)
    total = np.zeros(n) if start_output is None else start_output.copy()
    low, high = limits
    delay = np.tile(np.clip(total, low, high), (STEPS_PER_DEAD_TIME, 1))
    if start_output is not None:
        first[:] = delay[0]
        second[:] = delay[0]
    temperature = np.empty((steps, n))
    output = np.empty((steps, n))
    for k in range(steps):
        temperature[k] = second
        error = setpoint[k] - second
        wanted = total + loops.proportional * error
        given = np.clip(wanted, low, high)
        pushing = ((wanted > high) & (error > 0)) | ((wanted < low) & (error < 0))
        total = np.where(pushing, total, total + loops.integral * error * dt)
        output[k] = given
        slot = k % STEPS_PER_DEAD_TIME
        entering = delay[slot] + load[k]
        delay[slot] = given
        first = keep1 * first + (1.0 - keep1) * entering
        second = keep2 * second + (1.0 - keep2) * first
    return temperature, output


MIX = {
    "quiet": 0.18,  # noise only
    "released": 0.26,  # any gain, let go from a departure before the window
    "settling": 0.12,  # the same below the limit of stability, while the swing still shows
    "sluggish": 0.10,  # very low gain, far from the setpoint
    "ramp": 0.06,  # a load that keeps moving
    "knock": 0.09,  # a load step or pulse inside the window, well damped
    "stuck": 0.07,  # output at its limit
    "frozen": 0.06,  # sensor stops
    "limit-cycle": 0.04,  # unstable, held by the limits of its output
    "forced": 0.04,  # a well damped loop under a swinging load
}


def cases(seed: int, n: int) -> list[Case]:
    """Labelled traces.

    Parameters
    ----------
    seed : int
        Start of the random numbers; the bench tests on others than it tunes on.
    n : int
        Number of traces.
    """
    rng = np.random.default_rng(seed)
    kinds = rng.choice(list(MIX), n, p=np.array(list(MIX.values())) / sum(MIX.values()))
    gain = np.exp(rng.uniform(np.log(0.05), np.log(2.0), n))
    gain = np.where(kinds == "quiet", np.exp(rng.uniform(np.log(0.1), np.log(0.8), n)), gain)
    gain = np.where(kinds == "sluggish", np.exp(rng.uniform(np.log(0.03), np.log(0.2), n)), gain)
    gain = np.where(kinds == "ramp", np.exp(rng.uniform(np.log(0.04), np.log(0.4), n)), gain)
    gain = np.where(np.isin(kinds, ["knock", "stuck", "forced"]), rng.uniform(0.2, 0.55, n), gain)
    gain = np.where(kinds == "limit-cycle", rng.uniform(1.15, 2.0, n), gain)
    # Of the released ones, as many near the limit of stability as far below it.
    near = (kinds == "released") & (rng.random(n) < 0.6)
    gain = np.where(near, rng.uniform(0.75, 1.6, n), gain)
    gain = np.where(kinds == "settling", rng.uniform(0.4, 0.95, n), gain)
    loops = draw_loops(rng, n, gain)
    growth, omega, slow = dominant_poles(loops)
    return _Batch(rng, kinds, loops, growth, omega, slow).cases()


class _Batch:
    """The drawing, simulating and labelling of one set of traces."""

    def __init__(self, rng, kinds, loops, growth, omega, slow):  # type: ignore[no-untyped-def]
        self.rng, self.kinds, self.loops = rng, kinds, loops
        self.growth, self.omega, self.slow = growth, omega, slow
        self.n = len(loops)
        # A loop of very low gain has no swinging pair worth the name.
        found = np.isfinite(growth) & (omega > 0)
        self.omega = np.where(found, omega, 1.0 / loops.dead_time)
        self.period = 2 * np.pi / self.omega
        self.growth = np.where(found, growth, -4.0 / loops.dead_time)
        self.log_decay = self.growth * self.period
        self.dt = loops.dead_time / STEPS_PER_DEAD_TIME
        self._draw()
        self._drive()

    def _draw(self) -> None:
        rng, n, kinds = self.rng, self.n, self.kinds
        span = np.exp(rng.uniform(np.log(1200.0), np.log(43200.0), n))
        span = np.where(rng.random(n) < 0.65, rng.uniform(5400.0, 21600.0, n), span)
        self.unstable = self.growth > 0
        held = kinds == "limit-cycle"
        # Mostly somebody waits for a cycle and a half; the rest asks too soon.
        patient = (kinds == "released") & (rng.random(n) < 0.6)
        span = np.where(patient, np.maximum(span, 1.7 * self.period), span)
        # An unlimited swing may grow by exp(5) at most in the window; nobody lets it go further.
        most = np.where(self.unstable & ~held, 5.0 / np.maximum(self.growth, 1e-9), np.inf)
        span = np.clip(np.minimum(span, most), 900.0, 43200.0)
        few = np.clip(rng.uniform(1.3, 4.5, n) * self.period, 1800.0, 43200.0)
        span = np.where(kinds == "settling", few, span)
        span = np.where(kinds == "knock", np.maximum(span, 5400.0), span)
        short = rng.random(n) < 0.03
        self.span = np.where(short, rng.uniform(400.0, 1150.0, n), span)
        self.noise = np.exp(rng.uniform(np.log(0.03), np.log(0.45), n))
        self.load_sd = np.exp(rng.uniform(np.log(0.02), np.log(0.4), n))
        self.load_time = self.loops.dead_time * rng.uniform(0.3, 3.0, n)
        self.size = np.exp(rng.uniform(np.log(0.3), np.log(12.0), n)) * rng.choice([-1, 1], n)

    def _drive(self) -> None:
        rng, n, kinds, dt = self.rng, self.n, self.kinds, self.dt
        held = kinds == "limit-cycle"
        free = self.unstable & ~held
        warm = np.where(free, 0.6 * self.period, WARM_UP * self.loops.dead_time)
        warm = np.where(held, warm + 6.0 / np.maximum(self.growth, 1e-6), warm)
        warm = np.minimum(warm, 400.0 * self.loops.dead_time)
        self.warm = warm
        self.steps = int(np.ceil(np.max((warm + self.span) / dt))) + 2
        clock = np.arange(self.steps)[:, None] * dt[None, :] - warm[None, :]
        load = np.zeros((self.steps, n))
        setpoint = np.zeros((self.steps, n))
        low, high = np.full(n, -1e9), np.full(n, 1e9)
        onset = np.where(free, -0.5 * self.period, -rng.uniform(0.0, 0.35, n) * self.period)
        slowly = np.isin(kinds, ["sluggish"]) | ((kinds == "released") & (self.log_decay < -6))
        closing = 1.0 / np.maximum(-self.slow, 1e-6)
        onset = np.where(slowly, -rng.uniform(0.0, 1.5, n) * np.minimum(closing, 4e4), onset)
        onset = np.maximum(onset, -0.95 * warm)
        onset = np.where(held, -0.9 * warm, onset)
        self.onset = onset
        released = np.isin(kinds, ["released", "settling", "sluggish", "limit-cycle", "frozen"])
        by_setpoint = rng.random(n) < 0.35
        stepped = clock >= onset[None, :]
        load += np.where(released & ~by_setpoint, self.size, 0.0) * stepped
        setpoint += np.where(released & by_setpoint, self.size, 0.0) * stepped
        ramp = np.where(kinds == "ramp", self.size * 0.3 / 3600.0, 0.0)
        load += ramp * np.maximum(clock - onset, 0.0)
        self.knock = self.span * rng.uniform(0.15, 0.92, n)
        last = np.where(rng.random(n) < 0.5, np.inf, rng.uniform(0.5, 3.0, n) * self.loops.lag)
        knocked = (clock >= self.knock) & (clock < self.knock + last)
        load += np.where(kinds == "knock", self.size * 1.5, 0.0) * knocked
        forced = kinds == "forced"
        self.forced_period = self.loops.dead_time * np.exp(rng.uniform(np.log(4), np.log(25), n))
        load += np.where(forced, self.size * np.sin(2 * np.pi * clock / self.forced_period), 0.0)
        stuck = kinds == "stuck"
        load += np.where(stuck, self.size, 0.0)
        reach = np.abs(self.size) * rng.uniform(0.05, 0.7, n)
        reach = np.where(held, np.abs(self.size) * rng.uniform(0.6, 2.0, n), reach)
        bounded = stuck | held
        self.low, self.high = np.where(bounded, -reach, low), np.where(bounded, reach, high)
        load = np.where(held, load * 0.3, load)
        self.clock, self.load, self.setpoint = clock, load, setpoint

    def _noise_load(self) -> Array:
        keep = np.exp(-self.dt / self.load_time)
        scatter = self.rng.standard_normal((self.steps, self.n)) * np.sqrt(1 - keep**2)
        state = self.rng.standard_normal(self.n)
        series = np.empty((self.steps, self.n))
        for k in range(self.steps):
            state = keep * state + scatter[k]
            series[k] = state
        return series * self.load_sd

    def _calmer(self, wobble: Array) -> Array:
        """Noise of a well damped loop is kept below half a limit: more would be a swing itself."""
        most = np.where(np.exp(self.log_decay) < 0.62, 0.5 * OFFSET_LIMIT, np.inf)
        return np.minimum(1.0, most / np.maximum(np.std(wobble, axis=0), 1e-9))

    def cases(self) -> list[Case]:
        limits = (self.low, self.high)
        expected, output = simulate(self.loops, self.steps, self.setpoint, self.load, limits)
        # A free unstable loop is scaled so that it ends at the size that was drawn.
        free = self.unstable & (self.kinds != "limit-cycle")
        scale = np.ones(self.n)
        for j in np.flatnonzero(free):
            inside = (self.clock[:, j] > self.span[j] - self.period[j]) & (
                self.clock[:, j] <= self.span[j]
            )
            top = np.max(np.abs(expected[inside, j] - self.setpoint[inside, j]))
            scale[j] = abs(self.size[j]) / max(top, 1e-9)
            start = abs(self.size[j]) * np.exp(-self.growth[j] * self.span[j])
            self.load_sd[j] = min(self.load_sd[j], 0.2 * start + 1e-3)
        self.load, self.setpoint = self.load * scale, self.setpoint * scale
        expected, output = expected * scale, output * scale
        noisy = self._noise_load()
        noisy = np.where(free & (self.clock < -0.5 * self.period), 0.0, noisy)
        full, moved = simulate(self.loops, self.steps, self.setpoint, self.load + noisy, limits)
        shrink = self._calmer((full - expected)[-self.steps // 3 :])
        real = expected + (full - expected) * shrink
        output = output + (moved - output) * shrink
        return [self._case(j, expected[:, j], real[:, j], output[:, j]) for j in range(self.n)]

    def _case(self, j: int, expected, real, output) -> Case:  # type: ignore[no-untyped-def]
        rng = self.rng
        kind = str(self.kinds[j])
        clock = self.clock[:, j]
        span = float(self.span[j])
        interval = min(float(rng.choice([5, 10, 15, 30, 60, 120, 300, 600])), span / 24)
        if self.log_decay[j] > np.log(0.3) and kind not in ("quiet", "ramp", "stuck", "knock"):
            interval = min(interval, float(self.period[j]) / 6)
        if kind == "forced":
            interval = min(interval, float(self.forced_period[j]) / 6)
        times = np.arange(0.0, span, interval)
        times = times + rng.uniform(-0.3, 0.3, times.size) * interval * rng.choice([0, 1])
        keep = rng.random(times.size) > rng.choice([0.0, 0.0, 0.05, 0.15])
        if rng.random() < 0.15:
            hole = rng.uniform(0.1, 0.8) * span
            keep &= ~((times > hole) & (times < hole + 0.1 * span))
        keep[[0, -1]] = True
        times = np.sort(times[keep])
        base = float(rng.uniform(55.0, 100.0))
        target = base + np.interp(times, clock, self.setpoint[:, j])
        target = np.where(np.abs(target - target[-1]) > 1e-9, target, target[-1])
        values = base + np.interp(times, clock, real) + rng.normal(0, self.noise[j], times.size)
        rate = np.interp(times, clock, output)
        with_rate = bool(rng.random() < 0.5)
        frozen_for = 0.0
        step = float(rng.choice([0.01, 0.1 / 1.8, 0.1, 0.1, 0.1, 0.5 / 1.8, 0.5, 1 / 1.8, 1.0]))
        if kind == "frozen":
            step = min(step, 0.1, 2.0 * float(self.noise[j]))
        if kind == "frozen" and span > 2400:
            frozen_for = max(float(rng.uniform(0.15, 0.9)) * span, 1500.0, 12 * interval)
            frozen_for = min(frozen_for, 0.95 * span)
            at = np.searchsorted(times, span - frozen_for)
            values[at:] = values[min(at, times.size - 1)]
        values = np.round(values / step) * step
        if rng.random() < 0.25:
            hits = rng.random(times.size) < 0.008
            if kind == "frozen":
                hits &= times < span - frozen_for
            values = np.where(hits, values + rng.choice([-1, 1], times.size) * 15.0, values)
        bounded = bool(self.high[j] < 1e8)
        setpoint = self.setpoint[:, j]
        truth = Truth(
            Happened(
                clock, expected - setpoint, real - setpoint, output,
                span=span, noise=float(self.noise[j]), interval=interval, step=step,
                log_decay=float(self.log_decay[j]), period=float(self.period[j]),
                stopped=frozen_for, reach=float(self.high[j]) if bounded else np.inf,
                pushed_at=float(self.knock[j]) if kind == "knock" else np.inf,
                swings=kind not in ("ramp", "stuck"), limit_cycle=kind == "limit-cycle",
                wave=float(self.forced_period[j]) if kind == "forced" else 0.0,
            )
        )  # fmt: skip
        verdict, clear = truth.word()
        limits = (float(self.low[j]), float(self.high[j])) if bounded else None
        return Case(
            truth=verdict,
            clear=clear,
            judged=truth.judged,
            times=times + float(rng.uniform(0, 1e6)),
            values=values,
            setpoint=target,
            rate=100.0 + 10.0 * rate if with_rate else None,
            rate_limits=(100 + 10 * limits[0], 100 + 10 * limits[1])
            if with_rate and limits
            else None,
            slope=self._slope_beside(j, expected - setpoint, truth),
            amplitude=truth.half,
            numbers=truth.numbers(),
        )

    def _slope_beside(self, j: int, error: Array, truth: Truth) -> float:
        """Slope of the last two hours beside the swing [K/h]."""
        clock = self.clock[:, j]
        recent = (clock >= max(0.0, self.span[j] - TWO_HOURS)) & (clock <= self.span[j])
        time = clock[recent] - np.mean(clock[recent])
        flat = (error - self._swing(j, error, truth))[recent]
        return float(np.dot(time, flat) / np.dot(time, time)) * 3600.0

    def _swing(self, j: int, error: Array, truth: Truth) -> Array:
        """The swinging part of the noise-free error, by a fit with the known pole."""
        kind, clock, none = str(self.kinds[j]), self.clock[:, j], np.zeros_like(error)
        least = 0.3 if kind == "sluggish" else 0.25 if truth.cycles < 1.5 else 0.03
        if truth.log_decay < np.log(least) or kind in ("knock", "stuck", "quiet", "ramp"):
            return none
        after = (clock >= 0.0) & (clock <= self.span[j])
        after &= clock > self.onset[j] + self.loops.dead_time[j]
        if np.count_nonzero(after) < 8:
            return none
        slow = float(self.slow[j]) if np.isfinite(self.slow[j]) else -1e-9
        t = clock[after] / truth.period
        columns = [
            np.ones_like(t),
            np.exp(np.clip(slow * clock[after], -60, 0)),
            np.exp(truth.log_decay * (t - t[-1])) * np.cos(2 * np.pi * t),
            np.exp(truth.log_decay * (t - t[-1])) * np.sin(2 * np.pi * t),
        ]
        letters = np.linalg.lstsq(np.column_stack(columns), error[after], rcond=None)[0]
        swing = np.zeros_like(error)
        swing[after] = letters[2] * columns[2] + letters[3] * columns[3]
        return swing
