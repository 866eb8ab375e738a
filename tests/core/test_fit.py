"""The fit to a dryer's own runs: invented dryers whose factors are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from column_dryers import NOMINAL_RATE, example, tower
from fit_runs import (
    DIFFUSION,
    PAGE,
    THOMPSON,
    exactly,
    model_of,
    nominal_rate,
    noted,
    true_runs,
    with_sensors,
)
from fit_study import covered, dryers, rms, study
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import solve_column
from outfeed.dryer.description import Conditions, Feed
from outfeed.dryer.estimate import NORMAL_90
from outfeed.dryer.fit import (
    Errors,
    Fitted,
    Prior,
    Run,
    column_model,
    fit_dryer,
    predict,
    prior_of,
)
from outfeed.errors import Inconsistent, NotConverged, NotPublished, OutOfRange

DRYER = with_sensors(tower(layers=4, cooling=3))
FACTOR, AIRFLOW = 1.2, 0.9
TRUTH = model_of(DIFFUSION, FACTOR, AIRFLOW)
NOMINAL = nominal_rate(DRYER, TRUTH)
DAY = Run(10.0, 0.7, 0.22, 10.0, NOMINAL, 0.155)
FITTED = Fitted(
    "corn-yellow-dent", DIFFUSION, "emc.henderson-modified.d245-4",
    1.2, 0.06, 0.95, 0.05, -0.3, 0.0012, 10,
)  # fmt: skip


def sheets(seed, count, **observed):
    """Noted runs of the invented dryer."""
    draw = np.random.default_rng(seed)
    return noted(draw, true_runs(draw, DRYER, TRUTH, count, NOMINAL), **observed)


def spread_to(value, fitted_log, spread):
    """How many spreads a factor lies from its truth."""
    return abs(fitted_log - np.log(value)) / spread


@pytest.mark.parametrize("kind", sorted(NOMINAL_RATE))
def test_runs_without_errors_give_back_the_factors_of_every_kind_of_dryer(kind):
    dryer = with_sensors(example(kind))
    truth = model_of(DIFFUSION, 1.2, 0.9)
    made = true_runs(np.random.default_rng(3), dryer, truth, 5, 0.6 * NOMINAL_RATE[kind])
    runs = exactly(made, sensors=True, exhaust=True)
    sure = Errors(0.0002, 0.0002, 0.002, 0.05, 0.01)
    fit = fit_dryer(dryer, runs, errors=sure, prior=Prior(1.5, 0.4))
    assert fit.fitted.rate_factor == pytest.approx(1.2, rel=0.02)
    assert fit.fitted.airflow_factor == pytest.approx(0.9, rel=0.02)
    assert fit.suspicious == ()


def test_one_run_moves_the_prior_and_leaves_most_of_its_doubt():
    fit = fit_dryer(DRYER, sheets(1, 1, sensors=False))
    assert 0.4 * 0.3 < fit.fitted.rate_spread < 0.4
    assert abs(np.log(fit.fitted.rate_factor / 1.5)) > 0.02
    assert fit.fitted.runs == 1


def test_more_runs_narrow_the_band_and_the_truth_stays_near():
    runs = sheets(2, 12)
    spreads = []
    for count in (1, 4, 12):
        fitted = fit_dryer(DRYER, runs[:count]).fitted
        spreads.append(fitted.rate_spread)
        assert spread_to(FACTOR, np.log(fitted.rate_factor), fitted.rate_spread) < 3.0
    assert spreads[0] > spreads[1] > spreads[2]


def test_outlet_moisture_alone_does_not_tell_the_airflow():
    alone = fit_dryer(DRYER, sheets(4, 10, sensors=False))
    rate, airflow = alone.identified
    assert rate.identified
    assert not airflow.identified
    assert "temperature" in airflow.why
    assert alone.fitted.correlation < -0.5


def test_column_temperatures_tell_the_airflow():
    fit = fit_dryer(DRYER, sheets(4, 10, sensors=True))
    assert all(item.identified for item in fit.identified)
    assert fit.airflow_factor.low < AIRFLOW < fit.airflow_factor.high


def test_the_heat_used_narrows_the_airflow():
    without, with_heat = (
        fit_dryer(DRYER, sheets(5, 10, sensors=False, heat=heat)).fitted for heat in (False, True)
    )
    assert with_heat.airflow_spread < without.airflow_spread


def test_the_order_of_the_runs_does_not_matter():
    runs = sheets(6, 6)
    there, back = (fit_dryer(DRYER, order).fitted for order in (runs, runs[::-1]))
    assert there.rate_factor == pytest.approx(back.rate_factor, rel=1e-6)
    assert there.rate_spread == pytest.approx(back.rate_spread, rel=1e-6)


@pytest.mark.parametrize("off", [-0.03, 0.03])
def test_a_wrongly_noted_outlet_moisture_is_found_and_does_little_harm(off):
    runs = sheets(8, 8)
    clean = fit_dryer(DRYER, runs)
    runs[3] = replace(runs[3], outlet_moisture_wb=runs[3].outlet_moisture_wb + off)
    fit = fit_dryer(DRYER, runs)
    assert fit.suspicious == (3,)
    assert ("wetter" if off > 0 else "drier") in fit.runs[3].reason
    assert fit.runs[3].moisture.left_out == pytest.approx(off, abs=0.012)
    assert fit.runs[3].weight < 0.3
    moved = np.log(fit.fitted.rate_factor / clean.fitted.rate_factor)
    assert abs(moved) < clean.fitted.rate_spread


def test_a_wrongly_noted_rate_is_found_and_measured():
    runs = sheets(9, 12)
    runs[5] = replace(runs[5], dry_matter_rate=runs[5].dry_matter_rate / 1.7)
    fit = fit_dryer(DRYER, runs)
    assert 5 in fit.suspicious
    assert fit.runs[5].rate_off == pytest.approx(1.7, rel=0.35)


def test_a_run_whose_column_does_not_settle_is_named_and_left_out(monkeypatch):
    runs = sheets(10, 4)
    clean = fit_dryer(DRYER, runs[:3])

    def restless(dryer, conditions, feed, rate, **rest):
        profile = solve_column(dryer, conditions, feed, rate, **rest)
        bad = np.abs(np.asarray(feed.moisture_wb)[0] - runs[3].inlet_moisture_wb) < 1e-9
        return replace(profile, converged=profile.converged & ~bad)

    monkeypatch.setattr("outfeed.dryer.fit_lanes.solve_column", restless)
    fit = fit_dryer(DRYER, runs)
    assert fit.unsolved == (3,)
    assert "did not settle" in fit.runs[3].reason
    assert fit.runs[3].moisture is None
    assert fit.fitted.runs == 3
    assert fit.fitted.rate_factor == pytest.approx(clean.fitted.rate_factor, rel=1e-3)


def test_without_any_settled_column_there_is_no_fit(monkeypatch):
    def never(*_, **__):
        raise NotConverged("the column", (-1.0, 1.0), 0.03)

    monkeypatch.setattr("outfeed.dryer.fit_lanes.solve_column", never)
    with pytest.raises(NotConverged, match="every run"):
        fit_dryer(DRYER, [DAY, DAY])


def test_an_earlier_fit_as_prior_comes_to_what_all_runs_together_say():
    runs = sheets(11, 12, sensors=False)
    whole = fit_dryer(DRYER, runs, model=ColumnModel(kinetics=DIFFUSION)).fitted
    half = fit_dryer(DRYER, runs[:6], model=ColumnModel(kinetics=DIFFUSION)).fitted
    then = fit_dryer(DRYER, runs[6:], model=column_model(half), prior=prior_of(half)).fitted
    assert then.runs == 12
    assert then.rate_factor == pytest.approx(whole.rate_factor, rel=0.05)
    assert then.rate_spread == pytest.approx(whole.rate_spread, rel=0.15)


@pytest.mark.parametrize("law", [THOMPSON, PAGE])
def test_a_dryer_of_other_kinetics_is_recognised_and_predicted(law):
    truth = model_of(law, 1.0)
    draw = np.random.default_rng(12)
    made = true_runs(draw, DRYER, truth, 22, nominal_rate(DRYER, truth))
    runs = noted(draw, made)
    fit = fit_dryer(DRYER, runs[:10])
    assert fit.fitted.kinetics != DIFFUSION
    assert [item.kinetics for item in fit.laws if item.chosen] == [fit.fitted.kinetics]
    kept = fit_dryer(DRYER, runs[:10], model=ColumnModel(kinetics=DIFFUSION))
    assert kept.fitted.kinetics == DIFFUSION
    assert len(kept.laws) == 1
    rest = slice(10, None)
    foreseen = predict(
        fit.fitted, DRYER, Conditions(made.ambient[rest], made.humidity[rest]),
        Feed(made.moisture[rest], made.warmth[rest]), made.rate[rest],
        plenum_temperatures=[None if v is None else v[rest] for v in made.plenums],
    )  # fmt: skip
    assert rms(foreseen.moisture - made.outlet[rest]) < 0.0035


def test_laws_that_moistures_alone_cannot_tell_apart_widen_the_answer():
    runs = sheets(4, 8, sensors=False)
    fit = fit_dryer(DRYER, runs)
    alone = fit_dryer(DRYER, runs, model=ColumnModel(kinetics=fit.fitted.kinetics)).fitted
    assert len(fit.laws) > 1
    assert fit.fitted.discrepancy > alone.discrepancy
    assert fit.fitted.airflow_spread > alone.airflow_spread


def test_a_prediction_is_the_column_at_the_fitted_factors():
    days = Conditions(np.array([5.0, 10.0, 15.0]), 0.7)
    feed = Feed(np.array([0.19, 0.21, 0.23]), 10.0)
    foreseen = predict(FITTED, DRYER, days, feed, NOMINAL)
    column = solve_column(DRYER, days, feed, NOMINAL, model=column_model(FITTED, feed.grain))
    assert foreseen.moisture == pytest.approx(column.outlet_moisture_wb, abs=2e-5)
    assert foreseen.moisture.shape == (3,)
    assert np.all(foreseen.low < foreseen.moisture)
    half = foreseen.high - foreseen.moisture
    assert half == pytest.approx(1.645 * foreseen.spread, rel=1e-9)


def test_a_single_prediction_is_a_number_and_the_meter_shows_more_spread_than_the_truth():
    truth, reading = (
        predict(FITTED, DRYER, Conditions(10.0, 0.7), Feed(0.22, 10.0), NOMINAL, errors=errors)
        for errors in (None, Errors())
    )
    assert np.shape(truth.moisture) == ()
    assert truth.from_errors == 0.0
    assert reading.spread > truth.spread > FITTED.discrepancy
    parts = (reading.from_factors, reading.from_model, reading.from_errors)
    assert reading.spread == pytest.approx(np.sqrt(sum(part**2 for part in parts)))


def test_a_fit_survives_being_stored():
    assert Fitted.from_dict(FITTED.to_dict()) == FITTED


@pytest.mark.parametrize(
    ("change", "name"), [({"version": "0"}, "version"), ({"rate": 1.0}, "rate")]
)
def test_a_stored_fit_that_is_not_one_is_refused(change, name):
    with pytest.raises(Inconsistent) as caught:
        Fitted.from_dict(FITTED.to_dict() | change)
    assert caught.value.name == name


def test_a_fit_is_not_lent_to_another_grain():
    with pytest.raises(Inconsistent, match="soybean"):
        column_model(FITTED, "soybean")


def test_a_grain_without_kinetics_is_refused():
    with pytest.raises(NotPublished):
        fit_dryer(DRYER, [DAY], model=ColumnModel(grain="popcorn"))


@pytest.mark.parametrize("count", [0, 51])
def test_no_runs_or_too_many_are_refused(count):
    with pytest.raises(OutOfRange) as caught:
        fit_dryer(DRYER, [DAY] * count)
    assert caught.value.name == "runs"


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ({"sensor_temperatures": (40.0,)}, "sensor_temperatures"),
        ({"exhaust_temperatures": (40.0,)}, "exhaust_temperatures"),
        ({"plenum_temperatures": (90.0,)}, "plenum_temperatures"),
        ({"plenum_temperatures": (5.0, 80.0, 70.0, None)}, "plenum_temperatures"),
        ({"plenum_temperatures": (95.0, 80.0, 70.0, 20.0)}, "plenum_temperatures"),
        ({"sensor_temperatures": (40.0, None), "column_temperature": 41.0}, "column_temperature"),
    ],
)
def test_a_run_that_contradicts_the_dryer_is_refused(change, name):
    with pytest.raises(Inconsistent) as caught:
        fit_dryer(DRYER, [DAY, replace(DAY, **change)])
    assert caught.value.name == name


def test_a_column_temperature_needs_to_know_its_sensors():
    with pytest.raises(Inconsistent, match="sensors"):
        fit_dryer(tower(layers=4, cooling=3), [replace(DAY, column_temperature=40.0)])


def assert_band_holds(errors, spreads):
    """A band that covers 85 to 95 % shows that much of a sample, up to two standard errors."""
    off = 2.0 * np.sqrt(0.9 * 0.1 / np.sum(np.isfinite(errors)))
    assert 0.85 - off < covered(errors, spreads) < 0.95 + off


@pytest.mark.slow
def test_ten_runs_of_many_dryers_give_factors_and_bands_that_hold():
    made = dryers(DIFFUSION, 14, 10, 10, DRYER)
    result = study(DRYER, made, laws=(DIFFUSION,))
    assert rms(result.factor) < 0.05
    assert rms(result.truth) < 0.0035
    assert_band_holds(result.reading, result.reading_spread)
    assert covered(result.truth, result.truth_spread) > 0.85
    assert covered(result.factor, result.factor_spread) > 0.85


@pytest.mark.slow
@pytest.mark.parametrize("law", [THOMPSON, PAGE])
def test_dryers_of_other_kinetics_are_predicted_and_their_bands_hold(law):
    made = dryers(law, 4, 10, 25, DRYER)
    result = study(DRYER, made, laws=(DIFFUSION, law))
    assert rms(result.truth) < 0.0035
    assert_band_holds(result.reading, result.reading_spread)


def test_a_run_noted_forty_times_is_one_run():
    run = sheets(3, 1)[0]
    one, many = (fit_dryer(DRYER, [run] * count) for count in (1, 40))
    assert many.worth == pytest.approx(1.0)
    assert many.fitted.runs == 1
    assert not many.spread_out
    for name in ("rate_factor", "rate_spread", "airflow_spread", "discrepancy"):
        assert getattr(many.fitted, name) == pytest.approx(getattr(one.fitted, name), rel=1e-6)
    assert many.foretold == pytest.approx(one.foretold, rel=1e-6)


def test_runs_noted_twice_weigh_as_noted_once_and_a_wrong_one_is_still_found():
    runs = list(sheets(4, 6))
    runs[2] = replace(runs[2], outlet_moisture_wb=runs[2].outlet_moisture_wb + 0.03)
    once, four = fit_dryer(DRYER, runs), fit_dryer(DRYER, [*runs, *[runs[2]] * 3])
    assert once.suspicious == (2,)
    assert four.suspicious == (2, 6, 7, 8)
    assert four.fitted.rate_factor == pytest.approx(once.fitted.rate_factor, rel=1e-3)
    assert four.worth == pytest.approx(6.0, abs=0.05)


def test_runs_read_anew_at_one_setting_count_each_but_tell_of_one_state():
    draw = np.random.default_rng(5)
    season = true_runs(draw, DRYER, TRUTH, 1, NOMINAL)
    runs = [noted(draw, season)[0] for _ in range(12)]
    found = fit_dryer(DRYER, runs)
    assert found.worth > 11.0
    assert not found.spread_out
    assert fit_dryer(DRYER, sheets(6, 12)).spread_out


def test_nine_notes_in_ten_lie_where_notes_are_foretold_and_fewer_where_the_truth_is():
    found = fit_dryer(DRYER, sheets(6, 30))
    missed = np.array([abs(run.moisture.residual) for run in found.runs if run.moisture])
    assert np.mean(missed < NORMAL_90 * found.foretold_noted) == pytest.approx(0.9, abs=0.1)
    assert np.mean(missed < NORMAL_90 * found.foretold) < 0.6
