"""Bad input, tried on every field of every computation: a clear problem that names the field.

Starts from each operation's recorded examples and changes one thing at a time,
guided by the contract: at, over and under its range, of the wrong type, null,
NaN, huge, empty, too long, missing, twice, unknown.
"""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Iterator
from typing import Any

import pytest

import contract_tool
from outfeed_api.conversion import to_si
from outfeed_api.problems import ProblemError
from outfeed_api.route import request_model
from outfeed_api.validation import read_json

DOCUMENT = json.loads((contract_tool.FOLDER / "openapi.json").read_text())
SCHEMAS: dict[str, dict[str, Any]] = DOCUMENT["components"]["schemas"]
OPERATIONS = contract_tool.operations(DOCUMENT)
COMPUTATIONS = sorted(name for name, (_, method) in OPERATIONS.items() if method == "POST")
MOST_ITEMS_TRIED = 2_000
# Each of these solves columns or plans weeks: their limits are walked without the computation.
HEAVY = {
    "column_profile", "column_response", "discharge_rate", "dryer_fit", "season_plan",
    "start_plan", "weather_outlook",
}  # fmt: skip
NO_FIELD = "did not settle"  # a search without an answer has no field at fault
METRIC_UNIT = re.compile(r"[0-9] (degC|K|Pa|kg|m|m2|m3|J|MJ|W|s)\b")
WRONG_TYPE: dict[str, Any] = {
    "number": ["12", True, [1.0], {}],
    "integer": ["12", True, 1.5, {}],
    "string": [12, True, ["x"], {}],
    "boolean": ["true", 1, []],
    "array": ["x", 1, {}],
    "object": ["x", 1, []],
}


def resolve(schema: dict[str, Any]) -> dict[str, Any]:
    while "$ref" in schema:
        schema = SCHEMAS[schema["$ref"].rpartition("/")[2]] | {
            key: value for key, value in schema.items() if key != "$ref"
        }
    return schema


def request_schema(operation: str) -> dict[str, Any]:
    body = DOCUMENT["paths"][OPERATIONS[operation][0]]["post"]["requestBody"]["content"]
    return resolve(body["application/json"]["schema"])


def good_examples(operation: str) -> list[dict[str, Any]]:
    examples = [
        json.loads(case.read_text())
        for case in contract_tool.cases()
        if case.parent.name == operation
    ]
    return [
        example["request"]
        for example in examples
        if example.get("status", 200) == 200 and isinstance(example["request"], dict)
    ]


def places(schema: dict[str, Any], value: Any, path: tuple[Any, ...] = ()) -> Iterator[Any]:
    """Every field of a body, present or not, as (path, schema)."""
    schema = resolve(schema)
    if isinstance(value, dict):
        for name, sub in schema.get("properties", {}).items():
            yield (*path, name), resolve(sub)
            if name in value:
                yield from places(sub, value[name], (*path, name))
    elif isinstance(value, list) and value and "items" in schema:
        yield (*path, 0), resolve(schema["items"])
        yield from places(schema["items"], value[0], (*path, 0))


