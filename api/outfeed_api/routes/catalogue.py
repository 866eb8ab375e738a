"""What the service knows: its grains and its methods, each with source and evidence.

The answers change with a release only, so they carry a strong ETag and may be
kept; every body is built once and its bytes are reused.
"""

from __future__ import annotations

from functools import cache

from fastapi import APIRouter
from pydantic import BaseModel, Field
from pydantic_core import to_json
from starlette.requests import Request as HttpRequest
from starlette.responses import JSONResponse, Response

from outfeed import registry
from outfeed.grains import Grain, grain_ids, load_grain
from outfeed.grains.schema import MISSING_WORDS
from outfeed.limits import Range
from outfeed.methods import Method
from outfeed_api.caching import cached_answer
from outfeed_api.conversion import to_display as shown
from outfeed_api.models import LONGEST_NAME, LONGEST_TEXT, MOST_ENTRIES, GrainId, Part, Versions
from outfeed_api.problems import problem_responses
from outfeed_api.query import (
    ETAG_HEADERS,
    GRAIN_PARAMETER,
    IF_NONE_MATCH,
    NOT_MODIFIED,
    UNITS_PARAMETER,
    choose,
    choose_units,
    known_grain,
    parameter,
    read_query,
)
from outfeed_api.routes.grain_entry import figures_first, grain_entry
from outfeed_api.routes.grain_models import GrainAnswer
from outfeed_api.units import UnitSystem, say
from outfeed_api.versions import VERSIONS

router = APIRouter(prefix="/v1", tags=["catalogue"])

JSON = "application/json"
MOST_METHODS = 1000
NO_BUSHELS = float("nan")  # no figure of the catalogue counts bushels of grain


class GrainSummary(Part):
    """One grain in the list."""

    id: GrainId
    name: str = Field(description="Plain name.", max_length=LONGEST_NAME)
    published: list[str] = Field(
        description="What the catalogue knows about it.", max_length=MOST_ENTRIES
    )
    missing: list[str] = Field(
        description="What the catalogue does not know about it.", max_length=MOST_ENTRIES
    )
    default_isotherm: str | None = Field(
        None,
        description="Equilibrium-moisture method used unless another is asked for.",
        max_length=LONGEST_NAME,
    )
    note: str | None = Field(
        None, description="What to know about the entry.", max_length=LONGEST_TEXT
    )


class GrainList(Part):
    """All grains of the catalogue."""

    grains: list[GrainSummary] = Field(description="The grains.", max_length=MOST_ENTRIES)
    versions: Versions = Field(description="What answered.")


class MethodEntry(Part):
    """One published way of computing a quantity."""

    id: str = Field(description="Stable id.", max_length=LONGEST_NAME)
    topic: str = Field(description="First word of the id.", max_length=LONGEST_NAME)
    title: str = Field(description="What it computes.", max_length=LONGEST_TEXT)
    source: str = Field(description="Citation.", max_length=LONGEST_TEXT)
    known: str = Field(description="How its constants are known.", max_length=LONGEST_TEXT)
    valid: list[str] = Field(
        description="Published range of its inputs; empty when the source states none.",
        max_length=MOST_ENTRIES,
    )
    note: str | None = Field(
        None, description="What to know before relying on it.", max_length=LONGEST_TEXT
    )
    grains: list[str] | None = Field(
        None,
        description="Grains the catalogue holds constants of this method for.",
        max_length=MOST_ENTRIES,
    )


class MethodList(Part):
    """The methods of the service, all or of one topic."""

    topics: list[str] = Field(description="All topics.", max_length=MOST_ENTRIES)
    methods: list[MethodEntry] = Field(description="The methods.", max_length=MOST_METHODS)
    versions: Versions = Field(description="What answered.")


def _content(answer: BaseModel) -> bytes:
    plain = answer.model_dump(mode="json", exclude_none=True)
    return to_json(figures_first(plain), inf_nan_mode="constants")


# --- Grains ---------------------------------------------------------------------------------------


@router.get(
    "/grains",
    summary="The grains of the catalogue",
    operation_id="list_grains",
    response_class=JSONResponse,
    response_model=GrainList,
    responses={200: {"headers": ETAG_HEADERS}, **NOT_MODIFIED, **problem_responses(422)},
    openapi_extra={"parameters": [IF_NONE_MATCH]},
)
async def list_grains(request: HttpRequest) -> Response:
    """Which grains the service knows, and for each what is published and what is not."""
    read_query(request)
    return cached_answer(request, _grain_list(), JSON)


