"""Bench of the trend judgement and the gain advice on simulated loops of known truth.

    python tests/benchmarks/bench_trend.py --traces 1200 --loops 60

Prints the confusion matrix, the share right on clear cases and on all, the calibration of the
stated probabilities, the coverage of the slope interval, each published single method on the same
traces, and how repeated gain advice ends: first for `loops`, then for the plainer second set of
`plain_loops` and for `even_loops`, where rare words are as frequent as common ones.
Random numbers start at 9000; `lessons` says from which starts, of all three sets, was learned.

What is true of a trace, and when a case is *clear*, stands in `truth`. More than half of the traces
are border cases, on which nobody can be right much more often than four times in five: when the
word is wrong there, it is mostly the second likeliest that is true.
"""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from lessons import BATCH, SETS
from loops import STEPS_PER_DEAD_TIME, Case, Loops, dominant_poles, draw_loops, simulate

from outfeed.steering.clean import clean_trace
from outfeed.steering.gain import GainStep, advise_gain
from outfeed.steering.measure import measure, running_mean
from outfeed.steering.noise import bin_trace
from outfeed.steering.published import (
    autocorrelation_regularity,
    integrated_error,
    mann_kendall,
    steady_state_ratio,
)
from outfeed.steering.slope import theil_sen
from outfeed.steering.trend import (
    VERDICTS,
    OutputTrace,
    Trend,
    crossings_per_two_hours,
    judge_trend,
)

FIRST_START = 9000
SWINGS = ("growing", "cycling", "calming")
STILL = ("level", "drifting", "stuck")
WITH_SLOPE = ("level", "drifting", "calming", "cycling", "growing", "stuck")


def judged(case: Case) -> Trend:
    """The library's judgement of one simulated trace."""
    output = None
    if case.rate is not None:
        low, high = case.rate_limits or (None, None)
        output = OutputTrace(case.times, case.rate, low, high)
    return judge_trend(case.times, case.values, case.setpoint, output=output)


