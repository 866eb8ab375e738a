"""The catalogue over HTTP: whole, in either unit system, cacheable, and plain about its gaps."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from outfeed import registry
from outfeed.grains import grain_ids, load_grain
from outfeed.grains.vocabulary import DRYER_TYPES, END_USES

CACHED = [
    "/openapi.json",
    "/v1/grains",
    "/v1/grains/barley",
    "/v1/grains/barley?units=us",
    "/v1/grains/barley/temperature-limits?end_use=malting",
    "/v1/methods",
    "/v1/methods?topic=kinetics",
]


def parts(node: Any) -> Iterator[dict[str, Any]]:
    """Every object inside an answer."""
    if isinstance(node, dict):
        yield node
        for value in node.values():
            yield from parts(value)
    elif isinstance(node, list):
        for value in node:
            yield from parts(value)


# --- The list -------------------------------------------------------------------------------------


def test_the_list_names_every_grain_in_order(client):
    grains = client.get("/v1/grains").json()["grains"]
    assert [grain["id"] for grain in grains] == list(grain_ids())


def test_the_list_says_for_each_grain_what_is_known_and_what_is_not(client):
    for grain in client.get("/v1/grains").json()["grains"]:
        assert grain["missing"] == list(load_grain(grain["id"]).missing)
        assert not set(grain["missing"]) & set(grain["published"])
        assert len(grain["missing"]) + len(grain["published"]) == 15


# --- One grain ------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("grain", grain_ids())
def test_every_grain_answers_in_either_unit_system(client, grain, units):
    answer = client.get(f"/v1/grains/{grain}", params={"units": units})
    assert answer.status_code == 200
    body = answer.json()
    assert (body["id"], body["units"]) == (grain, units)


@pytest.mark.parametrize("grain", grain_ids())
def test_every_figure_carries_its_source_and_how_it_is_known(client, grain):
    body = client.get(f"/v1/grains/{grain}").json()
    figures = [part for part in parts(body) if "source_key" in part or "printed" in part]
    assert figures
    for part in figures:
        assert len(part["source"]) > 10
        assert part["known"] in {
            "read",
            "recalled",
            "recalled; reproduced against a published table",
            "recalled; a second public source agrees",
            "common practice, no source",
        }


def test_metric_is_the_default(client):
    plain = client.get("/v1/grains/oats")
    metric = client.get("/v1/grains/oats?units=metric")
    assert plain.content == metric.content
    assert plain.json()["units"] == "metric"


def test_corn_reads_as_published_in_us_units(client):
    corn = client.get("/v1/grains/corn-yellow-dent?units=us").json()
    assert corn["bushel_weight"]["value"] == 56
    assert corn["bushel_weight"]["unit"] == "lb"
    assert [row["value"] for row in corn["market_moisture"]] == [15.5, 15.0]
    limits = {row["printed"]: (row["low"], row["high"]) for row in corn["temperature_limits"]}
    assert limits["200 to 210 degF"] == (200, 210)
    assert limits["60 degC"] == (140, 140)
    lives = {(row["moisture"], row["temperature"]): row["life"] for row in corn["storage_life"]}
    assert lives[17, 60] in {75, 88}
    # 0.350 + 0.00851 M Btu/(lb F): Kazarian & Hall 1965 in its own units, three digits.
    heat = {row["moisture"]: row["value"] for row in corn["specific_heat"]["table"]}
    assert heat[15] == pytest.approx(0.350 + 0.00851 * 15, rel=2e-3)


def test_corn_reads_as_published_in_metric_units(client):
    corn = client.get("/v1/grains/corn-yellow-dent").json()
    assert corn["bushel_weight"]["value"] == pytest.approx(25.401, abs=5e-4)
    assert corn["specific_heat"]["dry"] == 1.465
    assert corn["specific_heat"]["per_point"] == 0.0356
    assert corn["specific_heat"]["unit"] == "kJ/(kg degC)"
    assert corn["bulk_density"]["coefficients"] == [1086.3, -2971, 4810]
    assert corn["porosity"]["low"] == corn["porosity"]["high"] == 40
    assert corn["kernel_density"]["low"] == 1190


def test_the_two_unit_systems_tell_the_same_story(client):
    us = client.get("/v1/grains/wheat-hard-red-spring?units=us").json()
    metric = client.get("/v1/grains/wheat-hard-red-spring").json()
    pairs = zip(us["temperature_limits"], metric["temperature_limits"], strict=True)
    for one, other in pairs:
        assert one["low"] == pytest.approx(other["low"] * 1.8 + 32)
        assert one["source"] == other["source"]
    assert us["isotherms"] == metric["isotherms"]
    assert us["missing"] == metric["missing"]


def test_what_is_not_known_is_left_out_and_named(client):
    flax = client.get("/v1/grains/flax").json()
    assert "specific_heat" not in flax
    assert "specific heat" in flax["missing"]
    assert flax["isotherms"] == []


def test_a_figure_comes_before_its_source(client):
    weight = client.get("/v1/grains/soybean").json()["bushel_weight"]
    assert list(weight)[:2] == ["value", "unit"]


def test_an_unknown_grain_is_not_found_and_the_answer_names_the_grains(client):
    for path in ("/v1/grains/quinoa", "/v1/grains/quinoa/temperature-limits"):
        answer = client.get(path)
        assert answer.status_code == 404
        assert answer.headers["content-type"] == "application/problem+json"
        assert "corn-yellow-dent" in answer.json()["detail"]
        assert answer.json()["errors"][0]["allowed"]["one_of"] == list(grain_ids())


# --- Heat limits ----------------------------------------------------------------------------------


def limits(client, grain: str, **query: object) -> dict[str, Any]:
    answer = client.get(f"/v1/grains/{grain}/temperature-limits", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_a_miller_of_wet_spring_wheat_is_told_the_lower_figure(client):
    answer = limits(client, "wheat-hard-red-spring", end_use="milling", moisture=22, units="us")
    assert answer["strictest"]["low"] == 120
    assert answer["decision"].endswith("stay under 120 degF.")
    assert any("damage was seen" in note for note in answer["notes"])


def test_countries_that_conflict_are_both_heard(client):
    answer = limits(
        client, "corn-yellow-dent", end_use="commercial", dryer_type="mixed-flow", units="us"
    )
    assert answer["decision"] == (
        "Published limits on the drying air for yellow dent corn run from 140 degF to 230 degF. "
        "The one that rules for this kind of dryer (United States), and that a start plan goes by, "
        "allows 200 degF. Where the rules of Canada bind you, the air may be 140 degF at most."
    )
    assert {row["jurisdiction"] for row in answer["limits"]} == {"Canada", "United States"}
    assert any("conflict" in note for note in answer["notes"])


def test_a_limit_that_rules_on_a_condition_is_told_with_it(client):
    """Canadian Grain Commission: 80 degC for wheat that heated air dries to 15 %."""
    answer = limits(
        client, "wheat-soft", end_use="commercial", dryer_type="mixed-flow", units="metric"
    )
    told = "allows 80 degC where heated air dries no further than 15 %. "
    assert told in answer["decision"]


def test_no_published_limit_is_not_a_licence(client):
    answer = limits(client, "flax", end_use="feed")
    assert answer["limits"] == []
    assert "does not make heat safe" in answer["decision"]
    assert "strictest" not in answer


def test_seed_is_never_given_a_limit_for_other_uses(client):
    for row in limits(client, "corn-yellow-dent", end_use="seed")["limits"]:
        assert "seed" in row["end_uses"]


def test_one_source_can_be_asked_for_even_if_it_is_silent_on_the_grain(client):
    assert {
        row["source_key"] for row in limits(client, "barley", source="cgc-guideline")["limits"]
    } == {"cgc-guideline"}
    assert limits(client, "oats", source="watson-hirata-1962")["limits"] == []


def test_every_answer_on_heat_sends_the_reader_to_the_manual(client):
    codes = [caution["code"] for caution in limits(client, "sorghum")["cautions"]]
    assert "follow-manual" in codes


@pytest.mark.parametrize("end_use", END_USES)
@pytest.mark.parametrize("dryer_type", DRYER_TYPES)
def test_every_use_and_dryer_gets_an_answer(client, end_use, dryer_type):
    answer = limits(client, "corn-yellow-dent", end_use=end_use, dryer_type=dryer_type)
    low, high = answer.get("strictest"), answer.get("most_permissive")
    assert (low is None) == (high is None)
    if low is not None:
        assert low["low"] <= high["high"]


@pytest.mark.parametrize("percent", ["0", "60", "15.5", "2e1"])
def test_a_moisture_in_range_is_read(client, percent):
    assert limits(client, "barley", moisture=percent)["grain"] == "barley"


@pytest.mark.parametrize(
    "query, words",
    [
        ("moisture=60.1", "outside 0 to 60 %"),
        ("moisture=-1", "outside 0 to 60 %"),
        ("moisture=wet", "takes a number"),
        ("moisture=NaN", "takes a number"),
        ("moisture=1e999", "takes a number"),
        ("moisture=", "takes a number"),
        ("moisture=1_5", "takes a number"),
        ("moisture=" + "1" * 40, "takes a number"),
        ("moisture=٣", "takes a number"),
        ("end_use=brewing", "takes one of: seed"),
        ("dryer_type=sun", "takes one of: continuous-flow"),
        ("source=hearsay", "takes one of: cgc-guideline"),
        ("units=si", "takes one of: us, metric"),
        ("units=", "takes one of: us, metric"),
        ("units=us&units=metric", "more than once"),
        ("crop=corn", "no such query parameter"),
    ],
)
def test_a_query_that_does_not_fit_is_refused_in_words(client, query, words):
    answer = client.get(f"/v1/grains/barley/temperature-limits?{query}")
    assert answer.status_code == 422
    assert answer.headers["content-type"] == "application/problem+json"
    assert words in answer.json()["detail"]


# --- Methods --------------------------------------------------------------------------------------


def test_every_method_of_the_library_is_listed(client):
    body = client.get("/v1/methods").json()
    assert [entry["id"] for entry in body["methods"]] == [m.id for m in registry.METHODS]
    assert body["topics"] == list(registry.topics())


def test_a_topic_narrows_the_methods(client):
    body = client.get("/v1/methods?topic=emc").json()
    assert {entry["topic"] for entry in body["methods"]} == {"emc"}
    assert body["topics"] == list(registry.topics())


def test_a_method_says_where_it_holds_in_the_readers_units(client):
    def thompson(units: str) -> list[str]:
        entries = client.get(f"/v1/methods?topic=kinetics&units={units}").json()["methods"]
        return next(e["valid"] for e in entries if e["id"] == "kinetics.thompson-1968")

    # Thompson, Peart & Foster 1968: 140 to 300 degF.
    assert thompson("us")[0].startswith("temperature 140 to 300 degF")
    assert thompson("metric")[0].startswith("temperature 60 to 149 degC")


def test_a_method_names_the_grains_it_has_constants_for(client):
    entries = {e["id"]: e for e in client.get("/v1/methods?topic=emc").json()["methods"]}
    assert entries["emc.halsey-modified.d245-5"]["grains"] == ["soybean", "rapeseed"]


@pytest.mark.parametrize(
    "path, words",
    [
        ("/v1/methods?topic=astrology", "takes one of: moist-air"),
        ("/v1/methods?topic=", "takes one of: moist-air"),
        ("/v1/methods?page=2", "no such query parameter"),
        ("/v1/grains?units=us", "no such query parameter"),
        ("/v1/grains/flax?unit=us", "no such query parameter"),
    ],
)
def test_an_unknown_parameter_or_word_is_refused(client, path, words):
    answer = client.get(path)
    assert answer.status_code == 422
    assert words in answer.json()["detail"]


# --- Caching --------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", ["GET", "HEAD"])
@pytest.mark.parametrize("path", CACHED)
def test_a_catalogue_answer_can_be_kept_and_revalidated(client, path, method):
    first = client.get(path)
    etag = first.headers["etag"]
    assert etag.startswith('"')
    assert first.headers["cache-control"] == "public, max-age=3600"
    again = client.request(method, path, headers={"If-None-Match": etag})
    assert again.status_code == 304
    assert again.content == b""
    assert again.headers["etag"] == etag
    assert again.headers["cache-control"] == first.headers["cache-control"]


@pytest.mark.parametrize("tags", ["*", "W/{}", '"other", {}', '{} , "other"'])
def test_all_ways_to_name_a_kept_copy_are_understood(client, tags):
    etag = client.get("/v1/grains").headers["etag"]
    answer = client.get("/v1/grains", headers={"If-None-Match": tags.format(etag)})
    assert answer.status_code == 304


@pytest.mark.parametrize("tags", ['"other"', "", 'W/"other"', "no quotes"])
def test_another_copy_is_replaced(client, tags):
    assert client.get("/v1/grains", headers={"If-None-Match": tags}).status_code == 200


def test_different_contents_have_different_tags(client):
    assert len({client.get(path).headers["etag"] for path in CACHED}) == len(CACHED)


def test_a_refusal_is_not_kept(client):
    answer = client.get("/v1/grains/quinoa", headers={"If-None-Match": "*"})
    assert answer.status_code == 404
    assert answer.headers["cache-control"] == "no-store"
