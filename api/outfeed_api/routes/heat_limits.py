"""How hot may the air be: the published limits that speak for one case, side by side.

Limits conflict between countries, move with moisture and depend on end use and
dryer type, so the answer is rows with their sources and the span between them,
never one number.
"""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import Field
from pydantic_core import to_json
from starlette.requests import Request as HttpRequest
from starlette.responses import JSONResponse, Response

from outfeed import OutOfRange
from outfeed.dryer.ruling import Authority, ceiling_of, ruling_of
from outfeed.grains import (
    Grain,
    TemperatureLimit,
    grain_ids,
    load_general,
    load_grain,
    most_permissive,
    strictest,
    temperature_limits,
)
from outfeed.grains.vocabulary import DRYER_TYPES, END_USES, GERM_MUST_LIVE
from outfeed.limits import MOISTURE_WB
from outfeed_api.caching import cached_answer
from outfeed_api.conversion import to_display
from outfeed_api.models import (
    LONGEST_TEXT,
    MOST_ENTRIES,
    Caution,
    GrainId,
    Part,
    Versions,
    cautions,
)
from outfeed_api.problems import OUT_OF_RANGE, Allowed, ProblemError, field_error, problem_responses
from outfeed_api.query import (
    ETAG_HEADERS,
    GRAIN_PARAMETER,
    IF_NONE_MATCH,
    NOT_MODIFIED,
    UNITS_PARAMETER,
    choose,
    choose_units,
    known_grain,
    number,
    parameter,
    read_query,
)
from outfeed_api.routes.grain_entry import (
    figures_first,
    limit_entry,
    say_degrees,
    stricter_words,
)
from outfeed_api.routes.grain_models import LimitEntry
from outfeed_api.units import UnitSystem
from outfeed_api.versions import VERSIONS

router = APIRouter(prefix="/v1", tags=["catalogue"])

NO_BUSHELS = float("nan")  # no figure here counts bushels of grain
LIMIT_SOURCES = tuple(
    dict.fromkeys(
        row.source_key
        for rows in (
            *(load_grain(grain).temperature_limits for grain in grain_ids()),
            load_general().temperature_limits,
        )
        for row in rows
    )
)


class HeatLimits(Part):
    """The published limits that speak for one case."""

    decision: str = Field(
        description="The answer in one or two sentences a person can act on.",
        max_length=LONGEST_TEXT,
    )
    grain: GrainId
    units: UnitSystem = Field(description="Unit system of the numbers.")
    strictest: LimitEntry | None = Field(None, description="Lowest limit on the drying air.")
    most_permissive: LimitEntry | None = Field(None, description="Highest limit on the drying air.")
    limits: list[LimitEntry] = Field(
        description="Every limit that speaks for the case, sources side by side.",
        max_length=MOST_ENTRIES,
    )
    notes: list[str] = Field(description="Plain sentences to act on.", max_length=MOST_ENTRIES)
    cautions: list[Caution] = Field(
        description="Safety and quality cautions.", max_length=MOST_ENTRIES
    )
    versions: Versions = Field(description="What answered.")


@router.get(
    "/grains/{grain}/temperature-limits",
    summary="How hot the air may be, as published",
    operation_id="get_temperature_limits",
    response_class=JSONResponse,
    response_model=HeatLimits,
    responses={200: {"headers": ETAG_HEADERS}, **NOT_MODIFIED, **problem_responses(404, 422)},
    openapi_extra={
        "parameters": [
            GRAIN_PARAMETER,
            parameter(
                "end_use",
                "What the grain is for. A limit for a wider use speaks for a narrower one; a limit "
                "that names no use speaks for all but seed and malting.",
                {"type": "string", "enum": list(END_USES)},
                example="commercial",
            ),
            parameter(
                "dryer_type",
                "The dryer. A limit for a wider type speaks for a narrower one.",
                {"type": "string", "enum": list(DRYER_TYPES)},
                example="mixed-flow",
            ),
            parameter(
                "moisture",
                "Moisture of the grain as it enters, percent wet basis. Between two published "
                "moistures the wetter one's limit is given.",
                {
                    "type": "number",
                    "minimum": MOISTURE_WB.low * 100,
                    "maximum": MOISTURE_WB.high * 100,
                },
                example=20,
            ),
            parameter(
                "source",
                "Key of one source, as in `source_key`.",
                {"type": "string", "enum": list(LIMIT_SOURCES)},
            ),
            UNITS_PARAMETER,
            IF_NONE_MATCH,
        ]
    },
)
async def get_temperature_limits(request: HttpRequest) -> Response:
    """Published limits by end use, dryer type, moisture and source; conflicts are shown."""
    grain = load_grain(known_grain(request))
    query = read_query(request, "end_use", "dryer_type", "moisture", "source", "units")
    units = choose_units(query)
    end_use = choose(query, "end_use", END_USES, "") or None
    dryer_type = choose(query, "dryer_type", DRYER_TYPES, "") or None
    source = choose(query, "source", LIMIT_SOURCES, "") or None
    rows = temperature_limits(
        grain,
        end_use=end_use,
        dryer_type=dryer_type,
        moisture_wb=_moisture(query),
    )
    rows = tuple(row for row in rows if source in (None, row.source_key))
    answer = to_display(_answer(grain, rows, end_use, dryer_type, units), units, NO_BUSHELS)
    plain = figures_first(answer.model_dump(mode="json", exclude_none=True))
    return cached_answer(request, to_json(plain), "application/json")


