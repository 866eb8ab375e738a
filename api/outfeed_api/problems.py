"""Problem details (RFC 9457): every way a request can fail, in one table.

Nothing of a request is echoed but a finite number, a truth value or a short
printable word that was out of place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel, ConfigDict, Field
from pydantic_core import to_json
from starlette.responses import Response

from outfeed import (
    Inconsistent,
    NotConverged,
    NotPublished,
    OutfeedError,
    OutOfRange,
    UnknownName,
)

MEDIA_TYPE = "application/problem+json"
TYPE_PREFIX = "urn:outfeed:problem:"
HUGE = 1e300
LONGEST_ECHO = 40  # characters of an offending word that come back


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of problem: its slug, status and title."""

    slug: str
    status: int
    title: str


MALFORMED_JSON = Kind("malformed-json", 400, "The body is not JSON that can be read")
MALFORMED_CSV = Kind("malformed-csv", 400, "The body is not CSV that can be read")
NOT_FOUND = Kind("not-found", 404, "Nothing is here")
METHOD_NOT_ALLOWED = Kind("method-not-allowed", 405, "This resource does not take that method")
TOO_LARGE = Kind("body-too-large", 413, "The body is larger than this service reads")
UNSUPPORTED_MEDIA_TYPE = Kind(
    "unsupported-media-type", 415, "The body's media type is not read here"
)
CLIENT_LEFT = Kind("client-left", 499, "The caller hung up before the answer")
INVALID = Kind("invalid-input", 422, "The request does not fit the contract")
OUT_OF_RANGE = Kind("out-of-range", 422, "A value is outside the range that can be answered")
INCONSISTENT = Kind("inconsistent", 422, "Values in the request contradict each other")
UNKNOWN_NAME = Kind("unknown-name", 422, "A name in the request is not known")
NOT_PUBLISHED = Kind("not-published", 422, "No published value exists for what was asked")
NO_TRUSTWORTHY_ANSWER = Kind(
    "no-trustworthy-answer", 422, "The computation did not reach an answer that can be trusted"
)
BUSY = Kind("busy", 503, "The service has more work than it can take")
TOO_SLOW = Kind("too-slow", 503, "The computation took longer than it may")
INTERNAL = Kind("internal-error", 500, "The service failed")

KINDS = (
    MALFORMED_JSON, MALFORMED_CSV, NOT_FOUND, METHOD_NOT_ALLOWED, TOO_LARGE,
    UNSUPPORTED_MEDIA_TYPE, CLIENT_LEFT, INVALID, OUT_OF_RANGE, INCONSISTENT, UNKNOWN_NAME,
    NOT_PUBLISHED, NO_TRUSTWORTHY_ANSWER, BUSY, TOO_SLOW, INTERNAL,
)  # fmt: skip

KIND_OF_ERROR: dict[type[OutfeedError], Kind] = {
    OutOfRange: OUT_OF_RANGE,
    Inconsistent: INCONSISTENT,
    UnknownName: UNKNOWN_NAME,
    NotPublished: NOT_PUBLISHED,
    NotConverged: NO_TRUSTWORTHY_ANSWER,
}


class Allowed(BaseModel):
    """What would have been accepted."""

    model_config = ConfigDict(extra="forbid")

    minimum: float | None = Field(default=None, description="Lowest value accepted, in `unit`.")
    maximum: float | None = Field(default=None, description="Highest value accepted, in `unit`.")
    unit: str | None = Field(default=None, description="Unit of the limits.")
    one_of: list[str] | None = Field(
        default=None, description="The words accepted.", max_length=1000
    )


class FieldError(BaseModel):
    """One thing that is wrong with one field."""

    model_config = ConfigDict(extra="forbid")

    pointer: str = Field(
        description="JSON pointer (RFC 6901) to the field; empty for the whole body."
    )
    detail: str = Field(description="What is wrong, in a sentence.")
    value: float | bool | str | None = Field(
        default=None,
        description="The offending value, when it is a finite number, true, false or a short word.",
    )
    allowed: Allowed | None = Field(default=None, description="What would have been accepted.")


