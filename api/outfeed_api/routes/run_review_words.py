"""Run review in words."""

from __future__ import annotations

from outfeed.limits import BROKEN_OR_FIRE
from outfeed.review import Drift, Energy, Review
from outfeed.steering.lag import LAG_SHARE_OF_TRANSIT
from outfeed_api.models import Assumed, AssumedQuantity
from outfeed_api.routes.run_review_models import RunReviewRequest
from outfeed_api.units import say

CLIMBED = (
    "FIRE CAUTION: the column warmed while the discharge stood still with the heat off, see "
    "`spells`. If grain still stands, look and smell for smoke and follow the dryer's manual."
)
HOT_COLUMN = (
    "FIRE CAUTION: a column sensor read hotter than any published drying air, see `spells`. If the "
    "dryer runs still, check now that grain moves in every column and look and smell for smoke."
)
NOT_TRUE = f"A temperature was read that cannot be true (see `spells`): {BROKEN_OR_FIRE}."
STOOD = (
    "No grain left while this log was kept: only its suspicious spells were judged. Hot grain that "
    "stands can burn out of sight: if it still stands, watch column and exhaust temperature, "
    "look for smoke and follow the dryer's manual."
)
RATE_UNREAD = (
    "The log has no reading of the discharge rate, so whether grain moved is not known; only its "
    "suspicious spells were judged."
)
LEFT_OUT = (
    "Moisture, energy, over-drying and starting points are counted by the grain that leaves; where "
    "none is known to have left they are left out."
)

OFF = 0.002  # moisture; a meter that is less off is not spoken of; chosen, no source


def decision(request: RunReviewRequest, result: Review) -> str:
    """How the run went, and where to look first."""
    said = []
    stream, energy = result.stream, result.energy
    if stream is not None:
        said.append(
            f"The grain left at {stream.mean_wb * 100:.1f} % on average; "
            f"{stream.on_target_share * 100:.0f} % of it within half a point of "
            f"{request.target * 100:.1f} %."
        )
        said += _meter_off(result)
    elif result.run.any_left:
        said.append("The log has no discharge moisture; only its suspicious spells were judged.")
    else:
        said.append(STOOD if result.run.rate_read else RATE_UNREAD)
    if energy is not None:
        said.append(_energy_words(request, energy))
    stops = sum(spell.kind == "stopped-with-heat" for spell in result.spells)
    gravest = _gravest(result)
    if stops:
        look = "Then look" if gravest else "Look first"
        said.append(f"{look} at {stops} stop{'s' * (stops > 1)} with the heat on.")
    elif result.spells:
        count = len(result.spells)
        said.append(
            f"{count} stretch{'es' * (count > 1)} of the log deserve{'s' * (count == 1)} a look."
        )
    return " ".join(gravest + said)


def _meter_off(result: Review) -> list[str]:
    """That the discharge meter reads beside the samples, and what the grain really was."""
    stream = result.stream
    found = [drift for drift in result.drifts if drift.basis == "samples" and drift.count > 1]
    if stream is None or not found or not _is_off(found[0]):
        return []
    offset = found[0].offset
    word = "wet" if offset < 0.0 else "dry"
    text = (
        f"That is by a meter that reads {abs(offset) * 100:.1f} points too {word} by "
        f"{found[0].count} reference samples: the grain left at about "
        f"{(stream.mean_wb + offset) * 100:.1f} %."
    )
    return [text]


def _is_off(drift: Drift) -> bool:
    """Whether a meter is off by enough to speak of, past doubt."""
    return drift.offset_low * drift.offset_high > 0.0 and abs(drift.offset) >= OFF


def _gravest(result: Review) -> list[str]:
    """What may be a fire, in one sentence or two; empty where nothing may."""
    kinds = {spell.kind for spell in result.spells}
    if "hot-column" in kinds:
        return [HOT_COLUMN]
    if "stopped-and-climbing" in kinds:
        return [CLIMBED]
    return [NOT_TRUE] if any(spell.broken_or_fire for spell in result.spells) else []


