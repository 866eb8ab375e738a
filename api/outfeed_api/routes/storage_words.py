"""Storage life in words."""

from __future__ import annotations

from outfeed.grains import Grain, StorageMoisture
from outfeed.storage_charts import charts_of
from outfeed.storage_life import GRADE_LOSS, USUAL_DAMAGE, has_formula
from outfeed.storage_moisture import cold_enough, holds_at, safe_moistures
from outfeed_api.models import Assumed, AssumedQuantity
from outfeed_api.routes.storage_models import SafeMoisture, SourceLife, StorageLifeRequest
from outfeed_api.units import say
from outfeed_api.wording import moisture

DAY = 86_400.0  # s
SOON = 30.0 * DAY  # s; below it the answer warns, common practice, no source
MONTH = 365.25 / 12.0 * DAY  # s; a mean month
MANY_DAYS = 10.0  # from here on days are said whole
# degF in October, November, December: Iowa State University Extension, crop news (2008).
COOLING_STEPS = ((40.0, 45.0), (35.0, 40.0), (28.0, 35.0))
SOUND_GRAIN = "Charts hold for sound grain: for cracked or immature grain one source halves them."
DIFFER = "Sources differ; plan by the most cautious one."
ONLY_ONE = "Only one source speaks for grain in this state; another might give it less."


def warmest(request: StorageLifeRequest) -> float | None:
    """The warmest the grain is, now or in the plan [degC]; None where nobody told.

    Parameters
    ----------
    request : StorageLifeRequest
        In SI.

    Returns
    -------
    float or None
        For `outfeed.storage_moisture.holds_at`.
    """
    if request.temperature is None:
        return None
    return max([request.temperature, *(stay.temperature for stay in request.plan or [])])


def shown(request: StorageLifeRequest, grain: Grain) -> tuple[StorageMoisture, ...]:
    """The rows of advice that an answer shows.

    Parameters
    ----------
    request : StorageLifeRequest
        In SI.
    grain : Grain
        From the catalogue.

    Returns
    -------
    tuple of StorageMoisture
        See `outfeed.storage_moisture.safe_moistures`.
    """
    return safe_moistures(grain, request.months, warmest(request))


def _cold_enough(request: StorageLifeRequest, grain: Grain) -> str | None:
    """How cold grain has to be that is dry enough only if cold, in words; None for other grain."""
    if request.moisture is None:
        return None
    cold = cold_enough(shown(request, grain), request.moisture, warmest(request))
    return None if cold is None else _degrees(request, cold)


def _degrees(request: StorageLifeRequest, value: float) -> str:
    return say(value, "temperature", request.units, decimals=0)


def _keeps(grain: Grain) -> str:
    """The verb that goes with the name of a grain: oats and beans are many."""
    return "keep" if grain.name.split(" (")[0].endswith("s") else "keeps"


def _days(value: float | None) -> str:
    """A storage life [s]: where half a day counts, to a tenth of one."""
    days = (value or 0.0) / DAY
    if days >= MANY_DAYS:
        return f"{days:,.0f} days"
    if days >= 2.0:
        return f"{days:.1f}".removesuffix(".0") + " days"
    hours = round(24.0 * days)
    return f"{hours} hour{'s' * (hours != 1)}" if hours else "less than an hour"


def decision(
    request: StorageLifeRequest,
    grain: Grain,
    counted: list[SourceLife],
    safe: list[SafeMoisture],
) -> str:
    """The decision in a sentence or two."""
    if request.temperature is None or request.moisture is None:
        return f"{len(request.states or [])} states looked up; each row names its cautious source."
    wet, warm = moisture(request.moisture), _degrees(request, request.temperature)
    where = f"{grain.name} at {wet} and {warm}"
    inside = where[:1].lower() + where[1:]
    if not counted:
        return _without_life(request, grain, inside, safe)
    least = min(counted, key=lambda row: row.left or 0.0)
    most = max(counted, key=lambda row: row.left or 0.0)
    left = least.left or 0.0
    if left <= 0.0:
        return f"The storage life of {inside} is used up{_by(counted)}: move it now."
    sure = "at least " if least.at_least else "about "
    more = " more" * bool(request.history)
    text = f"{where} {_keeps(grain)} {sure}{_days(left)}{more}{_by(counted)}"
    if len(counted) > 1 and (most.left or 0.0) > 1.05 * left:
        text += f" ({_days(most.left)} by the least cautious)"
    if request.history:
        text += f"; up to {100.0 * max(row.used or 0.0 for row in counted):,.0f} % is used up"
    over = [row.over_after for row in counted if row.over_after is not None]
    if over:
        return f"{text}. The plan outlasts it after {_days(min(over))}: cool, dry or move sooner."
    if request.plan:
        share = max(row.used_after_plan or 0.0 for row in counted)
        text += f". After the plan up to {100.0 * share:,.0f} % is used up"
    return f"{text}.{_against_months(request, grain, counted, safe)}{_of_holding(request, counted)}"


