"""The meter check over HTTP: words, parts of the doubt, outlier, rebound, charts, refusals."""

from __future__ import annotations

import re
from typing import Any

import pytest

PATH = "/v1/meter-check"


def sample(offset: float, *, level: float = 15.8) -> dict[str, Any]:
    return {
        "reference": [level, level - 0.1, level, level + 0.1, level],
        "meter": [level - offset],
    }


def body(offset: float, count: int, **changes: Any) -> dict[str, Any]:
    return {"units": "us", "samples": [sample(offset)] * count} | changes


def ask(client, request: dict[str, Any]) -> dict[str, Any]:
    answer = client.post(PATH, json=request)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_clear_offset_is_to_be_set(client):
    answer = ask(client, body(0.8, 6))
    assert answer["verdict"] == "apply"
    assert answer["advised_offset"] == pytest.approx(0.8)
    assert answer["decision"].startswith("Raise the meter's offset by 0.8 point:")


def test_an_offset_already_in_the_meter_is_changed_by_what_is_left_and_is_no_drift(client):
    # found +0.8 and set; the next checks of the same meter then find about nothing
    again = ask(client, body(0.3, 9, present_offset=0.8))
    assert again["advised_offset"] == pytest.approx(0.3)
    assert again["whole_offset"] == pytest.approx(1.1)
    assert again["decision"].startswith(
        "Raise the meter's offset by 0.3 point, from +0.8 point to +1.1 point:"
    )
    lower = ask(client, body(-0.3, 9))
    assert lower["decision"].startswith("Lower the meter's offset by 0.3 point:")
    before = [0.8, 0.7, 0.9, 0.8, 0.7, 0.9]
    steady = body(0.0, 6, present_offset=0.8, earlier_offsets=[*before, 0.8])
    assert ask(client, steady)["drift"]["drifting"] is False
    as_found = body(0.0, 6, earlier_offsets=[*before, 0.0])
    assert ask(client, as_found)["drift"]["drifting"] is True


def test_earlier_checks_count_beside_this_one_where_the_present_offset_is_told(client):
    request = body(0.3, 3, earlier_offsets=[0.8, 0.9, 0.8, 0.7])
    alone, told = (ask(client, request | more) for more in ({}, {"present_offset": 0.8}))
    assert "pooled" not in alone
    assert any("did not count beside this one" in note for note in alone["notes"])
    assert not any("did not count beside this one" in note for note in told["notes"])
    assert told["pooled"]["checks"] == 4
    assert 0 < told["pooled"]["offset"] < told["offset"]
    assert told["pooled"]["half_width"] < told["half_width"]
    # between the normal quantile and Student's t of the few degrees assumed
    assert 1.96 < told["pooled"]["half_width"] / told["pooled"]["uncertainty"] < 2.78
    assert told["advised_offset"] <= told["pooled"]["offset"]
    assert "with 4 earlier checks" in told["decision"]
    assert "steering.meter.earlier-checks" in [one["id"] for one in told["methods"]]
    moved = ask(client, request | {"present_offset": 2.8})
    assert "pooled" not in moved


def test_a_small_sure_offset_is_never_said_as_nought(client):
    pairs = [{"reference": [15.54], "meter": [15.5]}] * 120
    answer = ask(client, body(0, 1, samples=pairs))
    assert answer["verdict"] == "apply"
    assert answer["decision"].startswith("Raise the meter's offset by 0.04 point:")


def test_an_uncertain_one_is_offered_smaller_and_called_uncertain(client):
    answer = ask(client, body(0.5, 1))
    assert answer["verdict"] == "apply-shrunken"
    assert 0 < answer["advised_offset"] < 0.5
    assert answer["decision"].startswith("Uncertain")


def test_one_smaller_than_its_own_uncertainty_is_refused(client):
    answer = ask(client, body(0.2, 1))
    assert answer["verdict"] == "leave"
    assert answer["advised_offset"] == 0
    assert "smaller than its own uncertainty" in answer["decision"]
    assert answer["doubt"]["total"] > 0.2


