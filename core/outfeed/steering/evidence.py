"""From measured numbers to evidence without a unit.

Temperatures are divided by the limits in force, times by two hours, signs are dropped: the same
evidence comes from degrees of either scale, from a mirrored trace and from any dryer. Each entry
is either a logarithm of a ratio or a probability.
"""

from __future__ import annotations

import math

from outfeed.steering.measure import TWO_HOURS_S, Measured, running_mean
from outfeed.steering.noise import lag_one_correlation
from outfeed.steering.oscillation import Swing
from outfeed.steering.resonance import Resonance
from outfeed.steering.shapes import gained_likelihood
from outfeed.steering.slope import Slope

SHORTEST_S = 1200.0
RUN_S = 1800.0  # a run of one value of a length that makes one ask
FEWEST_ALIKE = 4  # equal neighbours below which a run is not looked at
SMALLEST_CHANCE = 0.01  # floor under a probability before its logarithm
LARGEST_LOG = 5.0


def log_ratio(value: float, limit: float, floor: float = 0.02) -> float:
    """Logarithm of a size over a limit, floored so that nothing is minus infinity.

    Parameters
    ----------
    value : float
        The size, in the unit of `limit`.
    limit : float
        What it is held against, above zero.
    floor : float
        Least ratio [-].

    Returns
    -------
    float
        The logarithm [-], five at most.
    """
    return math.log(min(max(value / limit, floor), math.exp(LARGEST_LOG)))


def share_beyond(value: float, error: float, limit: float) -> float:
    """Chance that the true value lies beyond a limit on either side, under a normal error.

    Parameters
    ----------
    value : float
        Estimate, in any one unit.
    error : float
        Its standard error, same unit.
    limit : float
        Limit on either side of zero, same unit.

    Returns
    -------
    float
        The chance, 0 to 1 [-].
    """
    scale = max(error, 1e-9) * math.sqrt(2.0)
    inside = 0.5 * (math.erf((limit - value) / scale) + math.erf((limit + value) / scale))
    return min(max(1.0 - inside, 0.0), 1.0)


def _logistic(x: float) -> float:
    return 1.0 / (1.0 + math.exp(-min(max(x, -40.0), 40.0)))


def _log(chance: float) -> float:
    return math.log(max(chance, SMALLEST_CHANCE))


def recent_amplitude(swing: Swing) -> float:
    """Largest half swing in the last two hours.

    Parameters
    ----------
    swing : Swing
        The fitted swing.

    Returns
    -------
    float
        Half swing [K].
    """
    turns = min(TWO_HOURS_S / swing.period, swing.cycles)
    earlier = swing.amplitude_end * math.exp(min(-swing.log_decay * turns, 20.0))
    return max(swing.amplitude_end, min(earlier, swing.amplitude_start))


def gather(measured: Measured, slope_limit: float, offset_limit: float) -> dict[str, float]:
    """All evidence on one trace.

    Parameters
    ----------
    measured : Measured
        The numbers.
    slope_limit : float
        Largest slope that counts as level [K/h].
    offset_limit : float
        Largest offset and half swing that count as level [K].

    Returns
    -------
    dict
        Name to number [-].
    """
    found = _about_time(measured, offset_limit)
    found |= _about_swing("whole", measured.swing, offset_limit)
    found |= _about_swing("tail", measured.last_swing, offset_limit)
    found |= _about_turns(measured, offset_limit)
    found |= _about_output(measured)
    found |= _about_line("line", measured.slope, slope_limit, offset_limit)
    found |= _about_line("plain", measured.plain, slope_limit, offset_limit)
    found |= _about_shape(measured, offset_limit)
    found |= _about_knock(measured, offset_limit)
    found |= _about_published(measured)
    found |= _about_run(measured)
    found |= _about_shapes(measured, offset_limit)
    resonance, output = measured.resonance, measured.output.resonance if measured.output else None
    found |= _about_resonance("resonance", resonance, measured.span)
    found |= _about_resonance("output-resonance", output, measured.span)
    size = resonance.strength if resonance else 0.0
    found["resonance-size"] = log_ratio(size, offset_limit, 0.005)
    return found | _about_words(found)