def with_value(body: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    body = copy.deepcopy(body)
    node: Any = body
    for step in path[:-1]:
        node = node[step]
    node[path[-1]] = value
    return body


def without(body: dict[str, Any], path: tuple[Any, ...]) -> dict[str, Any]:
    body = copy.deepcopy(body)
    node: Any = body
    for step in path[:-1]:
        node = node[step]
    node.pop(path[-1], None)
    return body


def pointer(path: tuple[Any, ...]) -> str:
    return "".join(f"/{step}" for step in path)


def names(problem: dict[str, Any], path: tuple[Any, ...]) -> bool:
    """Whether a problem names the field: points at or into it, or speaks of it by name."""
    words = str(next(step for step in reversed(path) if isinstance(step, str)))
    return any(
        error["pointer"].startswith(pointer(path)) or words in error["detail"]
        for error in problem.get("errors", [])
    )


def tolerant(schema: dict[str, Any]) -> bool:
    """Whether a field takes anything, because its rows answer for themselves."""
    return {} in schema.get("anyOf", []) or not {"type", "anyOf", "enum", "const"} & set(schema)


def wrong_values(schema: dict[str, Any], units: str) -> Iterator[Any]:
    """Values that the field's schema forbids."""
    kind = schema.get("type")
    if {"type": "null"} not in schema.get("anyOf", []):
        yield None
    if isinstance(kind, str):
        yield from WRONG_TYPE[kind]
    if kind == "number":
        yield 1e300
        if "x-range" in schema and not has_bushels(schema):
            low, high = schema["x-range"][units]
            margin = max(1e-3 * (high - low), 1e-6)
            yield low - margin
            yield high + margin
    if kind == "string":
        yield "x" * 10_000
        if "enum" in schema or "const" in schema:
            yield "no-such-word"
    if "anyOf" in schema:
        yield {"no-such-field": 1}


def has_bushels(schema: dict[str, Any]) -> bool:
    return "bushel" in schema["x-ucum"]["us"]


@pytest.mark.parametrize("operation", COMPUTATIONS)
def test_a_value_the_contract_forbids_is_refused_by_name(client, operation):
    path_ = OPERATIONS[operation][0]
    tried = 0
    faults = []
    for body in good_examples(operation):
        for path, schema in places(request_schema(operation), body):
            if tolerant(schema) or any(
                tolerant_at(operation, path[:n]) for n in range(1, len(path))
            ):
                continue
            for value in wrong_values(schema, body["units"]):
                answer = client.post(path_, json=with_value(body, path, value))
                tried += 1
                if answer.status_code != 422 or not names(answer.json(), path):
                    faults.append(
                        (pointer(path), str(value)[:30], answer.status_code, answer.text[:200])
                    )
    assert tried > 0
    assert faults == []


def tolerant_at(operation: str, path: tuple[Any, ...]) -> bool:
    schema = request_schema(operation)
    for step in path:
        schema = resolve(schema["items"] if isinstance(step, int) else schema["properties"][step])
        if tolerant(schema):
            return True
    return False


@pytest.mark.parametrize("operation", COMPUTATIONS)
def test_a_value_at_the_end_of_its_range_is_not_called_out_of_range(client, operation):
    tried = 0
    for body in good_examples(operation):
        for path, schema in places(request_schema(operation), body):
            if schema.get("type") != "number" or "x-range" not in schema or has_bushels(schema):
                continue
            for value in schema["x-range"][body["units"]]:
                status, errors = answered(client, operation, with_value(body, path, value))
                tried += 1
                for error in errors:
                    assert error["pointer"] or NO_FIELD in error["detail"], (pointer(path), error)
                    if body["units"] == "us":
                        assert not METRIC_UNIT.search(error["detail"]), (pointer(path), error)
                assert status in {200, 422}, (pointer(path), value)
                kinds = [
                    error.get("allowed", {})
                    for error in errors
                    if error["pointer"] == pointer(path)
                ]
                assert all(kind.get("unit") is None or value_outside(kind, value) for kind in kinds)
    assert tried > 0


def answered(client, operation: str, body: dict[str, Any]) -> tuple[int, list[dict[str, Any]]]:
    """Status and errors; of a heavy operation, of reading and converting the request alone."""
    if operation not in HEAVY:
        answer = client.post(OPERATIONS[operation][0], json=body)
        return answer.status_code, answer.json().get("errors", [])
    (route,) = [r for r in client.app.routes if r.path == OPERATIONS[operation][0]]
    model = request_model(route.endpoint)
    try:
        to_si(read_json(json.dumps(body).encode(), model))
    except ProblemError as problem:
        faults = [fault.model_dump(exclude_none=True) for fault in problem.errors]
        return problem.kind.status, faults
    return 200, []


def value_outside(allowed: dict[str, Any], value: float) -> bool:
    """Whether a narrower range than the contract's, depending on the rest, forbids the value."""
    return not allowed["minimum"] <= value <= allowed["maximum"]


@pytest.mark.parametrize("operation", COMPUTATIONS)
def test_a_missing_field_is_named(client, operation):
    for body in good_examples(operation):
        for name in request_schema(operation)["required"]:
            answer = client.post(OPERATIONS[operation][0], json=without(body, (name,)))
            assert answer.status_code == 422
            assert names(answer.json(), (name,)), name


@pytest.mark.parametrize("operation", COMPUTATIONS)
def test_an_unknown_field_is_named(client, operation):
    for body in good_examples(operation):
        answer = client.post(OPERATIONS[operation][0], json=body | {"no_such_field": 1})
        assert answer.status_code == 422
        assert [error["pointer"] for error in answer.json()["errors"]] == ["/no_such_field"]


@pytest.mark.parametrize("operation", COMPUTATIONS)
def test_empty_lists_objects_and_texts_get_an_answer_or_a_problem(client, operation):
    for body in good_examples(operation)[: 1 if operation in HEAVY else None]:
        for path, schema in places(request_schema(operation), body):
            empty = {"array": [], "object": {}, "string": ""}.get(str(schema.get("type")))
            if empty is None:
                continue
            answer = client.post(OPERATIONS[operation][0], json=with_value(body, path, empty))
            assert answer.status_code in {200, 422}, (pointer(path), answer.text[:300])
            if answer.status_code == 422:
                assert answer.json()["errors"], pointer(path)


@pytest.mark.parametrize("operation", COMPUTATIONS)
def test_a_list_past_its_maximum_is_refused(client, operation):
    for body in good_examples(operation):
        for path, schema in places(request_schema(operation), body):
            most = schema.get("maxItems", MOST_ITEMS_TRIED + 1)
            items = at(body, path)
            if not isinstance(items, list) or not items or most > MOST_ITEMS_TRIED:
                continue
            long = (items * (most // len(items) + 1))[: most + 1]
            answer = client.post(OPERATIONS[operation][0], json=with_value(body, path, long))
            assert answer.status_code == 422, pointer(path)
            assert names(answer.json(), path), answer.text[:300]


def at(body: Any, path: tuple[Any, ...]) -> Any:
    for step in path:
        if isinstance(body, dict) and step not in body:
            return None
        body = body[step]
    return body


@pytest.mark.parametrize("operation", COMPUTATIONS)
@pytest.mark.parametrize("token", ["NaN", "Infinity", "-Infinity", "1e400", "9" * 5_000])
def test_a_number_that_is_none_is_refused_everywhere(client, operation, token):
    body = good_examples(operation)[0]
    for path, schema in places(request_schema(operation), body):
        if schema.get("type") != "number" or tolerant_at(operation, path):
            continue
        text = json.dumps(with_value(body, path, "@")).replace('"@"', token)
        answer = client.post(
            OPERATIONS[operation][0], content=text, headers={"content-type": "application/json"}
        )
        assert answer.status_code in {400, 422}, (pointer(path), answer.text[:300])
        assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("operation", COMPUTATIONS)
def test_a_key_that_stands_twice_is_refused(client, operation):
    body = json.dumps(good_examples(operation)[0])
    twice = '{"units": "us", ' + body[1:]
    answer = client.post(
        OPERATIONS[operation][0], content=twice, headers={"content-type": "application/json"}
    )
    assert answer.status_code == 400
    assert "twice" in answer.json()["detail"]


HOSTILE = [
    b"", b"null", b"[]", b"3", b'"x"', b"{}", b"{", b"[" * 100_000, b"{" * 100_000, b"\x00",
    b"\xff\xfe", b"\xef\xbb\xbf{}", b'{"units":"\xed\xa0\x80"}', b'{"a":' * 50_000,
    b'{"units":"us"' + b',"a":1' * 2 + b"}",
]  # fmt: skip
LARGE = [
    b'{"units":"' + b"x" * 1_000_000 + b'"}',
    b" " * 10_000_000,
    b"[" + b"1," * 4_999_999 + b"1]",
    b'{"units":"us","x":[' + b"[]," * 300_000 + b"[]]}",
]
JSON = {"content-type": "application/json"}


@pytest.mark.parametrize("operation", COMPUTATIONS)
def test_hostile_bytes_get_a_problem(client, operation):
    for body in HOSTILE:
        answer = client.post(OPERATIONS[operation][0], content=body, headers=JSON)
        assert answer.status_code in {400, 422}, body[:20]
        assert answer.json()["status"] == answer.status_code


@pytest.mark.parametrize("operation", COMPUTATIONS[::6])
@pytest.mark.parametrize("body", LARGE, ids=lambda body: f"{body[:12]!r}x{len(body)}")
def test_large_bodies_get_a_problem_that_echoes_nothing(client, operation, body):
    """All computations share one route class, so a few of them stand for all."""
    answer = client.post(OPERATIONS[operation][0], content=body, headers=JSON)
    assert answer.status_code in {400, 413, 422}
    assert len(answer.content) < 100_000
    assert "xxxx" not in answer.text


@pytest.mark.parametrize("operation", COMPUTATIONS[::6])
def test_a_body_past_the_limit_is_refused(client, operation):
    body = b"[" + b"1," * 8_000_001 + b"1]"
    assert client.post(OPERATIONS[operation][0], content=body, headers=JSON).status_code == 413