def test_a_meter_known_within_the_tolerance_asks_for_no_more_samples(client):
    perfect = {"reference": [15.5, 15.5], "meter": [15.5]}
    request = body(0.0, 1, samples=[perfect] * 3, reference="oven", tolerance=0.5)
    answer = ask(client, request)
    assert answer["half_width"] < 0.5
    assert "no more samples are needed" in answer["decision"]
    assert not any("give or take" in note.lower() for note in answer["notes"])
    closer = ask(client, request | {"tolerance": 0.3})
    needed = next(row["samples"] for row in closer["plan"] if row["readings"] == 2)
    assert f"{needed - 3} more samples would bring it within 0.30 point" in closer["decision"]


def test_a_tolerance_that_the_reference_rules_out_is_said_to_be(client):
    answer = ask(client, body(0.2, 1, reference="other", reference_uncertainty=0.15))
    assert answer["plan"] == []
    assert "within 0.20 point, only a better reference would" in answer["decision"]
    more = f"would; {answer['more_samples']} more samples would halve the doubt"
    assert any(more in note for note in answer["notes"])
    reached = ask(client, body(0.2, 1, reference="other", reference_uncertainty=0.08))
    assert {row["half_width"] for row in reached["plan"]} == {0.2}


def test_another_sample_is_named_as_worth_more_than_another_reading(client):
    answer = ask(client, body(0, 1, samples=[{"reference": [15.8], "meter": [15.6]}]))
    assert answer["more_samples"] >= 3
    assert "more_readings" not in answer
    by = {(row["half_width"], row["readings"]): row["samples"] for row in answer["plan"]}
    assert set(by) == {(half, readings) for half in (0.2, 0.1) for readings in (1, 2, 3, 5)}
    assert by[0.2, 1] - 1 <= by[0.2, 5] < by[0.1, 5] < by[0.1, 1]
    said = (
        f"Give or take 0.20 point takes {by[0.2, 1]} samples in all, read once each, or "
        f"{by[0.2, 3]} read three times each; 0.10 point takes {by[0.1, 1]} samples in all"
    )
    assert any(note.startswith(said) for note in answer["notes"])
    assert f"; {by[0.2, 1] - 1} more samples would bring it within 0.20" in answer["decision"]
    often = ask(client, body(0.2, 1))  # read five times already: no more readings are called for
    assert any("more than one reading of each saves none" in note for note in often["notes"])


def test_both_unit_systems_give_the_same_points(client):
    us, metric = (ask(client, body(0.5, 2, units=units)) for units in ("us", "metric"))
    for name in ("offset", "half_width", "doubt", "advised_offset"):
        assert metric[name] == us[name], name


@pytest.mark.parametrize(
    ("changes", "assumed"),
    [
        ({}, {"present_offset", "reference_uncertainty", "sample spread", "reading spread"}),
        ({"present_offset": 0.2}, {"reference_uncertainty", "sample spread", "reading spread"}),
        ({"reference_uncertainty": 0.1}, {"present_offset", "sample spread", "reading spread"}),
    ],
)
def test_what_was_not_told_is_listed_as_assumed(client, changes, assumed):
    answer = ask(client, body(0.5, 2, **changes))
    assert {one["input"] for one in answer["assumed"]} == assumed


def test_a_licensed_reference_brings_its_tolerance(client):
    buyer, licensed = (ask(client, body(0.8, 6, reference=r)) for r in ("buyer", "licensed"))
    assert buyer["doubt"]["bias"] == 0
    # 0.8 point as a uniform distribution: over the root of three
    assert licensed["doubt"]["bias"] == pytest.approx(0.8 / 3**0.5)
    assert licensed["reference_tolerance"] == pytest.approx(0.8)