def holding_limit(request: StorageLifeRequest, counted: list[SourceLife]) -> float | None:
    """Time in which wet holding uses up its share of the life [s], by the most cautious source.

    Parameters
    ----------
    request : StorageLifeRequest
        In SI.
    counted : list of SourceLife
        The sources that speak for the grain.

    Returns
    -------
    float or None
        None where no share was asked for, or no source speaks.
    """
    if request.holding_share is None or not counted:
        return None
    share = request.holding_share
    return min(max(share - (row.used or 0.0), 0.0) * (row.life or 0.0) for row in counted)


def _of_holding(request: StorageLifeRequest, counted: list[SourceLife]) -> str:
    """How long it may wait before the dryer; empty where nobody asked."""
    limit = holding_limit(request, counted)
    if limit is None:
        return ""
    share = f"{100.0 * (request.holding_share or 0.0):.3g} % of its life"
    if limit <= 0.0:
        return f" The {share} that wet holding may use up is gone: dry it now."
    return f" Wet holding uses up {share} in {_days(limit)}{' more' * bool(request.history)}."


def _against_months(
    request: StorageLifeRequest,
    grain: Grain,
    counted: list[SourceLife],
    safe: list[SafeMoisture],
) -> str:
    """Whether the grain lasts as long as it is to be kept; empty where nobody asked."""
    if request.months is None:
        return ""
    wanted = _months(request.months)
    if any(_falls_short(request, row) for row in counted):
        return f" That falls short of {wanted}: cool it, dry it further or move it sooner."
    unsure = [row for row in counted if _is_bound(request, row) and not _lasts(request, row)]
    if unsure:
        shown = "no source here" if len(unsure) == len(counted) else "not every source here"
        return f" Whether that is {wanted} {shown} shows."
    held = "kept as planned" if request.plan else "held at that temperature"
    cold = _cold_enough(request, grain)
    if cold is not None:
        return (
            f" By the moistures below it is dry enough for {wanted} only at {cold} or colder: "
            f"warmer it keeps so long only while it is {held}."
        )
    if safe and not _dry_enough(safe):
        return (
            f" It is wetter than every moisture below advised for {wanted}: it keeps so long only "
            f"while it is {held}."
        )
    return ""


def _months(months: float) -> str:
    return f"{months:g} month{'s' * (months != 1.0)}"


def _lasts(request: StorageLifeRequest, row: SourceLife) -> bool:
    """Whether the stays so far and what a source leaves make up the months from harvest."""
    past = sum(stay.duration for stay in request.history or [])
    return past + _to_come(request, row) >= (request.months or 0.0) * MONTH


def _to_come(request: StorageLifeRequest, row: SourceLife) -> float:
    """How long the grain keeps from now [s]: as planned and on at the last stay, or as it is."""
    if not request.plan:
        return row.left or 0.0
    if row.over_after is not None:
        return row.over_after
    return sum(stay.duration for stay in request.plan) + (row.left_after_plan or 0.0)


def _is_bound(request: StorageLifeRequest, row: SourceLife) -> bool:
    """Whether the grain may keep longer than a source shows."""
    return bool(row.after_plan_at_most if request.plan else row.at_least)


def _falls_short(request: StorageLifeRequest, row: SourceLife) -> bool:
    """Whether a source says that the grain spoils before it is to be moved."""
    return not _is_bound(request, row) and not _lasts(request, row)


def _dry_enough(safe: list[SafeMoisture]) -> bool:
    """Whether the grain is as dry, and as cold, as one at least of the rows shown asks."""
    return any(row.dry_enough for row in safe)


def _by(counted: list[SourceLife]) -> str:
    return (
        " by the most cautious source"
        if len(counted) > 1
        else " by the one source that speaks for it"
    )


def assumed(request: StorageLifeRequest, grain: Grain) -> list[Assumed]:
    """What the formula for corn had to fill in."""
    if not has_formula(grain):
        return []
    found: list[Assumed] = []
    if request.damage is None:
        found.append(
            AssumedQuantity(
                input="damage",
                quantity="percent",
                value=USUAL_DAMAGE,
                why="usual for combine-shelled corn; its multiplier is near one",
                source="Bern, Steele and Morey (2002)",
            )
        )
    if request.permissible_loss is None:
        found.append(
            AssumedQuantity(
                input="permissible_loss",
                quantity="percent",
                value=GRADE_LOSS,
                low=0.0035,
                high=GRADE_LOSS,
                why="half a percent of dry matter costs a grade; 0.35 % is advised for "
                "combine-shelled corn",
                source="Steele et al. (1969); Ng et al. (1998)",
            )
        )
    return found


