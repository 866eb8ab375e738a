"""What setpoint advice gives the caller to keep and pass back: it keeps nothing itself."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from outfeed.errors import Inconsistent
from outfeed.limits import GRAIN_TEMPERATURE, MOISTURE_WB, SENSIBLE, Range
from outfeed.steering import belief as believing
from outfeed.steering import lag as lagging
from outfeed.steering import steps
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, Given, GrainId
from outfeed_api.moments import Elapsed, Moment
from outfeed_api.units import UnitSystem

MOVED = Range("move of the setpoint for known changes", -150.0, 150.0, "K", SENSIBLE)
MOST_DUE = 50
UNITS_KEPT = "What its figures are in; refused beside other `units` of the request."


class RunPart(Given):
    """Readings in a row that are off on one side of what was expected."""

    readings: int = Field(
        description="How many, those of one moment counted once.", ge=1, le=steps.LONGEST
    )
    off: Annotated[float, Measure("points", believing.DOUBT, example=0.012)] = Field(
        description="Their mean distance from what was expected before the first of them."
    )
    spread: Annotated[float, Measure("points", believing.LEVEL_SD, example=0.002)] = Field(
        description="Standard deviation of that expectation."
    )
    followed: Annotated[float, Measure("points", believing.DOUBT, example=0.004)] = Field(
        description="How much of `off` has been believed already."
    )


class BeliefPart(Given):
    """What was learned of this dryer; pass it back unchanged, under the same `units`."""

    units: UnitSystem | None = Field(None, description=UNITS_KEPT)
    reference_temperature: Annotated[
        float, Measure("temperature", GRAIN_TEMPERATURE, example=37.0)
    ] = Field(description="Column temperature at which `level` holds.")
    reference_inlet: Annotated[float, Measure("moisture", MOISTURE_WB, example=0.22)] = Field(
        description="Inlet moisture at which `level` holds; 0 while none was given."
    )
    level: Annotated[float, Measure("moisture", believing.LEVEL, example=0.155)] = Field(
        description="Discharge moisture expected at the references."
    )
    level_sd: Annotated[float, Measure("points", believing.LEVEL_SD, example=0.002)] = Field(
        description="Standard deviation of `level`."
    )
    sensitivity: Annotated[
        float, Measure("points-per-temperature", believing.SENSITIVITY, example=-0.0099)
    ] = Field(description="Change of discharge moisture per degree of column temperature.")
    sensitivity_sd: Annotated[
        float, Measure("points-per-temperature", believing.SENSITIVITY_SD, example=0.0036)
    ] = Field(description="Standard deviation of `sensitivity`.")
    sensitivity_prior: Annotated[
        float, Measure("points-per-temperature", believing.SENSITIVITY, example=-0.0099)
    ] = Field(description="What was assumed of `sensitivity` before anything was learned.")
    inlet_effect: Annotated[float, Measure("ratio", believing.INLET_EFFECT, example=-0.3)] = Field(
        description="Points at the discharge per point at the inlet, column temperature held."
    )
    inlet_effect_sd: Annotated[float, Measure("ratio", believing.INLET_EFFECT_SD, example=0.15)] = (
        Field(description="Standard deviation of `inlet_effect`.")
    )
    correlations: list[Annotated[float, Measure("ratio", believing.CORRELATION, example=0.1)]] = (
        Field(
            description="Correlations level-sensitivity, level-inlet, sensitivity-inlet.",
            min_length=3,
            max_length=3,
        )
    )
    at: Moment | None = Field(None, description="Time of the last reading learned from.")
    at_elapsed: Elapsed | None = Field(
        None, description="Time of the last reading learned from, on your own clock."
    )
    readings: int = Field(description="Readings learned from.", ge=0, le=1_000_000)
    last_doubt: Annotated[float, Measure("points", believing.DOUBT, example=0.0)] = Field(
        description="How far the last reading was off when it was doubted; 0 when believed."
    )
    reference_transit: (
        Annotated[float, Measure("hours", lagging.TRANSIT, example=7200.0)] | None
    ) = Field(
        None,
        description="Time in the dryer at which `level` holds; absent while readings are "
        "matched to what the column showed.",
    )
    grain: GrainId | None = Field(
        None,
        description="Grain it was learned from; absent in the beliefs of earlier versions, which "
        "are taken to be of the grain asked about. One of another grain is left out.",
        max_length=LONGEST_NAME,
    )
    run: RunPart | None = Field(
        None,
        description="The last readings, where they are off on one side; three in a row may be a "
        "step of the moisture, and are believed together.",
    )


class DuePart(Given):
    """What has been set for the known changes; pass it back unchanged, under the same `units`."""

    units: UnitSystem | None = Field(None, description=UNITS_KEPT)
    at: Moment | None = Field(None, description="When it was asked.")
    at_elapsed: Elapsed | None = Field(None, description="When it was asked, on your own clock.")
    moved: Annotated[float, Measure("temperature-difference", MOVED, example=2.0)] = Field(
        description="By how much the setpoint had been moved for changes on their way before that."
    )
    step: Annotated[float, Measure("temperature-difference", MOVED, example=1.0)] = Field(
        description="What of the `step` advised then is for them; it counts as set where "
        "`last_move` is no earlier than that."
    )
    changes: int = Field(description="How many changes were on their way.", ge=0, le=MOST_DUE)


def refuse_other_units(part: BeliefPart | DuePart, units: UnitSystem, name: str) -> None:
    """Refuse what an earlier answer gave in other units: its figures would be misread.

    Parameters
    ----------
    part : BeliefPart or DuePart
        As passed back.
    units : str
        Of the request.
    name : str
        Name of its field, for the error.

    Raises
    ------
    Inconsistent
        Units that are told and differ.
    """
    if part.units not in (None, units):
        raise Inconsistent(
            f"it is in {part.units} units and the request in {units}: ask in the `units` that it "
            "was given in",
            name,
        )