def test_an_outlier_is_dropped_once_with_its_test(client):
    request = body(0.0, 1)
    request["samples"] = [{"reference": [15.8, 15.7, 15.8, 17.1, 15.8], "meter": [15.8]}]
    answer = ask(client, request)
    (dropped,) = answer["dropped"]
    assert (dropped["sample"], dropped["reading"], dropped["value"]) == (0, 3, 17.1)
    assert dropped["test"] == "steering.outlier.dixon-r10"
    assert dropped["statistic"] > dropped["critical"] == 0.71
    assert "its gap to the next reading is 0.93 of the whole range" in answer["notes"][0]
    assert "chance seldom makes that more than 0.71" in answer["notes"][0]


def test_pairs_that_cannot_be_of_the_same_grain_bring_no_offset(client):
    broken = [{"reference": [r], "meter": [m]} for r, m in [(15.0, 22.0), (16.0, 21.0)] * 3]
    answer = ask(client, body(0, 1, samples=broken))
    assert (answer["verdict"], answer["pairing"], answer["advised_offset"]) == (
        "leave",
        "broken",
        0,
    )
    assert answer["decision"].startswith("Set no offset")
    large = ask(client, body(6.0, 6))
    assert large["pairing"] == "doubted"
    assert large["decision"].startswith("Before you set anything")
    assert "only if a second check agrees raise the meter's offset by 6.0" in large["decision"]
    assert (large["verdict"], large["advised_offset"]) == ("leave", 0.0)
    before = [0.1, 0.2, 0.0, 0.1, 0.2, large["whole_offset"]]  # a drift, and still agreed upon
    told = {"present_offset": 0.0, "earlier_offsets": before}
    agreed = ask(client, body(6.0, 6, **told))
    assert (agreed["pairing"], agreed["advised_offset"]) == ("doubted", pytest.approx(6.0))
    assert agreed["decision"].startswith("Raise the meter's offset by 6.0 point")
    dead = ask(client, body(15.8, 6))
    assert "that the meter works" in dead["decision"]
    assert "raise" not in dead["decision"]


def test_pairs_that_tell_nothing_say_what_to_look_at(client):
    read = [14.2, 15.3, 16.9, 18.4, 20.0]
    still = ask(client, body(0, 1, samples=[{"reference": [r], "meter": [15.0]} for r in read]))
    assert (still["pairing"], still["pairing_reason"]) == ("broken", "meter-stands-still")
    assert "shows 15.0 % for grain that the reference reads at 14.2 to 20.0 %" in still["decision"]
    assert not any(note.startswith("Give or take") for note in still["notes"])
    shown = [13.0, 15.3, 14.2, 20.0, 22.0]
    pairs = [{"reference": [r], "meter": [m]} for r, m in zip(shown, shown, strict=True)]
    pairs[2]["reference"] = [17.4]
    odd = ask(client, body(0, 1, samples=pairs))
    assert "in sample 3 the reference reads 3.20 point wetter" in odd["decision"]
    assert (odd["verdict"], odd["advised_offset"]) == ("leave", 0.0)
    apart = ask(client, body(0, 1, samples=[{"reference": [15.5, 17.5], "meter": [15.1]}]))
    assert apart["decision"].startswith("Before you set anything: readings of one sample scatter")
    assert (apart["verdict"], apart["advised_offset"]) == ("leave", 0.0)


def test_pairs_that_scatter_or_are_too_much_alike_are_noticed(client):
    def notes(*pairs: tuple[float, float]) -> str:
        told = [{"reference": [r], "meter": [m]} for r, m in pairs]
        return " ".join(ask(client, body(0, 1, samples=told))["notes"])

    usual = notes((15.4, 15.0), (16.1, 15.8), (14.9, 14.2), (15.7, 15.5), (15.2, 14.7))
    wild = notes((15.0, 13.5), (15.2, 16.9), (15.8, 14.1), (14.9, 16.0), (15.4, 14.2))
    # an SD of 1.59 point by hand; 2.6 % of 15.3, less the oven's share of the variance, is 0.39
    assert "from sample to sample 4.1 times as much as is usual" in wild
    one = notes((15.4, 15.0), (15.5, 15.0), (15.4, 15.0), (15.4, 15.0))
    assert "If they are one sample read again" in one
    for word in ("as much as is usual", "If they are one sample"):
        assert word not in usual


