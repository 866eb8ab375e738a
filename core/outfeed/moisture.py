"""How much grain is left when water leaves it: moisture bases, water shrink, handling loss.

Moisture on the wet basis is water over wet weight, on the dry basis water over dry matter. Drying
takes water and leaves dry matter, so the weight that goes is exactly ``(Mi - Mf)/(1 - Mf)`` of
the wet weight [1]_. What is lost by dust, broken kernels and respiration is another thing, the
handling loss; it is stated as a share of the wet weight, as buyers do [2]_.

.. [1] Mass balance; also Sumner, P. E., "Grain and soybean drying on Georgia farms", University of
   Georgia Extension, and Karki, D., "Corn grain moisture shrinkage", South Dakota State University
   Extension.
.. [2] Hicks, D. R. and H. A. Cloud, "Calculating grain weight shrinkage in corn due to mechanical
   drying", National Corn Handbook NCH-61.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray, as_floats
from outfeed.limits import MOISTURE_WB, SENSIBLE, Range
from outfeed.methods import DERIVED, READ, SECOND_SOURCE, Method

HANDLING_LOSS = Range("handling loss", 0.0, 0.05, "", SENSIBLE)
WEIGHT = Range("weight of grain", 0.0, 1e10, "kg", SENSIBLE)
MOISTURE_DB = Range("moisture, dry basis", 0.0, 1.5, "", "0.60 of the wet weight")

USUAL_HANDLING_LOSS = 0.005
"""Handling loss usually taken, share of the wet weight: NCH-61 practice, recalled; a second public
source agrees."""

FARM_HANDLING_LOSS = Range(
    "handling loss on farms",
    0.0022,
    0.0171,
    "",
    "Iowa State University research, quoted by South Dakota State University Extension (Karki)",
)

WATER_SHRINK = Method(
    id="shrink.water",
    title="Weight lost as water between two moistures",
    source="Mass balance; Sumner, University of Georgia Extension; Karki, South Dakota State "
    "University Extension",
    known=DERIVED,
    valid=(MOISTURE_WB,),
)
HANDLING = Method(
    id="shrink.handling.nch-61",
    title="Handling loss as a share of the wet weight",
    source="Hicks and Cloud, National Corn Handbook NCH-61; range from Iowa State University "
    "research quoted by South Dakota State University Extension",
    known=SECOND_SOURCE,
    valid=(FARM_HANDLING_LOSS,),
    note="0.22 to 1.71 % was measured on farms; below 1 % is called reasonable.",
)
OVER_DRYING = Method(
    id="shrink.over-drying",
    title="Saleable weight given away by drying below the market moisture",
    source="Mass balance; University of Nebraska-Lincoln, CropWatch, on soybean moisture at "
    "delivery",
    known=READ,
    valid=(MOISTURE_WB,),
)
METHODS = (WATER_SHRINK, HANDLING, OVER_DRYING)


def dry_basis(moisture_wb: ArrayLike) -> FloatArray:
    """Moisture on the dry basis from the wet basis.

    Parameters
    ----------
    moisture_wb : array_like
        Moisture, wet basis [-], 0 to 0.60.

    Returns
    -------
    ndarray
        Water over dry matter [-], same shape.

    Raises
    ------
    OutOfRange
        Moisture outside its range.
    """
    wet = MOISTURE_WB.check(moisture_wb, "moisture_wb")
    return (wet / (1.0 - wet))[()]


def wet_basis(moisture_db: ArrayLike) -> FloatArray:
    """Moisture on the wet basis from the dry basis.

    Parameters
    ----------
    moisture_db : array_like
        Moisture, dry basis [-], 0 to 1.5.

    Returns
    -------
    ndarray
        Water over wet weight [-], same shape.

    Raises
    ------
    OutOfRange
        Moisture outside its range.
    """
    dry = MOISTURE_DB.check(moisture_db, "moisture_db")
    return (dry / (1.0 + dry))[()]


def water_shrink(initial_moisture_wb: ArrayLike, final_moisture_wb: ArrayLike) -> FloatArray:
    """Share of the wet weight that leaves as water.

    Negative where the final moisture is the higher one: the grain gains weight.

    Parameters
    ----------
    initial_moisture_wb, final_moisture_wb : array_like
        Moistures before and after, wet basis [-], 0 to 0.60.

    Returns
    -------
    ndarray
        Water shrink over the weight before [-], broadcast shape.

    Raises
    ------
    OutOfRange
        A moisture outside its range.
    """
    initial = MOISTURE_WB.check(initial_moisture_wb, "initial_moisture_wb")
    final = MOISTURE_WB.check(final_moisture_wb, "final_moisture_wb")
    return ((initial - final) / (1.0 - final))[()]


@dataclass(frozen=True, slots=True, eq=False)
class Shrink:
    """Where the weight of a load goes when it is brought to a moisture.

    Weights add up: `wet_weight` = `final_weight` + `water_removed` + `handling_lost`.

    Attributes
    ----------
    wet_weight : ndarray
        Weight before [kg].
    final_weight : ndarray
        Weight left at the final moisture [kg].
    water_removed : ndarray
        Water that left [kg]; negative where grain would have to take up water.
    handling_lost : ndarray
        Grain lost in handling, weighed at the final moisture [kg].
    dry_matter : ndarray
        Dry matter before [kg].
    final_dry_matter : ndarray
        Dry matter left [kg].
    water_shrink : ndarray
        Water over the weight before [-].
    handling_loss : ndarray
        Handling loss over the weight before [-]; zero where nothing was dried.
    total_shrink : ndarray
        Sum of the two [-].
    """

    wet_weight: FloatArray
    final_weight: FloatArray
    water_removed: FloatArray
    handling_lost: FloatArray
    dry_matter: FloatArray
    final_dry_matter: FloatArray
    water_shrink: FloatArray
    handling_loss: FloatArray
    total_shrink: FloatArray


def shrink(
    wet_weight: ArrayLike,
    initial_moisture_wb: ArrayLike,
    final_moisture_wb: ArrayLike,
    handling_loss: ArrayLike = USUAL_HANDLING_LOSS,
) -> Shrink:
    """Weight left, water gone and grain lost when loads are brought to a moisture.

    Grain already at or below the final moisture is not dried: it bears no handling loss, and its
    `final_weight` is what the same dry matter would weigh at the final moisture.

    Parameters
    ----------
    wet_weight : array_like
        Weight before [kg], zero or more.
    initial_moisture_wb, final_moisture_wb : array_like
        Moistures before and after, wet basis [-], 0 to 0.60.
    handling_loss : array_like
        Handling loss over the weight before [-], 0 to 0.05.

    Returns
    -------
    Shrink
        Arrays of the broadcast shape; scalars for scalars.

    Raises
    ------
    OutOfRange
        A value outside its range.

    References
    ----------
    .. [1] Hicks and Cloud, National Corn Handbook NCH-61.
    """
    wet, initial, final, loss = as_floats(
        WEIGHT.check(wet_weight, "wet_weight"),
        MOISTURE_WB.check(initial_moisture_wb, "initial_moisture_wb"),
        MOISTURE_WB.check(final_moisture_wb, "final_moisture_wb"),
        HANDLING_LOSS.check(handling_loss, "handling_loss"),
    )
    water = (initial - final) / (1.0 - final)
    loss = np.where(initial > final, loss, 0.0)
    kept = wet * (1.0 - water - loss)
    return Shrink(
        wet_weight=wet[()],
        final_weight=kept[()],
        water_removed=(wet * water)[()],
        handling_lost=(wet * loss)[()],
        dry_matter=(wet * (1.0 - initial))[()],
        final_dry_matter=(kept * (1.0 - final))[()],
        water_shrink=water[()],
        handling_loss=loss[()],
        total_shrink=(water + loss)[()],
    )


def wet_weight_for(
    final_weight: ArrayLike,
    initial_moisture_wb: ArrayLike,
    final_moisture_wb: ArrayLike,
    handling_loss: ArrayLike = USUAL_HANDLING_LOSS,
) -> FloatArray:
    """Wet grain that must be put in to get a weight out: `shrink` read backwards.

    Parameters
    ----------
    final_weight : array_like
        Weight wanted at the final moisture [kg], zero or more.
    initial_moisture_wb, final_moisture_wb : array_like
        Moistures before and after, wet basis [-], 0 to 0.60.
    handling_loss : array_like
        Handling loss over the weight before [-], 0 to 0.05.

    Returns
    -------
    ndarray
        Weight before [kg], broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    wanted = WEIGHT.check(final_weight, "final_weight")
    unit = shrink(1.0, initial_moisture_wb, final_moisture_wb, handling_loss)
    return np.asarray(wanted / unit.final_weight)[()]


