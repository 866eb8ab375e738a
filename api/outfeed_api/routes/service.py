"""Probes, metrics and the contract itself.

Live: the process answers. Ready: the process is not draining and recomputes a
published case correctly.
"""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter
from pydantic import Field
from pydantic_core import to_json
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from outfeed import moist_air
from outfeed_api.caching import cached_answer
from outfeed_api.models import Part, Versions
from outfeed_api.problems import BUSY, NOT_FOUND, ProblemError, problem_responses
from outfeed_api.query import ETAG_HEADERS, IF_NONE_MATCH, NOT_MODIFIED
from outfeed_api.versions import VERSIONS

router = APIRouter(tags=["service"])

# ASHRAE Handbook Fundamentals 2017, chapter 1, table 3: saturation pressure at 25 degC.
PUBLISHED_TEMPERATURE, PUBLISHED_PRESSURE, PUBLISHED_TOLERANCE = 25.0, 3169.7, 3e-4


class Live(Part):
    """The process answers."""

    status: Literal["live"] = Field(description="Always `live`.")


class Ready(Part):
    """The process answers correctly."""

    status: Literal["ready"] = Field(description="Always `ready`; otherwise the answer is 503.")
    versions: Versions = Field(description="What is running.")


@router.get("/health/live", summary="Whether the process answers", operation_id="live")
async def live() -> Live:
    """Answers 200 as long as the event loop turns."""
    return Live(status="live")


@router.get(
    "/health/ready",
    summary="Whether the service may be sent work",
    operation_id="ready",
    responses=problem_responses(503),
)
async def ready(request: Request) -> Ready:
    """Answers 200 when not draining and a published value is recomputed within its tolerance."""
    if request.app.state.draining:
        raise ProblemError(BUSY, "the service is shutting down", headers={"Retry-After": "5"})
    computed = float(moist_air.saturation_pressure(PUBLISHED_TEMPERATURE))
    if abs(computed / PUBLISHED_PRESSURE - 1.0) > PUBLISHED_TOLERANCE:
        raise ProblemError(BUSY, "a published value is not reproduced; do not send work here")
    return Ready(status="ready", versions=VERSIONS)


@router.get(
    "/metrics",
    summary="Counters in the Prometheus text format",
    operation_id="metrics",
    response_class=Response,
    responses={
        200: {"content": {"text/plain": {"schema": {"type": "string"}}}},
        **problem_responses(404),
    },
)
async def metrics(request: Request) -> Response:
    """Requests by route and status, and their duration."""
    if not request.app.state.settings.metrics:
        raise ProblemError(NOT_FOUND, "metrics are switched off")
    return Response(request.app.state.metrics.text(), media_type="text/plain; version=1.0.0")


@router.get(
    "/openapi.json",
    summary="This contract",
    operation_id="contract",
    response_class=JSONResponse,
    responses={200: {"headers": ETAG_HEADERS}, **NOT_MODIFIED},
    openapi_extra={"parameters": [IF_NONE_MATCH]},
)
async def contract(request: Request) -> Response:
    """The OpenAPI 3.1 document of the running service; half a megabyte that a caller may keep."""
    return cached_answer(request, to_json(request.app.openapi()), "application/json")