def _by_status() -> str:
    """Every kind that a caller may see, after its status."""
    statuses = sorted({kind.status for kind in KINDS} - {CLIENT_LEFT.status})
    return "; ".join(
        f"{status} " + ", ".join(f"`{kind.slug}`" for kind in KINDS if kind.status == status)
        for status in statuses
    )


class Problem(BaseModel):
    """RFC 9457 problem details."""

    model_config = ConfigDict(extra="forbid")

    type: str = Field(
        description=f"The kind of problem: `{TYPE_PREFIX}` and {_by_status()}.",
        examples=[TYPE_PREFIX + OUT_OF_RANGE.slug],
    )
    title: str = Field(description="The kind of problem, in words.")
    status: int = Field(description="The HTTP status.")
    detail: str = Field(description="What is wrong with this request.")
    request_id: str = Field(description="The id of the request, as in the X-Request-ID header.")
    errors: list[FieldError] | None = Field(
        default=None,
        description="One entry for each field at fault, at most 100.",
        max_length=100,
    )


class ProblemError(Exception):
    """A problem on its way to the client."""

    def __init__(
        self,
        kind: Kind,
        detail: str,
        errors: list[FieldError] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        self.kind = kind
        self.detail = detail
        self.errors = errors or []
        self.headers = dict(headers or {})
        super().__init__(detail)


def problem_response(problem: ProblemError, request_id: str) -> Response:
    """The problem as an HTTP response.

    Parameters
    ----------
    problem : ProblemError
        What went wrong.
    request_id : str
        Id of the request.

    Returns
    -------
    Response
        With media type ``application/problem+json``.
    """
    body = Problem(
        type=TYPE_PREFIX + problem.kind.slug,
        title=problem.kind.title,
        status=problem.kind.status,
        detail=problem.detail,
        request_id=request_id,
    )
    content: dict[str, Any] = body.model_dump(exclude_none=True)
    if problem.errors:
        content["errors"] = [error.model_dump(exclude_none=True) for error in problem.errors[:100]]
    return Response(
        to_json(content),
        status_code=problem.kind.status,
        media_type=MEDIA_TYPE,
        headers={**problem.headers, "Cache-Control": "no-store"},
    )


def field_error(
    pointer: str, detail: str, value: object = None, allowed: Allowed | None = None
) -> FieldError:
    """A field error that echoes only what is safe to echo.

    Parameters
    ----------
    pointer : str
        JSON pointer to the field.
    detail : str
        What is wrong, in a sentence.
    value : object, optional
        The offending value; left out unless it is finite, boolean or a short printable word.
    allowed : Allowed, optional
        What would have been accepted.

    Returns
    -------
    FieldError
        For the `errors` list.
    """
    error: dict[str, Any] = {"pointer": pointer, "detail": detail}
    if _speakable(value):
        error["value"] = value
    if allowed is not None:
        error["allowed"] = allowed
    return FieldError(**error)


def _speakable(value: object) -> bool:
    """Whether a value may be echoed; a huge integer would not survive as a JSON number."""
    if isinstance(value, int | float):
        return abs(value) < HUGE and math.isfinite(value)
    return isinstance(value, str) and len(value) <= LONGEST_ECHO and value.isprintable()


def join_pointer(*steps: str | int) -> str:
    """A JSON pointer from its steps, escaped as RFC 6901 asks."""
    return "".join("/" + str(step).replace("~", "~0").replace("/", "~1") for step in steps)


_TEXT = {"schema": {"type": "string"}}
HEADERS: dict[int, dict[str, Any]] = {
    415: {"Accept-Post": {"description": "The media types that are read here."} | _TEXT},
    503: {"Retry-After": {"description": "Seconds to wait before asking again."} | _TEXT},
}
PROBLEM_CONTENT: dict[str, Any] = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}


def problem_responses(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Contract entries for the problems a route may answer with."""
    titles = {400: "Not readable", 404: "Not found", 405: "Method not allowed", 413: "Too large",
              415: "Unsupported media type", 422: "Invalid, out of range or contradictory",
              500: "An unexpected failure", 503: "Busy; try again"}  # fmt: skip
    return {
        status: {"description": titles[status], "content": PROBLEM_CONTENT}
        | ({"headers": HEADERS[status]} if status in HEADERS else {})
        for status in statuses
    }
