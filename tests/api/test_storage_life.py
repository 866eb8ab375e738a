"""Storage life over HTTP: sources side by side, life added up, words and corners."""

from __future__ import annotations

import pytest

CORN = {"units": "us", "grain": "corn-yellow-dent", "temperature": 60.0, "moisture": 19.0}


def ask(client, body, status=200):
    answer = client.post("/v1/storage-life", json=body)
    assert answer.status_code == status, answer.text
    return answer.json()


def row_of(answer, ending):
    return next(row for row in answer["by_source"] if row["source"].endswith(ending))


def test_formula_and_charts_stand_side_by_side(client):
    answer = ask(client, CORN)
    assert row_of(answer, "ndsu-cereal")["life"] == pytest.approx(35.0)
    assert row_of(answer, "uark-sadaka-chart")["life"] == pytest.approx(39.0)
    assert 38.0 < row_of(answer, "bern")["life"] < 42.0
    assert answer["left_shortest"] == pytest.approx(35.0)
    assert "35 days" in answer["decision"]


def test_both_unit_systems_give_the_same_answer(client):
    metric = ask(client, CORN | {"units": "metric", "temperature": 15.5555555})
    assert metric["left_shortest"] == pytest.approx(ask(client, CORN)["left_shortest"], rel=1e-5)


def test_life_used_leaves_72_days_to_soybeans_as_mcneill_says(client):
    body = {
        "units": "us",
        "grain": "soybean",
        "temperature": 40,
        "moisture": 17,
        "history": [{"duration": 10, "temperature": 50, "moisture": 17}],
    }
    row = row_of(ask(client, body), "ndsu-soybean")
    assert row["used"] == pytest.approx(20.0)
    assert row["left"] == pytest.approx(72.0, abs=0.5)


def test_the_formula_tells_the_dry_matter_lost_so_far(client):
    history = [{"duration": 20, "temperature": 60, "moisture": 19}]
    row = row_of(ask(client, CORN | {"history": history}), "bern")
    assert 0.15 < row["dry_matter_lost"] < 0.35
    assert row["used"] == pytest.approx(100 * 20 / row["life"], rel=1e-6)


def test_a_plan_that_outlasts_the_life_says_when(client):
    plan = [{"duration": 30, "temperature": 60, "moisture": 19}] * 2
    answer = ask(client, CORN | {"plan": plan})
    row = row_of(answer, "ndsu-cereal")
    assert row["used_after_plan"] == pytest.approx(100 * 60 / 35)
    assert row["over_after"] == pytest.approx(35.0)
    assert "outlasts" in answer["decision"]


def test_wet_holding_is_limited_to_the_share_allowed(client):
    answer = ask(client, CORN | {"holding_share": 10})
    assert answer["holding_limit"] == pytest.approx(3.5)


def test_warmer_than_every_chart_is_called_spoiling_unless_the_formula_speaks(client):
    answer = ask(client, CORN | {"temperature": 95.0, "moisture": 24.0})
    assert "no_value" in row_of(answer, "ndsu-cereal")
    assert answer["left_shortest"] < 3.0
    answer = ask(client, {"units": "us", "grain": "soybean", "temperature": 95, "moisture": 25})
    assert answer["decision"].startswith("No published source covers")
    assert "left_shortest" not in answer


def test_dry_cold_grain_keeps_at_least(client):
    answer = ask(client, {"units": "us", "grain": "oats", "temperature": 35, "moisture": 13})
    assert "at least 300 days" in answer["decision"]


def test_single_cells_do_not_speak_for_other_states(client):
    body = {"units": "us", "grain": "soybean", "temperature": 50, "moisture": 17}
    assert ask(client, body)["left_shortest"] == pytest.approx(50.0)