def test_what_is_said_of_an_offset_adds_up(client):
    answer = ask(client, body(0.16, 60, present_offset=0.14))
    assert "by 0.2 point, from +0.14 point to +0.34 point:" in answer["decision"]


def test_an_odd_reading_left_out_leaves_the_tolerance_of_the_reference(client):
    samples = [{"reference": [15.5, 15.6, 51.5], "meter": [15.3]}]
    answer = ask(client, body(0, 1, samples=samples, reference="licensed"))
    # 5 % of 15.6 is below the handbook's least, 0.8 point
    assert answer["reference_tolerance"] == pytest.approx(0.8)
    assert not any("Above 25 %" in note for note in answer["notes"])


def test_a_check_that_departs_from_those_before_it_says_so(client):
    request = body(0.3, 3, present_offset=2.8, earlier_offsets=[0.8, 0.9, 0.8, 0.7])
    assert any("from those before it" in note for note in ask(client, request)["notes"])
    near = ask(client, request | {"present_offset": 0.5, "tolerance": 0.05})
    assert not any("from those before it" in note for note in near["notes"])
    assert any("Without the earlier checks, give or take" in note for note in near["notes"])


def test_earlier_checks_that_are_odd_say_so(client):
    told = body(0.3, 3, present_offset=0.0)
    slip = ask(client, told | {"earlier_offsets": [0.3, 0.4, 5.0, 0.3]})
    assert slip["pooled"]["left_out"] == 2
    assert "steering.outlier.dixon-r10" in [one["id"] for one in slip["methods"]]
    assert any("check at position 2 of `earlier_offsets` is unlike" in n for n in slip["notes"])
    restless = ask(client, told | {"earlier_offsets": [1.5, -1.5] * 3})
    assert restless["pooled"]["scatter"] == pytest.approx(1.5, abs=0.05)
    assert any("the meter is not steady" in note for note in restless["notes"])
    steady = ask(client, told | {"earlier_offsets": [0.3, 0.4, 0.3, 0.4]})
    assert "left_out" not in steady["pooled"]
    assert not any("unlike" in note or "not steady" in note for note in steady["notes"])


@pytest.mark.parametrize(("earlier_sd", "noticed"), [(5.0, True), (0.1, False)])
def test_an_earlier_spread_far_from_that_of_these_readings_is_noticed(client, earlier_sd, noticed):
    answer = ask(client, body(0.3, 3, earlier_sd=earlier_sd, earlier_readings=40))
    assert any("contradict each other" in note for note in answer["notes"]) is noticed


def test_a_line_that_no_display_would_tell_from_one_offset_is_not_advised(client):
    levels = [13.0 + 0.25 * k for k in range(20)]
    odd = [0.01 * (-1) ** k for k in range(20)]
    pairs = [{"reference": [1.02 * m + e], "meter": [m]} for m, e in zip(levels, odd, strict=True)]
    answer = ask(client, body(0, 1, samples=pairs))
    assert answer["line"]["slope_low"] > 1.0
    # 0.02 of 4.75 points, half of it at either end
    assert (answer["line"]["slope_matters"], answer["verdict"]) == (False, "apply")
    finer = ask(client, body(0, 1, samples=pairs, resolution=0.01))
    assert (finer["line"]["slope_matters"], finer["verdict"]) == (True, "use-line")


def test_readings_that_scatter_too_far_ask_for_a_mixed_sample(client):
    scattered, usual = (
        ask(client, body(0, 1, samples=[{"reference": [15.5, r], "meter": [15.4]}]))["notes"]
        for r in (16.2, 15.7)
    )
    assert any("mix the sample well" in note for note in scattered)
    assert not any("mix the sample well" in note for note in usual)


def test_a_step_of_the_display_is_no_scatter_whatever_earlier_readings_gave(client):
    pair = {"reference": [15.5, 15.5, 15.5, 15.6], "meter": [15.4]}
    told = {"earlier_sd": 0.01, "earlier_readings": 40}
    notes = ask(client, body(0, 1, samples=[pair]) | told)["notes"]
    assert not any("mix the sample well" in note for note in notes)


