"""How hard a bed of grain resists air: pressure from airflow, and airflow from pressure.

The pressure to push air through a metre of clean, loosely filled grain is a Q^2/ln(1 + b Q), with
two constants per grain [1]_. A bin packs, which may add half again [1]_; air that crosses a column
sideways meets about half the resistance [2]_; fines add to it [3]_. Corn and wheat have a second
pair of constants for aeration flows; the two pairs of corn stand 40 % apart where they meet, so a
result always says which it used and nothing switches by itself.

.. [1] ASAE D272.3, Resistance to airflow of grains, seeds, other agricultural products, and
   perforated metal sheets (curves of Shedd, 1953).
.. [2] Kay, Bern and Hurburgh (1989), Horizontal and vertical airflow resistance of shelled corn at
   various bulk densities, Transactions of the ASAE 32(2).
.. [3] Haque, Foster, Chung and Lai (1978), Static pressure drop across a bed of corn mixed with
   fines, Transactions of the ASAE 21(5), as taken up by ASAE D272.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from outfeed.arrays import ArrayLike, FloatArray
from outfeed.errors import NotPublished, UnknownName
from outfeed.grains import AirflowSet, Grain, load_general
from outfeed.limits import SENSIBLE, Range
from outfeed.methods import DERIVED, READ, RECALLED, Method, MethodUse, use
from outfeed.roots import bracketed_newton

Direction = Literal["vertical", "horizontal"]
DIRECTIONS: tuple[Direction, ...] = ("vertical", "horizontal")

MAIN = "main"
LOW_FLOW = "low-flow"

AIRFLOW = Range("airflow per area", 0.0, 2.0, "m3/(s m2)", SENSIBLE)
DEPTH = Range("depth of grain", 0.05, 60.0, "m", SENSIBLE)
PACKING = Range("packing factor", 0.5, 3.0, "", SENSIBLE)
FINES = Range(
    "fines", 0.0, 0.20, "", "Haque et al. (1978), up to 20 % fine material in corn by weight"
)
BED_PRESSURE = Range("pressure across the bed", 0.0, 50_000.0, "Pa", SENSIBLE)

FINES_AIRFLOW = Range("airflow per area", 0.076, 0.20, "m3/(s m2)", "Haque et al. (1978)")
FINES_AIRFLOW_LIMIT = Range(
    "airflow per area", 0.0, 0.35, "m3/(s m2)", "above it the correction for fines stops rising"
)

HORIZONTAL_STEP = 0.1
"""Airflow at which the sideways factor steps [m3/(s m2)]: 6 m3/(min m2), Kay et al. (1989)."""
_FINES_AT_REST, _FINES_PER_AIRFLOW = 14.5566, 26.418  # Haque et al. (1978), recalled

SHEDD = Method(
    id="airflow.resistance.asae-d272-3",
    title="Pressure drop of air through clean, loosely filled grain",
    source="ASAE D272.3, Resistance to airflow of grains and seeds (Shedd's curves)",
    known=RECALLED,
    note="How well the constants are known differs by grain; the catalogue says so for each. "
    "Floor, ducts and transition are not included.",
)
PACKED = Method(
    id="airflow.packing.asae-d272-3",
    title="Packing factor of grain in a bin",
    source="ASAE D272.3; a factor of 1.5 reproduces the static pressures of Dorn, University of "
    "Nebraska-Lincoln CropWatch (2008), within its rounding",
    known=READ,
    note="The standard says packing may add half again; a stirred or freshly filled bin has less.",
)
SIDEWAYS = Method(
    id="airflow.horizontal.kay-bern-hurburgh-1989",
    title="Resistance of shelled corn to air that crosses it sideways",
    source="Kay, Bern and Hurburgh (1989), Transactions of the ASAE 32(2)",
    known=READ,
    note="0.58 of the vertical resistance above 6 m3/min per m2 and 0.45 of it at or below; "
    "measured on shelled corn only.",
)
WITH_FINES = Method(
    id="airflow.fines.haque-1978",
    title="Added resistance of corn that carries fines",
    source="Haque, Foster, Chung and Lai (1978), Transactions of the ASAE 21(5); ASAE D272",
    known=RECALLED,
    valid=(FINES_AIRFLOW,),
    note="Fines mixed evenly through the bed; where they lie in a column under the spout the air "
    "goes round them.",
)
OPERATING_POINT = Method(
    id="airflow.operating-point",
    title="Where a fan's table meets the resistance of a bed",
    source="Equality of the two pressures; the fan's table comes from the caller",
    known=DERIVED,
)
METHODS = (SHEDD, PACKED, SIDEWAYS, WITH_FINES, OPERATING_POINT)

_AIRFLOW_TOLERANCE = 1e-12  # m3/(s m2), last step of the inverse


@dataclass(frozen=True, slots=True)
class Bed:
    """A bed of grain that air is pushed through.

    Attributes
    ----------
    grain : Grain
        From the catalogue.
    depth : float
        Way of the air through the grain [m], 0.05 to 60: depth of a bin, thickness of a column.
    packing : float
        Resistance over that of a loose fill [-], 0.5 to 3.
    direction : str
        "vertical", or "horizontal" (sideways through a column; measured for corn only).
    fines : float
        Fine material in the grain by weight [-], 0 to 0.20 (measured for corn only).
    constants : str
        Name of the catalogue's pair of constants: "main" or "low-flow".
    """

    grain: Grain
    depth: float
    packing: float = 1.5
    direction: Direction = "vertical"
    fines: float = 0.0
    constants: str = MAIN

    def __post_init__(self) -> None:
        DEPTH.check(self.depth, "depth")
        PACKING.check(self.packing, "packing")
        FINES.check(self.fines, "fines")
        airflow_set(self.grain, self.constants)
        if self.direction not in DIRECTIONS:
            raise UnknownName("direction", self.direction, DIRECTIONS)
        if self.direction == "horizontal" and not _measured_sideways(self.grain):
            raise NotPublished("sideways airflow resistance", self.grain.id, name="direction")
        if self.fines > 0.0 and self.grain.id != "corn-yellow-dent":
            raise NotPublished("effect of fines on airflow", self.grain.id, name="fines")

    def use(self, airflow: ArrayLike) -> tuple[MethodUse, ...]:
        """The methods behind this bed at an airflow, with what left its published range.

        Parameters
        ----------
        airflow : array_like
            Airflow per area [m3/(s m2)].

        Returns
        -------
        tuple of MethodUse
            Resistance first.
        """
        chosen = airflow_set(self.grain, self.constants)
        uses = [MethodUse(SHEDD, _outside(chosen, airflow))]
        if self.packing != 1.0:
            uses.append(use(PACKED))
        if self.direction == "horizontal":
            uses.append(use(SIDEWAYS))
        if self.fines > 0.0:
            uses.append(use(WITH_FINES, airflow_per_area=airflow))
        return tuple(uses)


def airflow_set(grain: Grain, name: str = MAIN) -> AirflowSet:
    """One pair of resistance constants of a grain.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    name : str
        "main", or "low-flow" where the grain has one.

    Returns
    -------
    AirflowSet
        The constants with their range and source.

    Raises
    ------
    NotPublished
        The grain has none at all.
    UnknownName
        It has none of that name; the error lists those it has.
    """
    if not grain.airflow:
        raise NotPublished("airflow resistance", grain.id)
    for candidate in grain.airflow:
        if candidate.name == name:
            return candidate
    known = tuple(candidate.name for candidate in grain.airflow)
    raise UnknownName("set of airflow constants", name, known, name="constants")


def packing_factor() -> float:
    """What packing in a bin may make of the resistance of a loose fill.

    Returns
    -------
    float
        Factor [-], 1.5 by ASAE D272.3.
    """
    return _general_factor("packing")


def loose_resistance(constants: AirflowSet, airflow: ArrayLike) -> FloatArray:
    """Pressure gradient in clean, loosely filled grain, air going upward.

    Parameters
    ----------
    constants : AirflowSet
        Constants of the grain.
    airflow : array_like
        Airflow per area [m3/(s m2)], 0 to 2.

    Returns
    -------
    ndarray
        Pressure drop per depth [Pa/m], same shape.

    Raises
    ------
    OutOfRange
        Airflow outside its range.

    References
    ----------
    .. [1] ASAE D272.3: dP/L = a Q^2/ln(1 + b Q).
    """
    flow = AIRFLOW.check(airflow, "airflow")
    some = np.where(flow > 0.0, flow, 1.0)
    return np.where(flow > 0.0, constants.a * some**2 / np.log1p(constants.b * some), 0.0)[()]


def pressure_drop(bed: Bed, airflow: ArrayLike) -> FloatArray:
    """Pressure that pushes an airflow through a bed.

    Parameters
    ----------
    bed : Bed
        The grain, its depth and its state.
    airflow : array_like
        Airflow per area across the way of the air [m3/(s m2)], 0 to 2; with fines 0 to 0.35.

    Returns
    -------
    ndarray
        Pressure [Pa], same shape; rises with airflow.

    Raises
    ------
    OutOfRange
        Airflow outside its range.
    """
    if bed.fines > 0.0:
        FINES_AIRFLOW_LIMIT.check(airflow, "airflow", method=WITH_FINES.id)
    loose = loose_resistance(airflow_set(bed.grain, bed.constants), airflow)
    return np.asarray(loose * bed.depth * bed.packing * _state_factor(bed, airflow))[()]


def airflow_at(bed: Bed, pressure: ArrayLike) -> FloatArray:
    """Airflow that a pressure pushes through a bed: `pressure_drop` read backwards.

    Where the sideways factor steps, a span of pressures belongs to one airflow, that of the step.

    Parameters
    ----------
    bed : Bed
        The grain, its depth and its state.
    pressure : array_like
        Pressure across the bed [Pa], 0 to 50,000.

    Returns
    -------
    ndarray
        Airflow per area [m3/(s m2)], same shape.

    Raises
    ------
    OutOfRange
        A pressure outside its range, or one that would need more airflow than the method allows.
    """
    wanted = BED_PRESSURE.check(pressure, "pressure")
    most = airflow_limit(bed)
    highest = float(pressure_drop(bed, most))
    Range(BED_PRESSURE.quantity, 0.0, highest, "Pa", "airflow at its limit").check(
        wanted, "pressure", method=SHEDD.id
    )

    def excess(flow: FloatArray) -> tuple[FloatArray, FloatArray]:
        nudge = 1e-6 * (flow + 1e-6)
        here, above = pressure_drop(bed, flow), pressure_drop(bed, np.minimum(flow + nudge, most))
        return here - wanted, np.maximum(above - here, 0.0) / nudge

    return bracketed_newton(
        excess, np.zeros_like(wanted), most, tolerance=_AIRFLOW_TOLERANCE, what="airflow per area"
    )[()]


def airflow_limit(bed: Bed) -> float:
    """Highest airflow for which the resistance of a bed may be computed.

    Parameters
    ----------
    bed : Bed
        The grain, its depth and its state.

    Returns
    -------
    float
        Airflow per area [m3/(s m2)].
    """
    return FINES_AIRFLOW_LIMIT.high if bed.fines > 0.0 else AIRFLOW.high


def per_area(airflow_per_mass: ArrayLike, depth: ArrayLike, bulk_density: ArrayLike) -> FloatArray:
    """Airflow per area from airflow per mass of grain in a bed of even depth.

    Parameters
    ----------
    airflow_per_mass : array_like
        Airflow per mass of grain [m3/(s kg)].
    depth : array_like
        Depth of the grain [m].
    bulk_density : array_like
        Bulk density [kg/m3]; for bushels of weight, the legal weight of one over its volume.

    Returns
    -------
    ndarray
        Airflow per area [m3/(s m2)], broadcast shape.
    """
    return np.asarray(np.multiply(airflow_per_mass, np.multiply(depth, bulk_density)))[()]


def step_at_the_switch(grain: Grain) -> float | None:
    """How far the low-flow constants lie off the main ones at the top of their range.

    Parameters
    ----------
    grain : Grain
        From the catalogue.

    Returns
    -------
    float or None
        Low-flow pressure over main pressure [-]; None for a grain with one pair.
    """
    names = {candidate.name: candidate for candidate in grain.airflow}
    if MAIN not in names or LOW_FLOW not in names or names[LOW_FLOW].q_to is None:
        return None
    switch = float(names[LOW_FLOW].q_to or 0.0)
    low = loose_resistance(names[LOW_FLOW], switch)
    return float(low / loose_resistance(names[MAIN], switch))


def _state_factor(bed: Bed, airflow: ArrayLike) -> FloatArray:
    flow = np.asarray(airflow, dtype=np.float64)
    factor = np.ones_like(flow)
    if bed.direction == "horizontal":
        fast, slow = _general_factor("sideways", "over"), _general_factor("sideways", "up to")
        factor = np.where(flow > HORIZONTAL_STEP, fast, slow)
    if bed.fines > 0.0:
        factor = factor * (1.0 + (_FINES_AT_REST - _FINES_PER_AIRFLOW * flow) * bed.fines)
    return factor


def _general_factor(*words: str) -> float:
    for factor in load_general().airflow_factors:
        if all(word in factor.name for word in words):
            return factor.figure.value
    raise NotPublished("airflow factor " + " ".join(words), "any grain")


def _measured_sideways(grain: Grain) -> bool:
    factors = load_general().airflow_factors
    return any("sideways" in one.name and grain.id in one.applies_to for one in factors)


def _outside(chosen: AirflowSet, airflow: ArrayLike) -> tuple[str, ...]:
    if chosen.q_from is None or chosen.q_to is None:
        return ()
    span = Range(AIRFLOW.quantity, chosen.q_from, chosen.q_to, AIRFLOW.unit, chosen.source)
    return () if bool(span.contains(airflow).all()) else (AIRFLOW.quantity,)