def _about_time(m: Measured, limit: float) -> dict[str, float]:
    return {
        "span": math.log(m.span / TWO_HOURS_S),
        "readings": math.log(m.readings),
        "noise": log_ratio(m.noise, limit),
        "rounding": log_ratio(m.rounding, limit, 0.05),
        "output-known": float(m.output is not None),
        "output-at-limit": m.output.at_limit if m.output else 0.0,
    }


def _about_turns(m: Measured, limit: float) -> dict[str, float]:
    t = m.turns
    return {
        "turns": math.log1p(t.count),
        "turn-last": log_ratio(t.last, limit, 0.05),
        "turn-largest": log_ratio(t.largest, limit, 0.05),
        "turn-decay": min(max(t.log_decay, -4.0), 3.0),
        "turn-decay-error": min(t.log_decay_se, 3.0),
        "turn-sure": min(max(t.log_decay / t.log_decay_se, -6.0), 6.0),
        "turn-unevenness": t.unevenness,
        "turn-place": t.place,
    }


def _about_output(m: Measured) -> dict[str, float]:
    swing = m.output.swing if m.output else None
    if m.output is None or swing is None:
        names = ("explained", "strength", "cycles", "decay", "decay-error", "grows", "dies",
                 "period", "one-way", "recent")  # fmt: skip
        return {f"output-{name}": 0.0 for name in names}
    apart = math.log(swing.period / m.swing.period) if m.swing else 0.0
    return {
        "output-explained": swing.explained,
        "output-strength": math.log1p(max(swing.strength, 0.0)),
        "output-cycles": log_ratio(swing.cycles, 1.5),
        "output-decay": max(swing.log_decay, -4.0),
        "output-decay-error": min(swing.log_decay_se, 3.0),
        "output-grows": swing.chance_growing,
        "output-dies": swing.chance_dying,
        "output-period": min(abs(apart), 2.0),
        "output-one-way": m.output.one_way,
        "output-recent": m.output.recent,
    }


_NO_SWING = {
    "end": -3.0, "start": -3.0, "recent": -3.0, "explained": 0.0, "strength": 0.0, "cycles": -1.0,
    "decay": 0.0, "decay-error": 1.0, "grows": 0.0, "dies": 0.0, "clear": -2.0, "seen": -2.0,
}  # fmt: skip


def _about_swing(name: str, swing: Swing | None, limit: float) -> dict[str, float]:
    if swing is None:
        return {f"{name}-{key}": value for key, value in _NO_SWING.items()}
    recent = recent_amplitude(swing)
    top = max(swing.amplitude_start, swing.amplitude_end)
    scatter = max(swing.residual_sd, 0.02 * limit)
    lasting = math.log(max(top / scatter, 1.0)) / max(abs(swing.log_decay), 1e-3)
    return {
        f"{name}-end": log_ratio(swing.amplitude_end, limit, 0.05),
        f"{name}-start": log_ratio(swing.amplitude_start, limit, 0.05),
        f"{name}-recent": log_ratio(recent, limit, 0.05),
        f"{name}-explained": swing.explained,
        f"{name}-strength": math.log1p(max(swing.strength, 0.0)),
        f"{name}-cycles": log_ratio(swing.cycles, 1.5),
        f"{name}-decay": max(swing.log_decay, -4.0),
        f"{name}-decay-error": min(swing.log_decay_se, 3.0),
        f"{name}-grows": swing.chance_growing,
        f"{name}-dies": swing.chance_dying,
        f"{name}-clear": log_ratio(recent, scatter, 0.1),
        f"{name}-seen": log_ratio(min(swing.cycles, lasting), 1.5, 0.1),
    }


def _about_line(
    name: str, line: Slope, slope_limit: float, offset_limit: float
) -> dict[str, float]:
    slope, error = abs(line.value) * 3600.0 / slope_limit, line.standard_error * 3600.0
    error = error / slope_limit
    offset, offset_error = abs(line.level) / offset_limit, line.level_error / offset_limit
    steep = share_beyond(slope, math.hypot(error, 0.03), 1.0)
    away = share_beyond(offset, math.hypot(offset_error, 0.03), 1.0)
    return {
        f"{name}-slope": log_ratio(slope, 1.0),
        f"{name}-error": log_ratio(error, 1.0),
        f"{name}-sure": log_ratio(slope, error, 0.1),
        f"{name}-steep": steep,
        f"{name}-offset": log_ratio(offset, 1.0),
        f"{name}-offset-error": log_ratio(offset_error, 1.0),
        f"{name}-away": away,
        f"{name}-out": 1.0 - (1.0 - steep) * (1.0 - away),
    }


