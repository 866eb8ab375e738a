"""Generated requests against the real application, with every check schemathesis has.

A body that fits the schema may still be refused, since limits depend on the
unit system and on each other: then it must be a 422 that points at a field of
the contract, which a check of our own asserts. A text that is no CSV is a 400.
"""

from __future__ import annotations

import schemathesis
from hypothesis import HealthCheck, settings

from outfeed_api.app import create_app
from outfeed_api.settings import Settings

CONFIG = schemathesis.Config.from_dict(
    {
        "checks": {
            "positive_data_acceptance": {"expected-statuses": ["2xx", 304, 400, 422]},
        },
        "generation": {"deterministic": True},
    }
)

application = create_app(Settings())
schema = schemathesis.openapi.from_asgi("/openapi.json", application, config=CONFIG)


@schemathesis.check
def a_refusal_points_at_a_field_of_the_contract(ctx, response, case):
    """A 422 answer has a reason for each fault, and points into the body or speaks of the whole."""
    if response.status_code != 422:
        return
    errors = response.json()["errors"]
    assert errors
    known = set(case.body) if isinstance(case.body, dict) else set()
    for definition in application.openapi()["components"]["schemas"].values():
        known |= set(definition.get("properties", {}))
    for error in errors:
        assert error["detail"]
        assert error["pointer"] == "" or error["pointer"].split("/")[1] in known


@schema.parametrize()
@settings(
    max_examples=12,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
def test_generated_requests_find_no_fault(case):
    case.call_and_validate()