def notes(request: StorageLifeRequest, grain: Grain, counted: list[SourceLife]) -> list[str]:
    """What to know before relying on the days."""
    notes = []
    if len(counted) == 1:
        notes.append(ONLY_ONE)
    elif counted or request.temperature is None:
        notes.append(DIFFER)
    if counted or request.temperature is None:
        notes += [
            SOUND_GRAIN,
            "Air through the grain holds its temperature down but does not lengthen these times.",
        ]
    if any(row.at_least for row in counted):
        notes.append("'At least' is a bound: the chart ends there or prints only 'longer'.")
    if any(row.used_at_most or row.after_plan_at_most for row in counted):
        notes.append("A share used is 'at most' that where a chart gave only such a bound.")
    if has_formula(grain):
        steps = " / ".join(_span(request, *span) for span in COOLING_STEPS)
        notes.append(
            f"Cool stored corn in steps: {steps} in October, November and December (Iowa State "
            "University Extension, 2008)."
        )
    if grain.id == "barley" and not request.germination:
        notes.append("For malting or seed set `germination`: it is lost before mould is seen.")
    cold = [row for row in shown(request, grain) if row.warmest is not None]
    if cold:
        notes.append(_for_cold_grain(request, cold))
    if request.months is not None:
        notes.append(
            "Months are matched to the sources' own words (into spring, into summer) as counted "
            "from an autumn harvest: common practice, no source."
        )
    return notes


def _for_cold_grain(request: StorageLifeRequest, rows: list[StorageMoisture]) -> str:
    """Which advice is for cold grain, and how cold."""
    listed = (
        f"{moisture(row.high)} at {_degrees(request, row.warmest or 0.0)} or colder" for row in rows
    )
    return (
        "Some of the moistures below are advised for cold grain and count only where the grain is "
        f"as cold now and in the plan: {', '.join(listed)}."
    )


def caution_codes(
    request: StorageLifeRequest,
    counted: list[SourceLife],
    rows: list[SourceLife] | None,
    safe: list[SafeMoisture],
) -> list[str]:
    """Codes of the cautions that apply."""
    codes = ["storage-watch", "entrapment"]
    wet = rows is not None and not _dry_enough(safe)
    too_wet = wet and (not counted or (bool(safe) and request.months is not None))
    if too_wet or any((row.left or 0.0) < SOON or _falls_short(request, row) for row in counted):
        codes = ["under-drying", *codes]
    return codes


def _span(request: StorageLifeRequest, low: float, high: float) -> str:
    ends = ((edge - 32.0) / 1.8 for edge in (low, high))
    first, last = (say(end, "temperature", request.units, decimals=0) for end in ends)
    return f"{first.split()[0]} to {last}"


def _without_life(
    request: StorageLifeRequest, grain: Grain, where: str, safe: list[SafeMoisture]
) -> str:
    """What to do with grain whose storage time nobody published, or not so warm and wet."""
    published = has_formula(grain) or bool(charts_of(grain))
    text = (
        f"No published source covers {where}"
        if published
        else f"Nobody published how long {where} {_keeps(grain)}"
    )
    if _dry_enough(safe):
        return f"{text}; it is as dry as some source advises: go by the safe moistures below."
    cold = _cold_enough(request, grain)
    if cold is not None:
        keep = f" to keep {_months(request.months)}" if request.months is not None else ""
        return (
            f"{text}; it is dry enough{keep} only while it is at {cold} or colder: cool it, or dry "
            f"it further, at once."
        )
    warm = warmest(request)
    advised = [row.high for row in grain.storage_moistures if holds_at(row, warm)]
    shorter = advised and (request.moisture or 0.0) <= max(advised)
    if request.months is None or not shorter:
        return f"{text}: treat it as spoiling, cool or dry it at once."
    wanted = _months(request.months)
    allowed = [row.high for row in shown(request, grain) if holds_at(row, warm)]
    if not allowed:
        return f"{text}, and none advises a moisture for {wanted}: dry it or move it sooner."
    return (
        f"{text}. To keep {wanted} it is too wet by every source below, which allow "
        f"{moisture(max(allowed))} at most: dry it further, or move it sooner."
    )