@cache
def _grain_list() -> bytes:
    grains = [_summary(load_grain(grain)) for grain in grain_ids()]
    return _content(GrainList(grains=grains, versions=VERSIONS))


def _summary(grain: Grain) -> GrainSummary:
    missing = list(grain.missing)
    return GrainSummary(
        id=grain.id,
        name=grain.name,
        published=[words for words in MISSING_WORDS.values() if words not in missing],
        missing=missing,
        default_isotherm=grain.default_isotherm,
        note=grain.note or None,
    )


@router.get(
    "/grains/{grain}",
    summary="Everything known about one grain",
    operation_id="get_grain",
    response_class=JSONResponse,
    response_model=GrainAnswer,
    responses={200: {"headers": ETAG_HEADERS}, **NOT_MODIFIED, **problem_responses(404, 422)},
    openapi_extra={
        "parameters": [
            GRAIN_PARAMETER,
            UNITS_PARAMETER,
            IF_NONE_MATCH,
        ]
    },
)
async def get_grain(request: HttpRequest) -> Response:
    """All figures of a grain with unit, source and evidence; what is not known is named."""
    query = read_query(request, "units")
    units = choose_units(query)
    return cached_answer(request, _grain(known_grain(request), units), JSON)


@cache
def _grain(grain: str, units: UnitSystem) -> bytes:
    return _content(shown(grain_entry(load_grain(grain), units, VERSIONS), units, NO_BUSHELS))


# --- Methods --------------------------------------------------------------------------------------


@router.get(
    "/methods",
    summary="The methods the answers rest on",
    operation_id="list_methods",
    response_class=JSONResponse,
    response_model=MethodList,
    responses={200: {"headers": ETAG_HEADERS}, **NOT_MODIFIED, **problem_responses(422)},
    openapi_extra={
        "parameters": [
            parameter(
                "topic",
                "Only methods of this topic, the first word of their ids.",
                {"type": "string", "enum": list(registry.topics())},
                example="kinetics",
            ),
            UNITS_PARAMETER,
            IF_NONE_MATCH,
        ]
    },
)
async def list_methods(request: HttpRequest) -> Response:
    """Every method by id, with its source, how it is known and where it holds."""
    query = read_query(request, "topic", "units")
    units = choose_units(query)
    topic = choose(query, "topic", registry.topics(), "")
    return cached_answer(request, _method_list(topic, units), JSON)


@cache
def _method_list(topic: str, units: UnitSystem) -> bytes:
    methods = registry.methods_of(topic) if topic else registry.METHODS
    return _content(
        MethodList(
            topics=list(registry.topics()),
            methods=[_method(method, units) for method in methods],
            versions=VERSIONS,
        )
    )


def _method(method: Method, units: UnitSystem) -> MethodEntry:
    return MethodEntry(
        id=method.id,
        topic=registry.topic_of(method),
        title=method.title,
        source=method.source,
        known=method.known,
        valid=[_range_in_words(limit, units) for limit in method.valid],
        note=method.note or None,
        grains=_grains_of(method.id) or None,
    )


def _grains_of(method: str) -> list[str]:
    return [
        grain.id
        for grain in map(load_grain, grain_ids())
        if method in {s.method for s in grain.isotherms} | {k.method for k in grain.kinetics}
    ]


SPOKEN = {"degC": ("temperature", 0), "Pa": ("air-pressure", 1), "m": ("length", 0)}


def _range_in_words(limit: Range, units: UnitSystem) -> str:
    """A range as a sentence in the reader's units; fractions in percent."""
    if limit.unit in SPOKEN:
        quantity, decimals = SPOKEN[limit.unit]
        ends = [say(end, quantity, units, decimals=decimals) for end in (limit.low, limit.high)]
    elif limit.unit == "":
        ends = [f"{end * 100:g} %" for end in (limit.low, limit.high)]
    else:
        ends = [f"{end:g} {limit.unit}" for end in (limit.low, limit.high)]
    return f"{limit.quantity} {ends[0].split(' ', maxsplit=1)[0]} to {ends[1]} ({limit.source})"