def _moisture(query: dict[str, str]) -> float | None:
    percent = number(query, "moisture")
    if percent is None:
        return None
    try:
        return float(MOISTURE_WB.check(percent / 100, "moisture"))
    except OutOfRange as error:
        low, high = MOISTURE_WB.low * 100, MOISTURE_WB.high * 100
        detail = f"moisture {percent:g} % is outside {low:g} to {high:g} %"
        allowed = Allowed(minimum=low, maximum=high, unit="% wet basis")
        fault = field_error("", detail, percent, allowed)
        raise ProblemError(OUT_OF_RANGE, detail, [fault]) from error


def _answer(
    grain: Grain,
    rows: tuple[TemperatureLimit, ...],
    end_use: str | None,
    dryer_type: str | None,
    units: UnitSystem,
) -> HeatLimits:
    low, high = strictest(rows), most_permissive(rows)
    # Without the kind of dryer none of the limits has more to say than another.
    ruling = ruling_of(rows, Authority(end_use or ""))[0] if dryer_type else None
    return HeatLimits(
        decision=_decision(grain, low, high, units)
        if ruling is None or low is None or ceiling_of(ruling) <= ceiling_of(low)
        else _by_dryer(grain, ruling, low, high or ruling, units),
        grain=grain.id,
        units=units,
        strictest=None if low is None else limit_entry(low, units),
        most_permissive=None if high is None else limit_entry(high, units),
        limits=[limit_entry(row, units) for row in rows],
        notes=_notes(rows, end_use),
        cautions=cautions("follow-manual", "fire-trash"),
        versions=VERSIONS,
    )


def _decision(
    grain: Grain, low: TemperatureLimit | None, high: TemperatureLimit | None, units: UnitSystem
) -> str:
    name = grain.name[0].lower() + grain.name[1:]
    if low is None or high is None:
        return (
            f"The catalogue holds no published limit on the drying air for {name} in this "
            "case. That does not make heat safe: ask the dryer's manual, the buyer or extension."
        )
    stay = "under" if low.kind == "damage seen" else "at or under"
    lowest = say_degrees(low.low, units)
    highest = say_degrees(high.high, units)
    if lowest == highest:
        return f"Published limits put the drying air for {name} {stay} {lowest}."
    return (
        f"Published limits on the drying air for {name} run from {lowest} to {highest}. "
        f"With no better knowledge stay {stay} {lowest}."
    )


def _by_dryer(
    grain: Grain,
    ruling: TemperatureLimit,
    low: TemperatureLimit,
    high: TemperatureLimit,
    units: UnitSystem,
) -> str:
    """The limit that a plan for this kind of dryer goes by, and the stricter one beside it."""
    name = grain.name[0].lower() + grain.name[1:]
    lowest, highest = say_degrees(low.low, units), say_degrees(high.high, units)
    place = f" ({ruling.jurisdiction})" if ruling.jurisdiction else ""
    least = ruling.heated_down_to
    held = "" if least is None else f" where heated air dries no further than {least * 100:g} %"
    return (
        f"Published limits on the drying air for {name} run from {lowest} to {highest}. The one "
        f"that rules for this kind of dryer{place}, and that a start plan goes by, allows "
        f"{say_degrees(ceiling_of(ruling), units)}{held}. {stricter_words(low, ruling, units)}"
    )


def _notes(rows: tuple[TemperatureLimit, ...], end_use: str | None) -> list[str]:
    notes = []
    if len({row.jurisdiction for row in rows if row.jurisdiction}) > 1:
        notes.append(
            "The sources come from different countries and conflict; ask whose rules bind you."
        )
    if any(row.kind == "damage seen" for row in rows):
        notes.append("Some rows report a temperature at which damage was seen: stay under it.")
    if end_use in GERM_MUST_LIVE:
        notes.append("Only limits that name this use are given: the kernel has to germinate.")
    if any(row.of == "grain" for row in rows):
        notes.append("A limit on the grain itself is not one on the air: hot air may be above it.")
    return notes