def single_methods(case: Case) -> dict[str, float]:
    """The statistic of each published method alone."""
    clean = clean_trace(case.times, case.values, case.setpoint)
    times, error = clean.times, clean.error
    if times.size < 12:
        return dict.fromkeys(SINGLE, 0.0)
    whole = bin_trace(times, error)
    recent = times >= times[-1] - 7200.0
    window = bin_trace(times[recent], error[recent], 60)
    half = integrated_error(whole.times, running_mean(whole.values - whole.values.mean()))
    ratios = steady_state_ratio(window.values)
    area = float(half.areas.sum() / max(half.intervals.sum(), 1.0)) if half.areas.size else 0.0
    return {
        "integrated error (1995)": area * min(half.areas.size, 10),
        "crossing regularity (1997)": min(half.regularity, 20.0) * (half.areas.size > 2),
        "autocorrelation regularity (2003)": min(autocorrelation_regularity(whole.values)[0], 20.0),
        "steady-state ratio (1995)": float(np.mean(ratios[ratios.size // 2 :])),
        "Mann-Kendall, corrected (1998)": abs(mann_kendall(window.values).z),
        "Theil-Sen slope (1968)": abs(theil_sen(window.times, window.values)) * 3600.0,
        "crossings in two hours": crossings_per_two_hours(window, measure(clean).noise),
    }


SINGLE = (
    "integrated error (1995)",
    "crossing regularity (1997)",
    "autocorrelation regularity (2003)",
    "steady-state ratio (1995)",
    "Mann-Kendall, corrected (1998)",
    "Theil-Sen slope (1968)",
    "crossings in two hours",
)


def batch(
    start: int, size: int = BATCH, name: str = "loops"
) -> list[tuple[Case, Trend, dict[str, float]]]:
    """Judge one batch of one of the sets."""
    return [(case, judged(case), single_methods(case)) for case in SETS[name](start, size)]


def area_under_curve(score: np.ndarray, positive: np.ndarray) -> float:
    """Chance that a positive scores above a negative (either direction)."""
    order = np.argsort(np.argsort(score, kind="stable"), kind="stable")
    n, p = score.size, int(positive.sum())
    value = (order[positive].sum() - p * (p - 1) / 2) / max(p * (n - p), 1)
    return max(value, 1.0 - value)


def alone(score: np.ndarray, truth: np.ndarray) -> float:
    """Share right when a statistic alone names the verdict: likeliest word in each of 24 bins.

    The bins are filled from every other trace and judged on the rest, and the other way round.
    """
    edges = np.quantile(score, np.linspace(0, 1, 25)[1:-1])
    place = np.searchsorted(edges, score)
    right = 0
    for part in (0, 1):
        learn = np.arange(truth.size) % 2 == part
        for k in range(25):
            inside = (place == k) & learn
            word = np.argmax(np.bincount(truth[inside], minlength=9)) if inside.any() else 0
            right += int(np.sum(truth[(place == k) & ~learn] == word))
    return right / truth.size


def show_verdicts(rows: list[tuple[Case, Trend, dict[str, float]]]) -> None:
    """Confusion matrix and shares."""
    truth = np.array([VERDICTS.index(case.truth) for case, _, _ in rows])
    told = np.array([VERDICTS.index(trend.verdict) for _, trend, _ in rows])
    clear = np.array([case.clear for case, _, _ in rows])
    table = np.zeros((9, 9), dtype=int)
    np.add.at(table, (truth, told), 1)
    print("truth \\ told  " + " ".join(f"{word[:8]:>9}" for word in VERDICTS))
    for word, line in zip(VERDICTS, table, strict=True):
        print(f"{word:13}  " + " ".join(f"{number:9d}" for number in line))
    right = truth == told
    print(f"right on all {len(rows)}: {right.mean():.3f}")
    print(f"right on {clear.sum()} clear: {right[clear].mean():.3f}")
    print(f"right on the {np.sum(~clear)} near a border: {right[~clear].mean():.3f}")
    second = np.array([_is_second(case.truth, trend) for case, trend, _ in rows])
    print(
        f"of {np.sum(~right)} wrong words the next likeliest is true: {second[~right].mean():.3f}"
    )
    level = told == 0
    print(f"of {level.sum()} called level wrong: {(truth[level] != 0).mean():.3f}")
    strong = np.array([c.truth in ("growing", "cycling") and c.amplitude > 1.0 for c, _, _ in rows])
    print(f"growing or cycling with a half swing over 1 K called level: {np.sum(strong & level)}")
    grown = (truth == 4) & level
    print(f"growing of any size called level: {grown.sum()}, clear ones: {np.sum(grown & clear)}")


def _is_second(truth: str, trend: Trend) -> bool:
    """Whether the truth is the likeliest word beside the one that was told."""
    rest = {word: p for word, p in trend.probabilities.items() if word != trend.verdict}
    return max(rest, key=rest.__getitem__) == truth


def show_single(rows: list[tuple[Case, Trend, dict[str, float]]]) -> None:
    """Each single method on the same traces."""
    truth = np.array([VERDICTS.index(case.truth) for case, _, _ in rows])
    swings = np.array([case.truth in SWINGS for case, _, _ in rows])
    level = truth == 0
    ours = np.array([sum(t.probabilities[w] for w in SWINGS) for _, t, _ in rows])
    settled = np.array([t.probabilities["level"] for _, t, _ in rows])
    told = np.array([VERDICTS.index(trend.verdict) for _, trend, _ in rows])
    print(f"{'method':36} {'swings':>7} {'settled':>8} {'verdict':>8}")
    print(
        f"{'this judgement':36} {area_under_curve(ours, swings):7.3f} "
        f"{area_under_curve(settled, level):8.3f} {(told == truth).mean():8.3f}"
    )
    for name in SINGLE:
        score = np.array([single[name] for _, _, single in rows])
        print(
            f"{name:36} {area_under_curve(score, swings):7.3f} "
            f"{area_under_curve(score, level):8.3f} {alone(score, truth):8.3f}"
        )


def show_confidence(rows: list[tuple[Case, Trend, dict[str, float]]]) -> None:
    """Calibration of probabilities and coverage of the slope interval."""
    stated = np.array([max(t.probabilities.values()) for _, t, _ in rows])
    best = [max(t.probabilities, key=t.probabilities.__getitem__) for _, t, _ in rows]
    right = np.array([word == c.truth for word, (c, _, _) in zip(best, rows, strict=True)])
    print("stated probability of the likeliest word, and how often it was right")
    for low, high in ((0.0, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 0.97), (0.97, 1.01)):
        inside = (stated >= low) & (stated < high)
        if inside.any():
            print(
                f"  {low:.2f}-{min(high, 1):.2f}: stated {stated[inside].mean():.3f} "
                f"right {right[inside].mean():.3f} of {inside.sum()}"
            )
    print(f"  over all: stated {stated.mean():.3f} right {right.mean():.3f}")
    # Beside a swing only `loops` states its slope; the other sets state that of swing and all.
    for words, which in ((WITH_SLOPE, "all"), (STILL, "those that do not swing")):
        covered = [t.slope_low <= c.slope <= t.slope_high for c, t, _ in rows if c.truth in words]
        print(f"slope interval stated at 0.95 covers {np.mean(covered):.3f} of {which}", end="")
        print(f", {len(covered)} traces")
    still = [(t, t.slope_low <= c.slope <= t.slope_high) for c, t, _ in rows if c.truth in STILL]
    for low, high in ((0.0, 3.0), (3.0, 10.0), (10.0, 20.0), (20.0, 41.0)):
        inside = [held for t, held in still if low <= t.effective_samples < high]
        if inside:
            print(f"  worth {low:.0f} to {high:.0f}: {np.mean(inside):.3f} of {len(inside)}")
    width = np.median([0.5 * (t.slope_high - t.slope_low) for t, _ in still])
    print(f"  median half-width {width:.3f} K/h")


def show_speed() -> None:
    """Time of one judgement of a two-hour trace of 1,440 readings."""
    times = np.arange(1440) * 5.0
    values = 80.0 + np.sin(times / 900.0) + np.random.default_rng(1).normal(0, 0.2, 1440)
    judge_trend(times, values, 80.0)
    taken = []
    for _ in range(40):
        start = time.process_time()
        judge_trend(times, values, 80.0)
        taken.append(time.process_time() - start)
    print(
        f"two hours every five seconds: {1e3 * np.median(taken):.1f} ms of processor time "
        f"(median of {len(taken)}, least {1e3 * min(taken):.1f})"
    )


RIGHT_SHARE = 0.42
MOST_LOOKS = 12
DAY_S = 96 * 3600.0


def steer(loops: Loops, rng: np.random.Generator, steps: int = 3) -> tuple[np.ndarray, int]:
    """Share of the ultimate gain after some pieces of advice, and how many went the wrong way."""
    n = len(loops)
    share = loops.relative_gain.copy()
    history: list[list[GainStep]] = [[] for _ in range(n)]
    wrong = 0
    for _ in range(steps):
        factor = share / loops.relative_gain
        now = Loops(
            loops.dead_time, loops.lag, loops.second_lag, loops.proportional * factor,
            loops.integral * factor, share, loops.integral_only,
        )  # fmt: skip
        traces = run_day(now, rng)
        for j in range(n):
            step = advised(now, j, traces[j], history[j])
            wrong += int((step > 1.0 and share[j] > 0.65) or (step < 1.0 and share[j] < 0.25))
            share[j] *= step
    return share, wrong


def run_day(loops: Loops, rng: np.random.Generator) -> list[tuple[np.ndarray, np.ndarray]]:
    """Times and temperatures after a load step, output limited, noise on load and reading."""
    n = len(loops)
    dt = loops.dead_time / STEPS_PER_DEAD_TIME
    count = int(np.ceil(64 * STEPS_PER_DEAD_TIME))
    size = rng.uniform(1.5, 5.0, n) * rng.choice([-1.0, 1.0], n)
    load = np.tile(size, (count, 1))
    keep = np.exp(-dt / loops.lag)
    state = rng.standard_normal(n)
    for k in range(count):
        state = keep * state + np.sqrt(1 - keep**2) * rng.standard_normal(n)
        load[k] += 0.12 * state
    reach = 1.5 * np.abs(size) + 4.0
    temperature, _ = simulate(loops, count, np.zeros((count, n)), load, (-reach, reach))
    temperature = temperature + rng.normal(0.0, 0.15, temperature.shape)
    return [(np.arange(count) * dt[j], 80.0 + np.round(temperature[:, j], 1)) for j in range(n)]


def advised(
    loops: Loops, j: int, trace: tuple[np.ndarray, np.ndarray], history: list[GainStep]
) -> float:
    """The multiplier once the advice makes up its mind."""
    times, values = trace
    kind = "integral-only" if loops.integral_only[j] else "pi"
    transit = float(loops.dead_time[j]) * 6.0
    at, looks = max(7200.0, 0.6 * transit), []
    for _ in range(MOST_LOOKS):
        seen = (times <= at) & (times >= at - 43_200.0)
        looks.append(judge_trend(times[seen], values[seen], 80.0))
        local = [GainStep(-1.0, step.multiplier, step.amplitude) for step in history]
        advice = advise_gain(looks, 1.0, controller=kind, transit=transit, history=local)
        if advice.reason not in ("wait", "confirm", "disturbed"):
            break
        at += advice.look_again_minutes * 60.0
        if at > times[-1]:
            break
    if advice.multiplier != 1.0:
        history.append(GainStep(0.0, advice.multiplier, looks[-1].amplitude))
    return advice.multiplier


def show_gain(n: int) -> None:
    """Where repeated advice ends."""
    for only in (False, True):
        for name, low, high in (("too high", 2.0, 4.5), ("too low", 0.05, 0.5)):
            rng = np.random.default_rng(FIRST_START + 7 * only + int(10 * low))
            start = RIGHT_SHARE * np.exp(rng.uniform(np.log(low), np.log(high), n))
            loops = draw_loops(rng, n, start, np.full(n, only))
            share, wrong = steer(loops, rng)
            factor = share / loops.relative_gain
            final = Loops(
                loops.dead_time, loops.lag, loops.second_lag, loops.proportional * factor,
                loops.integral * factor, share, loops.integral_only,
            )  # fmt: skip
            growth, omega, _ = dominant_poles(final)
            decay = np.where(np.isfinite(growth), np.exp(2 * np.pi * growth / omega), 0.0)
            damped = (decay < 0.3) & (share > RIGHT_SHARE / 3.0)
            kind = "integral-only" if only else "PI"
            print(
                f"{kind:14} {low:g}-{high:g} times the right gain ({name}): "
                f"{damped.mean():.2f} end well damped, decay ratio below 0.3 in "
                f"{(decay < 0.3).mean():.2f}, wrong way {wrong}, share {np.median(share):.2f}"
            )


def run(traces: int, swept: int, workers: int = 2, start: int = FIRST_START) -> None:
    """Judge traces and print every table.

    Parameters
    ----------
    traces : int
        Simulated traces.
    swept : int
        Loops in each row of the gain table; none leaves it out.
    workers : int
        Processes.
    start : int
        First start of the random numbers; one more for every 200 traces.
    """
    with ProcessPoolExecutor(workers) as pool:
        sizes = [min(BATCH, traces - done) for done in range(0, traces, BATCH)]
        for name in SETS:
            starts = range(start, start + len(sizes))
            parts = pool.map(batch, starts, sizes, [name] * len(sizes))
            rows = [row for part in parts for row in part]
            print(f"-- set of traces: {name}")
            show_verdicts(rows)
            print()
            show_single(rows)
            print()
            show_confidence(rows)
            print()
    show_speed()
    if swept:
        print()
        show_gain(swept)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--traces", type=int, default=1200)
    parser.add_argument("--loops", type=int, default=60)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--start", type=int, default=FIRST_START)
    asked = parser.parse_args()
    run(asked.traces, asked.loops, asked.workers, asked.start)


if __name__ == "__main__":
    main()