def test_malting_barley_goes_by_germination_when_asked(client):
    barley = {"units": "us", "grain": "barley", "temperature": 70, "moisture": 14}
    plain, malting = ask(client, barley), ask(client, barley | {"germination": True})
    assert malting["left_shortest"] == pytest.approx(175.0)
    assert plain["left_shortest"] == pytest.approx(200.0)
    assert any("germination" in note for note in plain["notes"])


def test_many_states_are_looked_up(client):
    states = [{"temperature": 50, "moisture": 20}, {"temperature": 40, "moisture": 20}]
    answer = ask(client, {"units": "us", "grain": "wheat-soft", "states": states})
    assert [row["shortest"] for row in answer["states"]] == pytest.approx([50.0, 90.0])
    assert "by_source" not in answer


def test_safe_moistures_name_every_source_and_judge_the_grain(client):
    rows = ask(client, CORN | {"moisture": 14.0})["safe_moistures"]
    assert len({row["source"] for row in rows}) >= 3
    assert {row["dry_enough"] for row in rows} == {True, False}
    assert len(ask(client, CORN | {"months": 8.0})["safe_moistures"]) < len(rows)


def test_outdoor_air_brings_grain_to_a_moisture_with_its_band(client):
    air = ask(client, CORN | {"air_temperature": 80, "air_humidity": 65})["outdoor_air"]
    assert air["low"] < air["moisture"] < air["high"]
    assert air["low"] < 13.1 < air["high"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"moisture": 70.0}, "/moisture"),
        ({"air_temperature": 50.0}, "/air_temperature"),
        ({"damage": 80.0}, "/damage"),
        ({"grain": "moon-dust"}, "/grain"),
        ({"history": [{"duration": -1, "temperature": 50, "moisture": 17}]}, "/history/0/duration"),
    ],
)
def test_what_cannot_be_is_pointed_at(client, change, pointer):
    problem = ask(client, CORN | change, 422)
    assert pointer in [error["pointer"] for error in problem["errors"]]


def test_a_grain_without_a_published_life_is_told_by_its_safe_moistures(client):
    rice = {"units": "us", "grain": "rough-rice-long", "temperature": 70, "moisture": 13}
    answer = ask(client, rice | {"states": [{"temperature": 70, "moisture": 13}]})
    assert answer["decision"].startswith("Nobody published")
    assert answer["by_source"] == []
    assert "shortest" not in answer["states"][0]
    seed = [row for row in answer["safe_moistures"] if row["duration"] == "seed"]
    assert [(row["low"], row["dry_enough"]) for row in seed] == [(12.0, False)]


def test_a_state_by_halves_is_refused(client):
    ask(client, {"units": "us", "grain": "soybean", "temperature": 50}, 422)
    ask(client, {"units": "us", "grain": "soybean"}, 422)


def test_short_life_warns_and_every_answer_warns_of_entrapment(client):
    wet = {c["code"] for c in ask(client, CORN | {"moisture": 22.0})["cautions"]}
    dry = {c["code"] for c in ask(client, CORN | {"moisture": 15.0})["cautions"]}
    assert "under-drying" in wet
    assert "under-drying" not in dry
    assert "entrapment" in wet & dry


def test_a_thousand_states_answer_as_each_alone(client):
    states = [{"temperature": 30.0 + i % 60, "moisture": 13.0 + i % 19} for i in range(1000)]
    many = ask(client, {"units": "us", "grain": "corn-yellow-dent", "states": states})["states"]
    for index in (0, 333, 777, 999):
        body = {"units": "us", "grain": "corn-yellow-dent"} | states[index]
        alone = ask(client, body)
        assert many[index].get("shortest") == pytest.approx(alone.get("left_shortest"))


