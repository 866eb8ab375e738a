"""From bytes to a validated model, and from a validation error to a problem."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import takewhile
from typing import Any, TypeVar

import jiter
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from outfeed_api.models import FIELD_AT_FAULT, MOST_FAULTS
from outfeed_api.problems import (
    INVALID,
    MALFORMED_JSON,
    TOO_LARGE,
    Allowed,
    FieldError,
    ProblemError,
    field_error,
    join_pointer,
)

M = TypeVar("M", bound=BaseModel)

WORDS = {
    "missing": "this field is required",
    "extra_forbidden": "there is no such field",
    "finite_number": "must be a finite number",
    "float_type": "must be a number",
    "float_parsing": "must be a number",
    "int_type": "must be a whole number",
    "int_parsing": "must be a whole number",
    "int_from_float": "must be a whole number",
    "string_type": "must be text",
    "string_too_short": "must hold at least {min_length} characters",
    "string_too_long": "may hold at most {max_length} characters",
    "bool_type": "must be true or false",
    "bool_parsing": "must be true or false",
    "literal_error": "must be {expected}",
    "list_type": "must be a list",
    "too_short": "must hold at least {min_length}, holds {actual_length}",
    "too_long": "may hold at most {max_length}, holds {actual_length}",
    "model_type": "must be an object",
    "dict_type": "must be an object",
    "greater_than": "must be above {gt}",
    "greater_than_equal": "must be {ge} or more",
    "less_than": "must be below {lt}",
    "less_than_equal": "must be {le} or less",
}
"""What a validation error is called, by pydantic's type of it."""
_PLACE = re.compile(r" at line (\d+) column (\d+)$")
_NOT_A_NUMBER = re.compile(rb"-?(NaN|Infinity)")
MOST_VALUES = 3_000_000  # a log of 100,000 rows holds 2.5 million; each takes 100 bytes or more
LONGEST_STEP = 64  # characters of a field's name that come back in a pointer; ours are shorter


def read_json(body: bytes, model: type[M]) -> M:
    """A model from a JSON body.

    Parameters
    ----------
    body : bytes
        The request's body.
    model : type
        The request model.

    Returns
    -------
    BaseModel
        The validated request, in the caller's units.

    Raises
    ------
    ProblemError
        ``malformed-json`` with line and column, ``invalid-input`` with one entry a field, or
        ``body-too-large`` for more values than any request has.
    """
    _refuse_too_many(body)
    _refuse_malformed(body)
    try:
        return model.model_validate_json(body)
    except ValidationError as error:
        raise invalid(error.errors(include_url=False, include_input=True)) from None


def invalid(errors: Sequence[ErrorDetails]) -> ProblemError:
    """The problem for a list of pydantic's error details."""
    faults = [_fault(error) for error in errors[:MOST_FAULTS]]
    first = faults[0]
    more = f" (and {len(errors) - 1} more)" if len(errors) > 1 else ""
    return ProblemError(INVALID, f"{first.pointer or 'body'}: {first.detail}{more}", faults)


def _refuse_too_many(body: bytes) -> None:
    """Refuse a body of few bytes that would fill the memory once it is read."""
    if len(body) > MOST_VALUES and sum(map(body.count, (b",", b"[", b"{"))) > MOST_VALUES:
        raise ProblemError(TOO_LARGE, f"the body may hold at most {MOST_VALUES} values")


def _refuse_malformed(body: bytes) -> None:
    """Refuse what is not strict JSON: NaN, Infinity, duplicate keys, bad UTF-8, deep nesting."""
    try:
        jiter.from_json(body, allow_inf_nan=False, catch_duplicate_keys=True, cache_mode="none")
    except ValueError as error:
        text = str(error)
        place = _PLACE.search(text)
        reason = _reason(_PLACE.sub("", text), body, _at(body, place))
        where = f" at line {place[1]}, column {place[2]}" if place else ""
        raise ProblemError(MALFORMED_JSON, f"{reason}{where}") from None


def _at(body: bytes, place: re.Match[str] | None) -> bytes:
    """What stands where the reader stopped: it stops at a value, or just past its sign."""
    if place is None:
        return b""
    line = body.split(b"\n")[int(place[1]) - 1]
    start = int(place[2]) - 1
    return line[start - (line[start - 1 : start] == b"-") :]


def _reason(text: str, body: bytes, found: bytes) -> str:
    """Why a body is not JSON, in words that echo none of it."""
    if not body.strip():
        return "the body is empty"
    if body.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in body[:4]:
        return "the body is not in UTF-8"
    if _NOT_A_NUMBER.match(found):
        return "NaN and Infinity are not JSON; a series that may have gaps takes null"
    if body.startswith(b"\xef\xbb\xbf"):
        return "the body starts with a byte-order mark"
    if text.startswith("Detected duplicate key"):
        return "a key stands twice in one object"
    return text.lower() if len(text) < 80 else "it cannot be parsed"


def _fault(error: ErrorDetails) -> FieldError:
    context: dict[str, Any] = error.get("ctx", {})
    steps = [step for step in error["loc"] if not _is_branch(step)]
    if error["type"] == FIELD_AT_FAULT:
        steps.append(str(context["field"]))
    named = list(takewhile(_is_name, steps))
    if len(named) < len(steps):
        detail = "holds a field whose name is too long or cannot be printed; there is no such field"
        return field_error(join_pointer(*named), detail)
    given = None if error["type"] in {FIELD_AT_FAULT, "missing"} else error.get("input")
    return field_error(join_pointer(*steps), _detail(error), given, _allowed(context))


def _is_name(step: str | int) -> bool:
    """Whether a step may come back in a pointer: a caller's own key may be a megabyte long."""
    return isinstance(step, int) or (len(step) <= LONGEST_STEP and step.isprintable())


def _is_branch(step: str | int) -> bool:
    """Whether a step names a branch of a union rather than a field."""
    return isinstance(step, str) and ("[" in step or step in {"float", "int", "str"})


def _detail(error: ErrorDetails) -> str:
    words = WORDS.get(error["type"])
    if words is None:
        return error["msg"][:200]
    return words.format_map(_Context(error.get("ctx", {})))


class _Context(dict[str, Any]):
    """What a validation error knows of itself; nothing where it does not know."""

    def __missing__(self, key: str) -> str:
        return "more" if key == "actual_length" else ""


def _allowed(context: dict[str, Any]) -> Allowed | None:
    limits: dict[str, Any] = {}
    for key, name in (("ge", "minimum"), ("le", "maximum"), ("gt", "minimum"), ("lt", "maximum"),
                      ("min_length", "minimum"), ("max_length", "maximum")):  # fmt: skip
        if isinstance(context.get(key), int | float):
            limits[name] = float(context[key])
    if isinstance(context.get("expected"), str):
        words = re.findall(r"'([^']*)'", context["expected"])
        if words:
            limits["one_of"] = words
    return Allowed(**limits) if limits else None