def _about_shape(m: Measured, limit: float) -> dict[str, float]:
    smooth = m.smooth
    end, start = abs(float(smooth[-3:].mean())), abs(float(smooth[:3].mean()))
    return {
        "range": log_ratio(float(smooth.max() - smooth.min()), limit, 0.05),
        "scatter": log_ratio(float(smooth.std()), limit),
        "end": log_ratio(end, limit),
        "start": log_ratio(start, limit),
        "closing": log_ratio(end, max(start, 0.05 * limit), 0.02),
        "one-sided": abs(float(((smooth > 0) * 2.0 - 1.0).mean())),
        **_about_thirds(m, limit),
    }


def _about_thirds(m: Measured, limit: float) -> dict[str, float]:
    """Half range of each third of the trace, by which a swing grows or dies in any shape."""
    smooth = running_mean(m.whole.values)
    cut = smooth.size // 3
    parts = (smooth[:cut], smooth[cut:-cut], smooth[-cut:]) if cut > 1 else (smooth,) * 3
    first, middle, last = (0.5 * float(part.max() - part.min()) for part in parts)
    return {
        "first-third": log_ratio(first, limit, 0.05),
        "middle-third": log_ratio(middle, limit, 0.05),
        "last-third": log_ratio(last, limit, 0.05),
        "thirds": log_ratio(last, max(first, 0.05 * limit), 0.05),
    }


def _about_knock(m: Measured, limit: float) -> dict[str, float]:
    k = m.knock
    if k is None:
        names = ("strength", "contrast", "before", "peak", "since", "share", "left", "peak-share")
        return {f"knock-{name}": 0.0 for name in names}
    return {
        "knock-strength": min(k.strength, 3.0),
        "knock-contrast": min(max(k.contrast, -1.0), 4.0),
        "knock-before": log_ratio(k.before, limit),
        "knock-peak": log_ratio(k.peak, limit, 0.05),
        "knock-since": log_ratio(k.since, TWO_HOURS_S, 0.02),
        "knock-share": k.share,
        "knock-left": k.left,
        "knock-peak-share": k.peak_share,
    }


def _about_run(m: Measured) -> dict[str, float]:
    run = m.run
    if run is None or run.stop - run.start < FEWEST_ALIKE:
        names = ("long", "readings", "share", "ratio", "chance", "restless", "width", "rest", "way")
        return {f"run-{name}": 0.0 for name in names} | {"run-at-end": 0.0, "run-rule": 0.0}
    return {
        "run-long": log_ratio(run.seconds, RUN_S, 0.05),
        "run-readings": math.log(run.stop - run.start),
        "run-share": run.share,
        "run-ratio": math.log(max(run.ratio, 1.0)),
        "run-chance": math.log1p(-run.log_chance),
        "run-restless": log_ratio(run.restless, 0.5, 0.05),
        "run-width": math.log1p(run.width),
        "run-rest": math.log1p(run.rest),
        "run-way": math.log1p(run.on_its_way),
        "run-at-end": float(run.at_end),
        "run-rule": float(not run.chance),
    }