def test_each_hour_of_outdoor_air_is_answered_as_that_air_alone(client):
    """An hour's air in the series brings grain where the same air brings it as one state."""
    body = {"units": "us", "grain": "corn-yellow-dent", "temperature": 50.0, "moisture": 16.0}
    states = [(50.0, 60.0), (40.0, 85.0)]
    hourly = {
        "elapsed": [0.0, 60.0],
        "temperature": [warm for warm, _ in states],
        "relative_humidity": [humid for _, humid in states],
    }
    answer = client.post("/v1/storage-life", json=body | {"hourly": hourly}).json()["outdoor_air"]
    alone = [
        client.post(
            "/v1/storage-life", json=body | {"air_temperature": warm, "air_humidity": humid}
        ).json()["outdoor_air"]["moisture"]
        for warm, humid in states
    ]
    assert answer["by_hour"] == pytest.approx(alone)
    assert answer["moisture"] == pytest.approx(sum(alone) / 2)
    assert answer["drying_share"] == pytest.approx(50.0)
    both = client.post("/v1/storage-life", json=body | {"hourly": hourly, "air_temperature": 50.0})
    assert both.status_code == 422


def test_a_share_that_is_only_a_bound_says_so_after_the_plan_too(client):
    """The chart prints only "longer" for corn so cold: what that stay uses up is a bound."""
    body = {
        "units": "us", "grain": "corn-yellow-dent", "temperature": 60, "moisture": 17,
        "plan": [{"duration": 10, "temperature": 30, "moisture": 15}],
    }  # fmt: skip
    answer = client.post("/v1/storage-life", json=body).json()
    by_source = {row["source"].rsplit(".", 1)[-1]: row for row in answer["by_source"]}
    assert by_source["ndsu-cereal"]["after_plan_at_most"] is True
    assert by_source["steele-thompson-bern"]["after_plan_at_most"] is False
    assert any("at most" in note for note in answer["notes"])


def _codes(answer):
    return {caution["code"] for caution in answer["cautions"]}


def test_grain_too_wet_for_the_months_asked_is_not_called_dry(client):
    """12 % is advised for 5 months in bags only; for 8 months the rows shown allow 10 %."""
    body = {"units": "metric", "grain": "rapeseed", "temperature": 10, "moisture": 12}
    answer = ask(client, body | {"months": 8})
    assert [row["dry_enough"] for row in answer["safe_moistures"]] == [False, False]
    assert "as dry as some source" not in answer["decision"]
    assert "10.0 % at most: dry it further" in answer["decision"]
    assert "under-drying" in _codes(answer)
    short = ask(client, body | {"months": 4})
    assert "as dry as some source advises" in short["decision"]
    assert "under-drying" not in _codes(short)


@pytest.mark.parametrize(
    ("now", "planned", "counts"), [(50, None, True), (51, None, False), (45, 60, False)]
)
def test_advice_for_cold_grain_counts_only_for_cold_grain(client, now, planned, counts):
    """NDSU stores edible beans at 18 % only if they are no warmer than 50 degF in October."""
    body = {"units": "us", "grain": "edible-beans", "temperature": now, "moisture": 17}
    if planned is not None:
        body["plan"] = [{"duration": 20, "temperature": planned, "moisture": 17}]
    answer = ask(client, body)
    cold = [row for row in answer["safe_moistures"] if row["high"] == 18.0]
    assert [(row["warmest"], row["dry_enough"]) for row in cold] == [(50.0, counts)]
    assert ("as dry as some source advises" in answer["decision"]) is counts
    assert ("only while it is at 50 degF or colder: cool it" in answer["decision"]) is not counts
    assert ("under-drying" in _codes(answer)) is not counts
    assert any("18.0 % at 50 degF or colder" in note for note in answer["notes"])


def test_warm_grain_is_shown_what_it_may_be_kept_at_beside_the_advice_for_cold_grain(client):
    body = {"units": "us", "grain": "edible-beans", "temperature": 70, "moisture": 15, "months": 6}
    shown = {row["high"]: row["dry_enough"] for row in ask(client, body)["safe_moistures"]}
    assert shown == {18.0: False, 13.0: False}


