"""The outline of a trace and the network that reads it, against SciPy's correlation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal
from scipy.special import log_softmax

from outfeed.arrays import FloatArray
from outfeed.steering.clean import clean_trace
from outfeed.steering.evidence import gather
from outfeed.steering.measure import Measured, measure
from outfeed.steering.network import Layer, fitted_network, score
from outfeed.steering.outline import Outline, outline
from outfeed.steering.output import OutputTrace, output_seen

HOUR = 3600.0
TIMES = np.arange(0.0, 4 * HOUR, 60.0)
LIMIT = 0.5


def swinging(size: float = 2.0) -> FloatArray:
    noise = np.random.default_rng(4).normal(size=TIMES.size)
    return np.asarray(size * (np.sin(2 * np.pi * TIMES / HOUR) + 0.1 * noise))


def measured(error: FloatArray, output: FloatArray | None = None) -> Measured:
    clean = clean_trace(TIMES, 80.0 + error, 80.0)
    told = None if output is None else output_seen(OutputTrace(TIMES, output), clean)
    return measure(clean, told)


def drawn(error: FloatArray, output: FloatArray | None = None, limit: float = LIMIT) -> Outline:
    return outline(measured(error, output), limit)


def same(one: Outline, other: Outline) -> bool:
    return np.allclose(one.whole, other.whole, atol=1e-3) and np.allclose(
        one.close, other.close, atol=1e-3
    )


def test_the_outline_is_that_of_limits_not_of_degrees() -> None:
    assert same(drawn(swinging(2.0)), drawn(swinging(4.0), limit=2 * LIMIT))
    assert not same(drawn(swinging(2.0)), drawn(swinging(4.0)))


def test_an_output_tells_the_same_on_any_scale_and_acting_either_way() -> None:
    error = swinging()
    summed = np.cumsum(error)
    one = drawn(error, 100.0 + 0.1 * summed)
    assert same(one, drawn(error, 30.0 - 0.02 * summed))
    assert np.ptp(one.whole[2]) > 1.0
    assert not same(one, drawn(error))


@pytest.mark.parametrize("output", [50.0, 0.0])
def test_an_output_that_stands_tells_nothing(output: float) -> None:
    assert same(drawn(swinging(), np.full(TIMES.size, output)), drawn(swinging()))


def test_an_output_told_for_another_day_tells_nothing() -> None:
    clean = clean_trace(TIMES, 80.0 + swinging(), 80.0)
    elsewhere = OutputTrace(TIMES + 100 * HOUR, 100.0 + np.sin(TIMES))
    told = outline(measure(clean, output_seen(elsewhere, clean)), LIMIT)
    assert same(told, drawn(swinging()))


def test_the_close_look_is_the_last_two_hours() -> None:
    late = np.where(TIMES > 2 * HOUR, TIMES - 2 * HOUR, 0.0) / HOUR
    look = drawn(late)
    assert np.sinh(look.close[0, -1]) * LIMIT == pytest.approx(late[-1], abs=0.05)
    assert np.all(np.diff(np.sinh(look.close[0])) > 0)
    assert np.ptp(look.whole[0, :60]) < 1e-9


def rows(looks: FloatArray, layers: tuple[Layer, ...]) -> FloatArray:
    """Every filter by SciPy, each second place kept."""
    for layer in layers:
        width = layer.weights.shape[2]
        beside = np.pad(looks, ((0, 0), (width // 2, width // 2)))
        found = [
            sum(
                signal.correlate(channel, filtering, mode="valid")
                for channel, filtering in zip(beside, one, strict=True)
            )
            + constant
            for one, constant in zip(layer.weights, layer.constants, strict=True)
        ]
        looks = np.maximum(np.array(found)[:, ::2], 0.0)
    return looks.ravel()


def test_the_score_is_that_of_the_same_filters_by_scipy() -> None:
    seen = measured(swinging(), 100.0 + np.cumsum(swinging()))
    evidence, look, network = gather(seen, 0.25, LIMIT), outline(seen, LIMIT), fitted_network()
    told = (np.array([evidence[name] for name in network.names]) - network.mean) / network.spread
    expected = []
    for one in (look, look.mirrored()):
        found = np.concatenate(
            [rows(one.whole, network.whole), rows(one.close, network.close), np.clip(told, -5, 5)]
        )
        for layer in network.dense[:-1]:
            found = np.maximum(layer.weights @ found + layer.constants, 0.0)
        last = network.dense[-1].weights @ found + network.dense[-1].constants
        expected.append(log_softmax(last))
    mean = log_softmax(np.mean(expected, axis=0))
    assert score(look, evidence) == pytest.approx(mean, abs=1e-9)
    assert expected[0] != pytest.approx(expected[1], abs=1e-6)


def test_a_trace_and_its_mirror_score_the_same() -> None:
    seen = measured(swinging() + 0.3)
    evidence, look = gather(seen, 0.25, LIMIT), outline(seen, LIMIT)
    assert score(look, evidence) == pytest.approx(score(look.mirrored(), evidence), abs=1e-12)