def _energy_words(request: RunReviewRequest, energy: Energy) -> str:
    spent = say(energy.per_water, "specific-energy", request.units, decimals=_digits(request))
    text = f"It took {spent} of water"
    compared = {
        "inside": f", inside the published range for {request.dryer_kind} dryers",
        "above": f", above the published range for {request.dryer_kind} dryers: check fuel, "
        "burners and moistures",
        "below": f", below the published range for {request.dryer_kind} dryers: check fuel and "
        "moistures",
        "overlaps": f", outside the published range for {request.dryer_kind} dryers, though not "
        "by more than the moistures are in doubt",
    }
    return text + compared.get(energy.verdict, "") + "."


def _digits(request: RunReviewRequest) -> int:
    return 0 if request.units == "us" else 2


def notes(request: RunReviewRequest, result: Review) -> list[str]:
    """What the review found, one thing a sentence."""
    found = [] if result.run.any_left else [LEFT_OUT]
    found += _given_away(request, result)
    over = result.over_dried
    came_dry = 0 if over is None else round(100.0 * over.came_below / float(result.run.grain.sum()))
    if came_dry:
        found.append(
            f"{came_dry} % of the grain came in below the market moisture already; of it only what "
            "the dryer took counts as over-drying."
        )
    if result.groups:
        found.append(
            f"{result.pairs.outlet_wb.size} of {result.pairs.blocks} transits were settled; "
            "`starts` lists their column temperatures by inlet moisture for next year's start."
        )
    elif result.pairs.blocks:
        found.append("No transit was settled, so the log gives no starting points.")
    for drift in result.drifts:
        if drift.verdict == "drifts":
            per_week = drift.per_day * 7.0 * 100.0
            against = "the reference samples" if drift.basis == "samples" else "the column"
            found.append(
                f"Against {against} the discharge meter drifts by {per_week:+.2f} points a week."
            )
    if _meter_off(result):
        found.append("All else here rests on the moistures as the meter read them.")
    if result.energy is not None and result.energy.covered_share < 0.9:
        found.append("Water rests on part of the grain; the rest is taken to be like it.")
    if result.energy is not None and result.energy.heat_read_share < 0.9:
        found.append("Fuel rests on part of the time; the rest is taken to be like it.")
    return found


def _given_away(request: RunReviewRequest, result: Review) -> list[str]:
    """What over-drying cost, and of how much of the grain that is said."""
    over, stream = result.over_dried, result.stream
    if over is None or stream is None or over.weight_given_away <= 0.0:
        return []
    given = say(over.weight_given_away, "mass", request.units, decimals=0)
    worth = f", worth {over.money:,.0f} in the currency of your price"
    cost = worth if request.grain_price else ""
    read = round(100.0 * stream.read_share)
    part = f", in the {read} % of the grain that was read" if read < 100 else ""
    return [f"Drying below the market moisture gave away {given} of saleable water{cost}{part}."]


def caution_codes(result: Review) -> list[str]:
    """Codes of the cautions that apply."""
    codes = []
    if not result.run.any_left or any(spell.of_fire for spell in result.spells):
        codes.append("fire-column")
    stream = result.stream
    if stream is not None and stream.too_wet_share > 0.1:
        codes.append("under-drying")
    over = result.over_dried
    given_away = over is not None and over.weight_given_away > 0.0
    if stream is not None and stream.too_dry_share > 0.1 and given_away:
        codes.append("over-drying")
    if any(drift.verdict == "drifts" for drift in result.drifts) or _meter_off(result):
        codes.append("meter-uncertain")
    return codes


def assumed(request: RunReviewRequest, result: Review) -> list[Assumed]:
    """Every input that was filled in."""
    entries: list[Assumed] = []
    if request.market_moisture is None:
        entries.append(
            AssumedQuantity(
                input="market_moisture", quantity="moisture", value=request.target,
                why="No market moisture was given; over-drying is counted from the target.",
                source="the request's target",
            )
        )  # fmt: skip
    if result.groups:
        entries.append(
            AssumedQuantity(
                input="share of the grain below the column sensors", quantity="percent",
                value=LAG_SHARE_OF_TRANSIT, low=LAG_SHARE_OF_TRANSIT, high=1.0,
                why="Discharge moisture belongs to the column temperature its grain felt.",
                source="common practice, no source: half a transit to a transit",
            )
        )  # fmt: skip
    return entries