def _about_shapes(m: Measured, limit: float) -> dict[str, float]:
    s = m.shapes
    if s is None:
        names = (
            "line", "back", "push", "back-push", "swing-back", "swing-push", "size", "left",
            "level", "peak", "push-left", "before", "since",
        )  # fmt: skip
        return {f"shape-{name}": 0.0 for name in names} | {"moved": float(m.moved)}
    residuals = m.swing.residuals if m.swing else m.whole.values - m.whole.values.mean()
    rho = max(lag_one_correlation(residuals, 6), 0.0)
    worth = residuals.size * (1.0 - rho) / (1.0 + rho)
    line, back, push = (gained_likelihood(x, worth) for x in (s.line, s.back, s.push))
    swing = line + (m.swing.strength if m.swing else 0.0)
    return {
        "shape-line": math.asinh(line),
        "shape-back": math.asinh(back),
        "shape-push": math.asinh(push),
        "shape-back-push": math.asinh(push - back),
        "shape-swing-back": math.asinh(swing - back),
        "shape-swing-push": math.asinh(swing - push),
        "shape-size": log_ratio(abs(s.back_size), limit, 0.05),
        "shape-left": log_ratio(abs(s.back_left), limit, 0.05),
        "shape-level": log_ratio(abs(s.back_level), limit, 0.05),
        "shape-peak": log_ratio(abs(s.push_peak), limit, 0.05),
        "shape-push-left": log_ratio(abs(s.push_left), limit, 0.05),
        "shape-before": log_ratio(abs(s.push_level), limit, 0.05),
        "shape-since": s.push_since,
        "moved": float(m.moved),
    }


def _about_resonance(name: str, r: Resonance | None, span: float) -> dict[str, float]:
    if r is None:
        names = ("period", "hours", "period-error", "decay", "decay-error", "lasting", "dying",
                 "long", "white", "best-period", "best-decay")  # fmt: skip
        return {f"{name}-{key}": 0.0 for key in names}
    return {
        f"{name}-period": r.period,
        f"{name}-hours": r.period + math.log(span / TWO_HOURS_S),
        f"{name}-period-error": r.period_sd,
        f"{name}-decay": r.decay,
        f"{name}-decay-error": r.decay_sd,
        f"{name}-lasting": r.lasting,
        f"{name}-dying": r.dying,
        f"{name}-long": r.long,
        f"{name}-white": r.white,
        f"{name}-best-period": r.best_period,
        f"{name}-best-decay": r.best_decay,
    }


def _about_published(m: Measured) -> dict[str, float]:
    return {
        "regularity": log_ratio(m.regularity, 1.0, 0.2),
        "interval-regularity": log_ratio(m.interval_regularity, 1.0, 0.2),
        "half-swings": math.log1p(m.half_swings),
        "autocorrelation": log_ratio(m.autocorrelation, 1.0, 0.05),
        "steady-ratio": log_ratio(m.steady_ratio, 1.0, 0.1),
        "rank-deviate": log_ratio(m.rank_deviate, 2.0, 0.05),
    }


def _about_words(f: dict[str, float]) -> dict[str, float]:
    """Each word by plain rules, as the logarithm of a rough chance."""
    words: dict[str, float] = {}
    for name in ("whole", "tail"):
        large = _logistic(5.0 * f[f"{name}-recent"])
        large_end = _logistic(5.0 * f[f"{name}-end"])
        real = _logistic(2.0 * (f[f"{name}-strength"] - 2.5)) * _logistic(
            8.0 * (f[f"{name}-explained"] - 0.4)
        )
        enough = _logistic(12.0 * f[f"{name}-cycles"])
        grows, dies = f[f"{name}-grows"], f[f"{name}-dies"]
        words |= {
            f"{name}-word-growing": _log(large_end * real * enough * grows),
            f"{name}-word-cycling": _log(large * real * enough * max(1.0 - grows - dies, 0.0)),
            f"{name}-word-calming": _log(large * real * enough * dies),
            f"{name}-word-short": _log(large * real * (1.0 - enough)),
            f"{name}-word-still": _log(1.0 - large * real),
        }
    still = math.exp(min(words["whole-word-still"], words["tail-word-still"]))
    steep, away = f["plain-steep"], f["plain-away"]
    knocked = _logistic(4.0 * (f["knock-contrast"] - 1.0)) * _logistic(4.0 * f["knock-peak"] - 1.0)
    vague = _logistic(6.0 * f["plain-error"])
    return words | {
        "word-drifting": _log(f["plain-out"] * still),
        "word-level": _log((1.0 - f["line-out"]) * still * (1.0 - knocked)),
        "word-stuck": _log(away * (1.0 - steep) * still),
        "word-disturbed": _log(knocked),
        "word-vague": _log(vague),
    }