@pytest.mark.parametrize(
    ("reference", "meter", "said"),
    [
        (0.155, 0.153, "all of this is below 1 %, and no grain is so dry: readings are sent in"),
        (15.5, 0.153, "the meter reads below 1 %, and no grain is so dry. Make sure that the"),
        (0.155, 15.3, "the reference reads below 1 %"),
        (0.0, 0.0, "all of this is below 1 %, and no grain is so dry"),
    ],
)
def test_shares_sent_for_percent_and_a_dead_meter_bring_no_offset(client, reference, meter, said):
    pairs = [{"reference": [reference, reference], "meter": [meter]}] * 6
    answer = ask(client, body(0, 1, samples=pairs))
    assert said in answer["decision"]
    assert "15.5 and not 0.155" in answer["decision"]
    assert (answer["verdict"], answer["pairing_reason"]) == ("leave", "no-grain-so-dry")


def test_hot_grain_is_rebounded(client):
    check = {"hot": [14.0], "rested": [15.9], "sealed": 12}
    answer = ask(client, body(0.8, 6, rebound=check))
    assert answer["rebound"] == {
        "correction": pytest.approx(1.9),
        "uncertainty": pytest.approx(0.115, abs=0.001),
        "rested_enough": True,
    }
    assert any("Hot grain reads 1.90 point low" in note for note in answer["notes"])
    hasty = ask(client, body(0.8, 6, rebound=check | {"sealed": 2}))
    assert any("less than 12 h" in note for note in hasty["notes"])


def test_a_rebound_beyond_belief_is_not_to_be_added(client):
    check = {"hot": [5.0], "rested": [15.3], "sealed": 14}
    notes = ask(client, body(0.8, 6, rebound=check))["notes"]
    assert any("10.30 point low, far more than its heat makes of it" in note for note in notes)
    assert not any("to readings of grain as hot" in note for note in notes)


def test_a_rebound_smaller_than_its_own_uncertainty_is_not_to_be_added(client):
    check = {"hot": [14.02], "rested": [14.06], "sealed": 13}
    answer = ask(client, body(0.8, 6, rebound=check))
    assert answer["rebound"]["uncertainty"] > answer["rebound"]["correction"]
    assert any("so add nothing for heat" in note for note in answer["notes"])
    assert not any("to readings of grain as hot" in note for note in answer["notes"])


def test_a_spread_of_earlier_checks_without_its_weight_is_not_passed_over(client):
    for alone in ({"earlier_sd": 0.05}, {"earlier_readings": 40}):
        answer = client.post(PATH, json=body(0.5, 1, **alone))
        assert answer.status_code == 422
        assert "give both" in answer.json()["detail"]
    both = ask(client, body(0.5, 1, earlier_sd=0.05, earlier_readings=40))
    assert "reading spread" not in [one["input"] for one in both["assumed"]]


def test_a_drift_over_earlier_checks_is_called(client):
    steady = ask(client, body(0.1, 3, earlier_offsets=[0.1, 0.2, 0.0, 0.1, 0.2]))
    assert steady["drift"]["drifting"] is False
    moved = ask(client, body(0.9, 3, earlier_offsets=[0.1, 0.2, 0.0, 0.1, 0.2, 0.6, 0.8]))
    assert moved["drift"]["drifting"] is True
    assert any("serviced" in note for note in moved["notes"])
    assert "drift" not in ask(client, body(0.9, 3, earlier_offsets=[0.1]))