def test_warm_grain_too_wet_for_a_time_is_dry_enough_only_if_cold(client):
    body = {"units": "metric", "grain": "sorghum", "temperature": 12, "moisture": 14, "months": 3}
    answer = ask(client, body)["decision"]
    assert "dry enough for 3 months only at 10 degC or colder" in answer


@pytest.mark.parametrize(("months", "short"), [(3, False), (12, True)])
def test_a_life_is_held_against_the_months_asked(client, months, short):
    answer = ask(client, CORN | {"moisture": 15.0, "months": months})
    assert ("falls short of 12 months" in answer["decision"]) == short
    assert ("under-drying" in _codes(answer)) == short


def test_a_life_long_enough_in_grain_wetter_than_advised_hangs_on_the_cold(client):
    answer = ask(client, CORN | {"moisture": 16.0, "temperature": 50.0, "months": 4})
    assert "only while it is held at that temperature" in answer["decision"]
    assert "under-drying" in _codes(answer)


def test_stays_so_far_count_towards_the_months_from_harvest(client):
    """Cold weeks behind it and 100 days left make up four months."""
    past = [{"duration": 60, "temperature": 35, "moisture": 16}]
    body = CORN | {"moisture": 16.0, "months": 4.5}
    assert "falls short" in ask(client, body)["decision"]
    assert "falls short" not in ask(client, body | {"history": past})["decision"]


@pytest.mark.parametrize(
    ("days", "months", "short"), [(250, 8, False), (20, 8, False), (100, 40, True)]
)
def test_the_months_asked_are_held_against_the_plan_where_there_is_one(client, days, months, short):
    """130 days at 10 degC are under 8 months; at 1 degC no source is used up by then."""
    body = {"units": "metric", "grain": "corn-yellow-dent", "moisture": 17, "temperature": 10}
    plan = [{"duration": days, "temperature": 1, "moisture": 17}]
    answer = ask(client, body | {"months": months, "plan": plan})
    assert ("falls short" in answer["decision"]) == short
    assert ("kept as planned" in answer["decision"]) != short


def test_a_bound_below_the_months_asked_shows_nothing(client):
    body = {"units": "us", "grain": "oats", "temperature": 35, "moisture": 13, "months": 24}
    assert "no source here shows" in ask(client, body)["decision"]
    body |= {"grain": "corn-yellow-dent", "temperature": 30, "moisture": 15, "months": 12}
    assert "not every source here shows" in ask(client, body)["decision"]


@pytest.mark.parametrize(
    "share, said",
    [(60, "Wet holding uses up 60 % of its life in 13 hours more."), (10, "is gone: dry it now.")],
)
def test_what_wet_holding_may_take_is_said(client, share, said):
    """Two days at 24 % and 28 degC use up 52.5 % of the life; to 60 % it is 13 hours at 22 % and
    25 degC, where a whole life is 6.9 days.
    """
    body = {"units": "metric", "grain": "corn-yellow-dent", "moisture": 22, "temperature": 25}
    body["history"] = [{"duration": 2, "temperature": 28, "moisture": 24}]
    assert said in ask(client, body | {"holding_share": share})["decision"]


@pytest.mark.parametrize("share", [10, 9.99, 0.15])
def test_what_wet_holding_may_take_is_said_as_it_is_told(client, share):
    body = {"units": "us", "grain": "corn-yellow-dent", "moisture": 20, "temperature": 60}
    answer = ask(client, body | {"holding_share": share})
    days = answer["holding_limit"]
    told = f"{days:.1f} days" if days > 2 else "1 hour"
    assert f"uses up {share:g} % of its life in {told}." in answer["decision"]


@pytest.mark.parametrize(
    "grain, said", [("oats", "Oats at 13.0 % and 35 degF keep "), ("edible-beans", " keep;")]
)
def test_oats_and_beans_are_many(client, grain, said):
    body = {"units": "us", "grain": grain, "temperature": 35, "moisture": 13}
    assert said in ask(client, body)["decision"]