@dataclass(frozen=True, slots=True, eq=False)
class OverDrying:
    """What drying below the market moisture gives away; zero where grain is not below it.

    Attributes
    ----------
    weight_given_away : ndarray
        Saleable weight lost [kg]; all of it is water that need not have been evaporated.
    share_given_away : ndarray
        The same over what could have been sold [-].
    """

    weight_given_away: FloatArray
    share_given_away: FloatArray


def over_drying(
    delivered_weight: ArrayLike, delivered_moisture_wb: ArrayLike, market_moisture_wb: ArrayLike
) -> OverDrying:
    """Weight given away by delivering grain drier than the market asks.

    Parameters
    ----------
    delivered_weight : array_like
        Weight delivered [kg], zero or more.
    delivered_moisture_wb : array_like
        Its moisture, wet basis [-], 0 to 0.60.
    market_moisture_wb : array_like
        Moisture up to which the full weight is paid, wet basis [-], 0 to 0.60.

    Returns
    -------
    OverDrying
        Arrays of the broadcast shape.

    Raises
    ------
    OutOfRange
        A value outside its range.
    """
    weight, delivered, market = as_floats(
        WEIGHT.check(delivered_weight, "delivered_weight"),
        MOISTURE_WB.check(delivered_moisture_wb, "delivered_moisture_wb"),
        MOISTURE_WB.check(market_moisture_wb, "market_moisture_wb"),
    )
    below = np.maximum(market - delivered, 0.0)
    given = weight * below / (1.0 - market)
    return OverDrying(
        weight_given_away=given[()],
        share_given_away=(below / (1.0 - delivered))[()],
    )