def test_five_levels_over_four_points_give_a_line(client):
    levels = [13.0, 15.0, 17.0, 19.0, 22.0]
    pairs = [{"reference": [1.1 * m - 1.5], "meter": [m]} for m in levels]
    line = ask(client, body(0, 1, samples=pairs))["line"]
    assert line["slope"] == pytest.approx(1.1)
    assert line["intercept"] == pytest.approx(-1.5)
    assert line["slope_matters"] is True
    answer = ask(client, body(0, 1, samples=pairs))
    assert (answer["verdict"], answer["advised_offset"]) == ("use-line", 0.0)
    assert answer["plan"] == []
    assert not any(note.startswith("Give or take") for note in answer["notes"])
    # 1.1 x 13 - 1.5 and 1.1 x 22 - 1.5
    assert "use the line, 1.100 times the meter's reading less 1.50 point" in answer["decision"]
    assert "between 13.0 and 22.0 %" in answer["decision"]
    assert "13.0 % means 12.8 % and a reading of 22.0 % means 22.7 %" in answer["decision"]
    far = [{"reference": [1.1 * m + 4.5], "meter": [m]} for m in levels]
    doubted = ask(client, body(0, 1, samples=far))
    assert (doubted["pairing"], doubted["verdict"]) == ("doubted", "leave")
    assert "Make sure that both meters read the same grain" in doubted["decision"]
    lone = [{"reference": [16.0], "meter": [m]} for m in levels[:-1]]
    lone.append({"reference": [18.0], "meter": [22.0]})
    assert "line" not in ask(client, body(0, 1, samples=lone))
    narrow = [{"reference": [m], "meter": [m]} for m in (15.0, 15.1, 15.2, 15.3, 15.4)]
    assert "line" not in ask(client, body(0, 1, samples=narrow))


def test_the_line_in_the_decision_gives_the_moistures_beside_it(client):
    shown = [13.2, 15.1, 17.3, 19.4, 22.2, 25.6, 27.9]
    read = [13.0, 15.0, 17.3, 19.5, 22.4, 26.0, 28.4]
    pairs = [{"reference": [r], "meter": [m]} for r, m in zip(read, shown, strict=True)]
    said = ask(client, body(0, 1, samples=pairs))["decision"]
    slope, less = (float(v) for v in re.findall(r"(\d\.\d+) (?:times|point)", said))
    ends = re.findall(r"reading of ([\d.]+) % means ([\d.]+) %", said)
    for at, means in ends:
        assert slope * float(at) - less == pytest.approx(float(means), abs=0.07)


def test_the_meters_curve_is_not_extended(client):
    curve = {"temperatures": [40, 60, 80], "corrections": [0.5, 0.2, 0.0]}
    answer = ask(client, body(0.8, 6, temperature_curve=curve | {"grain_temperature": 50}))
    assert answer["temperature_correction"] == pytest.approx(0.35)
    assert any("before you apply both" in note for note in answer["notes"])
    slip = curve | {"grain_temperature": 50, "corrections": [0.5, 8.0, 0.0]}
    wild = client.post(PATH, json=body(0.8, 6, temperature_curve=slip)).json()
    assert "jumps from 8 point at 60 degF to 0 point at 80 degF" in wild["detail"]
    refused = client.post(
        PATH, json=body(0.8, 6, temperature_curve=curve | {"grain_temperature": 90})
    )
    assert refused.status_code == 422
    assert "grain temperature" in refused.json()["detail"]


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"samples": []}, "at least 1"),
        ({"samples": [{"reference": [], "meter": [15.0]}]}, "at least 1"),
        ({"samples": [{"reference": [85.0], "meter": [15.0]}]}, "outside"),
        ({"reference": "other"}, "reference_uncertainty"),
        ({"reference": "mine"}, "buyer"),
    ],
)
def test_what_cannot_be_is_refused_in_words(client, changes, word):
    answer = client.post(PATH, json=body(0.5, 1, **changes))
    assert answer.status_code == 422
    assert word in answer.text


def test_a_reading_of_the_dryers_meter_far_off_its_others_is_left_out_and_said(client):
    sample = {"reference": [15.2, 15.3, 15.1, 15.2], "meter": [15.9, 16.0, 18.9, 15.8, 15.9]}
    answer = client.post(PATH, json={"units": "us", "samples": [sample]}).json()
    assert [(one["of"], one["value"]) for one in answer["dropped"]] == [("meter", 18.9)]
    assert answer["offset"] == pytest.approx(-0.7)
    assert any(note.startswith("The meter reading of 18.9 %") for note in answer["notes"])
