"""Paths and query strings, read as strictly as bodies: every name known, once, in its domain."""

from __future__ import annotations

import math
import re
from typing import Any

from starlette.requests import Request

from outfeed.grains import grain_ids
from outfeed_api.problems import INVALID, NOT_FOUND, Allowed, ProblemError, field_error
from outfeed_api.route import refuse_query
from outfeed_api.units import UnitSystem

LONGEST_NUMBER = 30  # characters
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]{1,3})?", re.ASCII)


def read_query(request: Request, *known: str) -> dict[str, str]:
    """The query parameters, none unknown and none given twice.

    Parameters
    ----------
    request : Request
        The HTTP request.
    *known : str
        Names that are read.

    Returns
    -------
    dict
        From name to text.

    Raises
    ------
    ProblemError
        An unknown or repeated parameter.
    """
    pairs = request.query_params.multi_items()
    refuse_query(dict(pairs), *known)
    for name in known:
        if sum(given == name for given, _ in pairs) > 1:
            detail = f"the query parameter `{name}` stands more than once"
            raise ProblemError(INVALID, detail, [field_error("", detail, name)])
    return dict(pairs)


def choose(query: dict[str, str], name: str, allowed: tuple[str, ...], default: str) -> str:
    """A query parameter that takes one of a few words.

    Parameters
    ----------
    query : dict
        From `read_query`.
    name : str
        The parameter.
    allowed : tuple of str
        The words it takes.
    default : str
        Used when it is left out.

    Returns
    -------
    str
        The word.

    Raises
    ------
    ProblemError
        Another word.
    """
    value = query.get(name, default)
    if name in query and value not in allowed:
        detail = f"the query parameter `{name}` takes one of: {', '.join(allowed)}"
        fault = field_error("", detail, value, Allowed(one_of=list(allowed)))
        raise ProblemError(INVALID, detail, [fault])
    return value


def choose_units(query: dict[str, str]) -> UnitSystem:
    """The unit system asked for; metric when none is.

    Parameters
    ----------
    query : dict
        From `read_query`.

    Returns
    -------
    {"us", "metric"}
        The system.

    Raises
    ------
    ProblemError
        Another word.
    """
    return "us" if choose(query, "units", ("us", "metric"), "metric") == "us" else "metric"


def known_grain(request: Request) -> str:
    """The grain of the path.

    Parameters
    ----------
    request : Request
        A request whose path names a grain.

    Returns
    -------
    str
        Its id.

    Raises
    ------
    ProblemError
        404, with the ids that exist.
    """
    grain: str = request.path_params["grain"]
    if grain not in grain_ids():
        detail = f"there is no such grain; known: {', '.join(grain_ids())}"
        fault = field_error("", "no grain has this id", grain, Allowed(one_of=list(grain_ids())))
        raise ProblemError(NOT_FOUND, detail, [fault])
    return grain


def number(query: dict[str, str], name: str) -> float | None:
    """A query parameter that is a finite number.

    Parameters
    ----------
    query : dict
        From `read_query`.
    name : str
        The parameter.

    Returns
    -------
    float or None
        The number; ``None`` when it is left out.

    Raises
    ------
    ProblemError
        Anything but a plain decimal number.
    """
    if name not in query:
        return None
    text = query[name]
    value = float(text) if len(text) <= LONGEST_NUMBER and _NUMBER.fullmatch(text) else math.inf
    if not math.isfinite(value):
        detail = f"the query parameter `{name}` takes a number"
        raise ProblemError(INVALID, detail, [field_error("", detail, text)])
    return value


def parameter(
    name: str,
    description: str,
    schema: dict[str, Any],
    *,
    where: str = "query",
    example: object = None,
) -> dict[str, Any]:
    """The contract entry of a parameter that a route reads by itself.

    Parameters
    ----------
    name : str
        Its name.
    description : str
        What it does.
    schema : dict
        JSON schema of its text.
    where : str
        "query", "path" or "header".
    example : object, optional
        A sensible value.

    Returns
    -------
    dict
        An OpenAPI parameter object.
    """
    entry: dict[str, Any] = {
        "name": name,
        "in": where,
        "description": description,
        "schema": schema,
    }
    if where == "path":
        entry["required"] = True
    return entry if example is None else entry | {"example": example}


GRAIN_PARAMETER = parameter(
    "grain",
    "Id of the grain, see `GET /v1/grains`.",
    {"type": "string", "enum": list(grain_ids())},
    where="path",
    example="corn-yellow-dent",
)
UNITS_PARAMETER = parameter(
    "units",
    "Unit system of every number in the answer.",
    {"type": "string", "enum": ["us", "metric"], "default": "metric"},
)
IF_NONE_MATCH = parameter(
    "If-None-Match",
    "Entity tags the caller holds; 304 when one is still good.",
    {"type": "string"},
    where="header",
)
ETAG_HEADERS = {
    "ETag": {"description": "Strong entity tag.", "schema": {"type": "string"}},
    "Cache-Control": {"description": "How long it stays fresh.", "schema": {"type": "string"}},
}
NOT_MODIFIED: dict[int | str, dict[str, Any]] = {
    304: {"description": "The caller's copy is still good.", "headers": ETAG_HEADERS}
}
