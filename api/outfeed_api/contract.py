"""The contract: OpenAPI 3.1 generated from the models, trimmed to what is true.

Departures from the framework's own output: optional fields have no null
branch, the stock validation-error schemas are gone, every problem status is
declared with its media type, and the extra media types of a route are listed.
"""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from outfeed import __version__
from outfeed_api.problems import Problem, problem_responses
from outfeed_api.route import ComputeRoute

DESCRIPTION = """\
Answers for a person who commissions and runs a continuous-flow grain dryer. Stateless: whatever an
answer depends on is in the request, whatever a caller may need again comes back.

**Asking.** `units` is required in every computation; each field states its unit in both systems
(`x-unit`, `x-ucum`) and its limits (`x-range`; `minimum` and `maximum` span both systems). Moisture
is percent wet basis unless the name says otherwise. Leave out what you do not know: an unknown
field, a key given twice and, outside a column of readings, null are refused. Times are date-times
with an offset, or minutes on a clock of your own, one form in the whole request; an answer speaks
in the same, its sentences of the time of day in your offset: send local times where a person reads
them. A computation changes nothing: same request, same answer, and asking again is safe.

**Answers.** `decision` is a sentence to act on; show `cautions` beside it, and at once where they
hold `fire-column`. What has no value is left out. A later version may add fields and codes, so pass
over what you do not know; `versions` says what answered. Where a resource offers pictures or CSV,
`Accept` chooses; where it names nothing that is offered, the answer is JSON.

**What to keep.** `belief` and `due` of setpoint advice, `fitted` of a dryer fit and `whole_offset`
of a meter check go into the next request as they came, under the same `units`. Each is well under
a kilobyte and belongs to one dryer and one grain.

**Failures** are RFC 9457 problems; `errors` points at each field at fault, with what it allows in
your units. Every answer carries `X-Request-ID`, yours if you sent a plain one of up to 64
characters. 503 has `Retry-After`; a computation has 20 s in all unless the operator of the service
sets another time, and hanging up stops it.

**Around it.** The service asks for no credentials, speaks plain HTTP, compresses nothing and sends
no CORS headers: what stands between it and a network sees to those.
"""
TAGS = [
    {"name": "catalogue", "description": "Grains and methods, with their sources."},
    {"name": "air and grain", "description": "Moist air, equilibrium moisture, shrink."},
    {"name": "dryer", "description": "The dryer: rates, profiles, plans."},
    {"name": "steering", "description": "Trend, setpoint, gain, meter."},
    {"name": "season", "description": "Cooling, storage, money, planning and review."},
    {"name": "service", "description": "Probes, metrics and the contract itself."},
]


def openapi(app: FastAPI) -> dict[str, Any]:
    """The contract of an application, built once.

    Parameters
    ----------
    app : FastAPI
        With all its routes.

    Returns
    -------
    dict
        OpenAPI 3.1.
    """
    if app.openapi_schema is None:
        app.openapi_schema = _build(app)
    return app.openapi_schema


def _build(app: FastAPI) -> dict[str, Any]:
    document = get_openapi(
        title="Outfeed",
        version=__version__,
        openapi_version="3.1.0",
        description=DESCRIPTION,
        routes=app.routes,
        tags=TAGS,
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
    )
    schemas = document.setdefault("components", {}).setdefault("schemas", {})
    for stock in ("HTTPValidationError", "ValidationError"):
        schemas.pop(stock, None)
    problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas.update(problem.pop("$defs"))
    schemas["Problem"] = problem
    for route in app.routes:
        if isinstance(route, ComputeRoute):
            _complete(document["paths"][route.path]["post"], route)
    for path, operations in document["paths"].items():
        for operation in operations.values():
            _add_failures(operation["responses"], busy="/health/" not in path)
    result: dict[str, Any] = _without_null(document)
    return result


def _complete(operation: dict[str, Any], route: ComputeRoute) -> None:
    """Problems and extra media types of one computation."""
    extras = route.extras
    statuses = problem_responses(400, 413, 415, 422, 503)
    operation["responses"] |= {str(status): entry for status, entry in statuses.items()}
    for media_type in extras.reads:
        operation["requestBody"]["content"][media_type] = {"schema": {"type": "string"}}
    for media_type in extras.writes:
        operation["responses"]["200"]["content"][media_type] = {"schema": {"type": "string"}}
    operation["requestBody"]["required"] = True


def _add_failures(responses: dict[str, Any], *, busy: bool) -> None:
    """What any operation may answer when the service fails or too many ask at once."""
    for status, entry in problem_responses(500, *((503,) if busy else ())).items():
        responses.setdefault(str(status), entry)


def _without_null(node: Any) -> Any:
    """The schema without null branches: an optional field is left out, not null.

    In the items of a list null stays: a column keeps its rows.
    """
    if isinstance(node, list):
        return [_without_null(item) for item in node]
    if not isinstance(node, dict):
        return node
    node = {
        key: value if key == "items" and _nullable(value) else _without_null(value)
        for key, value in node.items()
    }
    branches = node.get("anyOf")
    if isinstance(branches, list) and {"type": "null"} in branches:
        rest = [branch for branch in branches if branch != {"type": "null"}]
        node.pop("anyOf")
        node = {**rest[0], **node} if len(rest) == 1 else {**node, "anyOf": rest}
    if node.get("default", "") is None or "x-quantity" in node:
        node.pop("default", None)  # a default is SI; a measured number has no unit of its own here
    return node


def _nullable(schema: Any) -> bool:
    return isinstance(schema, dict) and {"type": "null"} in schema.get("anyOf", [])
