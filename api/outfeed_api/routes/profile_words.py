"""The column profile in words: decision, notes, cautions, and why there is none."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from outfeed.dryer.doubt_bands import Banded
from outfeed.dryer.estimate import Estimate
from outfeed.dryer.heat_check import LevelCheck
from outfeed.dryer.inverse import OutOfReach
from outfeed.dryer.reach import Reach
from outfeed_api.models import LONGEST_TEXT, cautions, methods_used
from outfeed_api.routes.column_figures import (
    limit_notes,
)
from outfeed_api.routes.column_input import (
    column_methods,
)
from outfeed_api.routes.column_models import (
    MoistureBand,
)
from outfeed_api.routes.column_setup import Column, assumed_of, shared_notes
from outfeed_api.routes.dryer_words import (
    TOO_HOT,
    about_rates,
    banded,
    burner_cautions,
    past_all_limits,
    percents,
)
from outfeed_api.routes.moisture_cautions import NEAR, moisture_cautions
from outfeed_api.routes.profile_models import ColumnProfileAnswer, ColumnProfileRequest
from outfeed_api.units import say

MORE_HEAT = "Raise the airflow, or the plenums within the limits for this grain."


def decision(request: ColumnProfileRequest, found: Banded, checks: tuple[LevelCheck, ...]) -> str:
    """What comes out, or what to set, in a sentence or two."""
    moisture = percents(found.outlet_moisture)
    grain = found.dry_matter_rate.scaled(1.0 / (1.0 - found.outlet_moisture.value))
    transit = say(found.transit_time.value, "hours", request.units, decimals=1)
    warm = banded(request, found.outlet_temperature, "temperature")
    if request.rate is None:
        text = (
            f"To leave at {moisture}, discharge about {about_rates(request, grain)} of dry grain. "
            f"It then leaves at {warm}, {transit} after it entered."
        )
    else:
        text = (
            f"At this rate the grain settles at {moisture} and {warm} at the discharge, {transit} "
            "after it entered."
        )
    if any(check.verdict == "above-all" for check in checks):
        text += TOO_HOT
    return text[:LONGEST_TEXT]


def notes_of(
    request: ColumnProfileRequest, column: Column, found: Banded, checks: tuple[LevelCheck, ...]
) -> list[str]:
    """Plain sentences to act on, in order of importance."""
    notes = [*limit_notes(checks, request.units)]
    target = request.target_moisture
    if request.rate is not None and target is not None:
        notes.append(_against_target(found.outlet_moisture, target))
    if found.column_temperature is not None:
        reads = banded(request, found.column_temperature, "temperature")
        notes.append(
            f"Your column sensors should read {reads} on average; the same reading belongs to "
            "another moisture when the grain comes in wetter or drier."
        )
    notes += shared_notes(column)
    if any(float(zone.water) < 0.0 for zone in found.profile.zones):
        notes.append("In one zone the grain gains water: cold grain gathers dew, or takes it up.")
    misty = [
        zone.name for zone in found.profile.zones if float(zone.exhaust_relative_humidity) >= 1.0
    ]
    if misty:
        notes.append(
            f"The mixed exhaust of {', '.join(misty)} carries mist: expect wet ducts and grain "
            "near them, and raise the airflow or the plenum there, or slow down."
        )
    return notes


def _against_target(moisture: Estimate, target: float) -> str:
    away = (moisture.value - target) * 100.0
    if abs(away) < NEAR * 100.0:
        return f"That is within half a point of the target of {target * 100:.1f} %."
    side, cure = ("wetter", "slow down") if away > 0.0 else ("drier", "speed up")
    return f"That is {abs(away):.1f} points {side} than the target of {target * 100:.1f} %: {cure}."


def caution_codes(
    request: ColumnProfileRequest, checks: tuple[LevelCheck, ...], left: Iterable[float]
) -> list[str]:
    """Codes of the cautions that go with a column that leaves grain at these moistures."""
    codes = ["follow-manual", *burner_cautions(request)]
    if any(check.passed for check in checks):
        codes.insert(1, "temperature-limit")
    return [*codes, *moisture_cautions(request.grain, left, request.target_moisture)]


def _bare(
    request: ColumnProfileRequest,
    column: Column,
    verdict: Literal["out-of-reach", "nothing-to-dry", "not-converged"],
    decision: str,
    reach: MoistureBand | None = None,
) -> ColumnProfileAnswer:
    return ColumnProfileAnswer(
        decision=decision,
        units=request.units,
        verdict=verdict,
        reach=reach,
        assumed=assumed_of(request, column, use=False),
        methods=methods_used(*column_methods(column.formulas.model, ())),
        cautions=cautions("follow-manual"),
    )


def nothing_to_dry(request: ColumnProfileRequest, column: Column) -> ColumnProfileAnswer:
    """The answer where the grain comes in at or below the target."""
    text = (
        f"There is nothing to dry: the grain comes in at {request.moisture * 100:.1f} %, not above "
        "the target. Run it through without heat, or cool it in the bin."
    )
    return _bare(request, column, "nothing-to-dry", text)


def below_equilibrium(
    request: ColumnProfileRequest, column: Column, reach: Reach
) -> ColumnProfileAnswer:
    """The answer where the plenum air dries no grain as far as the target."""
    driest, target = reach.driest_moisture_wb, request.target_moisture or 0.0
    text = (
        f"The target of {target * 100:.1f} % is out of reach at any rate: this plenum air dries "
        f"grain no further than {driest * 100:.1f} %."
    )
    if reach.plenum_needed is not None:
        needed = say(reach.plenum_needed, "temperature", request.units, decimals=0)
        text += f" It takes a plenum well above {needed}."
        text += past_all_limits(request, reach.plenum_needed)
    band = MoistureBand(value=driest, low=driest, high=request.moisture)
    return _bare(request, column, "out-of-reach", text, band)


def out_of_reach(
    request: ColumnProfileRequest, column: Column, error: OutOfReach
) -> ColumnProfileAnswer:
    """The answer where no discharge rate meets the target."""
    low, high = error.allowed
    target = request.target_moisture or 0.0
    text = (
        f"The target of {target * 100:.1f} % is out of reach of the discharge rate: between a "
        f"transit of 10 minutes and one of 24 hours the grain leaves at {low * 100:.1f} to "
        f"{high * 100:.1f} %. " + (MORE_HEAT if target < low else "Lower the plenums.")
    )
    nearest = low if target < low else high
    reach = MoistureBand(value=nearest, low=low, high=high)
    return _bare(request, column, "out-of-reach", text, reach)


def not_converged(request: ColumnProfileRequest, column: Column) -> ColumnProfileAnswer:
    """The answer where the column did not settle."""
    text = (
        "The column model did not settle for this dryer, so there are no figures to trust. Check "
        "rate, airflow and hold-up; the discharge rate from a quick balance may still answer."
    )
    return _bare(request, column, "not-converged", text)
