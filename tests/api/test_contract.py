"""The committed contract: it does not drift, it is whole, and it says what a reader needs."""

from __future__ import annotations

import functools
import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.routing import APIRoute
from openapi_spec_validator import OpenAPIV31SpecValidator

import contract_tool
from outfeed_api.cautions import CAUTIONS
from outfeed_api.problems import KINDS
from outfeed_api.routes import (
    gain_advice,
    gain_models,
    setpoint_models,
    setpoint_waiting,
    trend_models,
    trend_words,
)

DOCUMENT = json.loads((contract_tool.FOLDER / "openapi.json").read_text())
SCHEMAS: dict[str, dict[str, Any]] = DOCUMENT["components"]["schemas"]
OPERATIONS = contract_tool.operations(DOCUMENT)
COMPUTATIONS = sorted(name for name, (_, method) in OPERATIONS.items() if method == "POST")


def walk(node: Any, place: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every schema below a schema, with where it stands."""
    if isinstance(node, dict):
        if "type" in node or "anyOf" in node or "$ref" in node:
            yield place, node
        for key, value in node.items():
            if key not in {"examples", "example", "default", "enum", "const"}:
                yield from walk(value, f"{place}/{key}")
    elif isinstance(node, list):
        for index, value in enumerate(node):
            yield from walk(value, f"{place}/{index}")


def all_schemas() -> list[tuple[str, dict[str, Any]]]:
    return [pair for name, schema in SCHEMAS.items() for pair in walk(schema, name)]


def fields() -> list[tuple[str, dict[str, Any]]]:
    return [
        (f"{name}.{field}", schema)
        for name, model in SCHEMAS.items()
        for field, schema in model.get("properties", {}).items()
    ]


def same(recorded: Any, answered: Any) -> bool:
    """Equal, with numbers equal to seven digits: another processor may round the last one."""
    if isinstance(recorded, dict):
        return (
            isinstance(answered, dict)
            and recorded.keys() == answered.keys()
            and all(same(value, answered[key]) for key, value in recorded.items())
        )
    if isinstance(recorded, list):
        return (
            isinstance(answered, list)
            and len(recorded) == len(answered)
            and all(map(same, recorded, answered))
        )
    if isinstance(recorded, float) and isinstance(answered, int | float):
        return math.isclose(recorded, answered, rel_tol=1e-7, abs_tol=1e-12)
    return bool(recorded == answered)


def test_the_committed_contract_is_the_applications_own(client):
    assert contract_tool.with_examples(client.app.openapi()) == DOCUMENT


def test_the_contract_is_valid_openapi():
    assert list(OpenAPIV31SpecValidator(DOCUMENT).iter_errors()) == []


def test_every_route_is_in_the_contract_and_every_path_is_served(client):
    served = {
        (route.path, method)
        for route in client.app.routes
        if isinstance(route, APIRoute)
        for method in (route.methods or set()) - {"HEAD"}
    }
    assert len(client.app.routes) == len(served)
    assert served == set(OPERATIONS.values())


def test_operation_ids_are_unique_and_every_operation_is_described():
    entries = [entry for item in DOCUMENT["paths"].values() for entry in item.values()]
    assert len(OPERATIONS) == len(entries)
    for entry in entries:
        assert entry["summary"], entry["operationId"]
        assert entry["description"], entry["operationId"]
        assert entry["tags"][0] in {tag["name"] for tag in DOCUMENT["tags"]}


def test_every_schema_and_operation_has_a_plain_name_of_its_own():
    """Two models of one name would be told apart by their module's path."""
    assert [name for name in SCHEMAS if "__" in name or not name.isidentifier()] == []
    assert [name for name in OPERATIONS if not name.isidentifier() or name != name.lower()] == []


def test_every_field_says_what_it_is():
    silent = [place for place, schema in fields() if len(described(schema)) < 4]
    assert silent == []


def described(schema: dict[str, Any]) -> str:
    """A field's description, or that of the model it refers to when the two are the same."""
    model = SCHEMAS.get(schema.get("$ref", "").rpartition("/")[2], {})
    return str(schema.get("description", model.get("description", "")))


def test_every_number_states_its_unit_in_both_systems():
    bare = [
        place
        for place, schema in all_schemas()
        if schema.get("type") == "number" and "x-ucum" not in schema
    ]
    allowed = ("Assumed/", "Allowed/", "FieldError/")
    assert [place for place in bare if not place.startswith(allowed)] == []


def test_every_number_asked_for_has_an_example_and_limits():
    asked = [
        (place, schema)
        for place, schema in all_schemas()
        if place.partition("/")[0] in request_schemas() and schema.get("type") == "number"
    ]
    assert asked
    assert [place for place, schema in asked if "examples" not in schema] == []
    by_row = "/items/anyOf/"  # a column of loads whose rows are held against the limits one by one
    loose = [place for place, schema in asked if "x-range" not in schema and by_row not in place]
    assert loose == []


def test_every_list_has_a_maximum():
    lists = [(place, schema) for place, schema in all_schemas() if schema.get("type") == "array"]
    assert lists
    assert [place for place, schema in lists if "maxItems" not in schema] == []


def test_every_text_asked_for_has_a_length():
    texts = [
        (place, schema)
        for place, schema in all_schemas()
        if place.partition("/")[0] in request_schemas() and schema.get("type") == "string"
    ]
    bounded = {"maxLength", "enum", "const", "format"}
    assert [place for place, schema in texts if not bounded & set(schema)] == []


def test_no_optional_field_is_nullable():
    for place, schema in all_schemas():
        if "/items" not in place and "anyOf" in schema:
            assert {"type": "null"} not in schema["anyOf"], place


def test_every_computation_requires_units_and_refuses_unknown_fields():
    for name in COMPUTATIONS:
        schema = request_schema(name)
        assert "units" in schema["required"], name
        assert schema["additionalProperties"] is False, name


def test_every_computation_declares_its_problems_with_their_media_type():
    for name in COMPUTATIONS:
        path, _ = OPERATIONS[name]
        answers = DOCUMENT["paths"][path]["post"]["responses"]
        for status in ("400", "413", "415", "422", "503"):
            assert list(answers[status]["content"]) == ["application/problem+json"], name


def test_codes_and_headers_that_a_client_acts_on_are_in_the_contract():
    kinds = SCHEMAS["Problem"]["properties"]["type"]["description"]
    assert [kind.slug for kind in KINDS if f"`{kind.slug}`" not in kinds] == ["client-left"]
    cautions = SCHEMAS["Caution"]["properties"]["code"]["description"]
    assert [code for code in CAUTIONS if f"`{code}`" not in cautions] == []
    said = {*trend_models.REMARKS, *gain_models.REASONS, *setpoint_models.REASONS}
    spoken = {*trend_words.REMARKS, *gain_advice.LEAVE, *gain_advice.CHANGE}
    waits = {*setpoint_waiting.WHY_WAIT, *(f"trend-{word}" for word in setpoint_waiting.TRENDS)}
    assert spoken | waits <= said
    for name in COMPUTATIONS:
        answers = DOCUMENT["paths"][OPERATIONS[name][0]]["post"]["responses"]
        assert "Retry-After" in answers["503"]["headers"], name
        assert "Accept-Post" in answers["415"]["headers"], name


def test_every_other_form_of_a_table_is_shown_in_the_contract():
    for name in COMPUTATIONS:
        operation = DOCUMENT["paths"][OPERATIONS[name][0]]["post"]
        for content in (operation["requestBody"], operation["responses"]["200"]):
            if "text/csv" in content["content"]:
                assert content["content"]["text/csv"].get("examples"), name


def test_what_is_to_be_kept_is_shown_passed_back():
    looks = [json.loads(case.read_text())["request"] for case in cases_of("setpoint_advice")]
    assert [look for look in looks if "belief" in look and "due" in look]


def test_every_computation_has_examples_in_both_unit_systems_and_a_refusal():
    for name in COMPUTATIONS:
        examples = [json.loads(case.read_text()) for case in cases_of(name)]
        good = [example for example in examples if example.get("status", 200) == 200]
        systems = {
            example["request"]["units"] for example in good if isinstance(example["request"], dict)
        }
        assert systems == {"us", "metric"}, name
        assert any(example.get("status") == 422 for example in examples), name


@pytest.mark.parametrize(
    "case",
    contract_tool.cases(),
    ids=lambda case: f"{case.parent.name}-{case.stem}",
)
def test_every_example_is_answered_as_recorded(client, case: Path):
    example = json.loads(case.read_text())
    status, answer = contract_tool.replay(client, case, example)
    assert status == example.get("status", 200)
    assert same(example["response"], answer)
    if status == 200 and case.parent.name == "setpoint_advice":
        assert set(answer["reasons"]) <= set(setpoint_models.REASONS)
    if status == 200 and case.parent.name == "gain_advice":
        assert answer["reason"] in gain_models.REASONS


def cases_of(operation: str) -> list[Path]:
    return [case for case in contract_tool.cases() if case.parent.name == operation]


def request_schema(operation: str) -> dict[str, Any]:
    path, _ = OPERATIONS[operation]
    body = DOCUMENT["paths"][path]["post"]["requestBody"]["content"]["application/json"]
    return SCHEMAS[body["schema"]["$ref"].rpartition("/")[2]]


@functools.cache
def request_schemas() -> frozenset[str]:
    """Names of every schema reachable from a request."""
    names: set[str] = set()
    todo = [
        body["schema"]["$ref"].rpartition("/")[2]
        for name in COMPUTATIONS
        if (path := OPERATIONS[name][0])
        and (body := DOCUMENT["paths"][path]["post"]["requestBody"]["content"]["application/json"])
    ]
    while todo:
        name = todo.pop()
        if name not in names:
            names.add(name)
            todo += [
                schema["$ref"].rpartition("/")[2]
                for _, schema in walk(SCHEMAS[name], name)
                if "$ref" in schema
            ]
    return frozenset(names)


def test_every_operation_says_what_it_answers_when_it_fails_or_is_full(client):
    for path, operations in client.get("/openapi.json").json()["paths"].items():
        for operation in operations.values():
            assert "500" in operation["responses"], path
            assert "/health/" in path or "503" in operation["responses"], path
