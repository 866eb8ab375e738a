"""From a request about a dryer to the column model: its formulas, what is doubted, the rate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from outfeed import Inconsistent
from outfeed.dryer.assume import Assumption
from outfeed.dryer.closures import (
    BARKER,
    CORN_IDS,
    SORPTION_FROM_ISOTHERM,
    SORPTION_HEAT,
    ColumnModel,
    column_isotherm,
)
from outfeed.dryer.column import COLUMN, solve_outlet
from outfeed.dryer.doubt import assumed_rate_factor
from outfeed.dryer.doubt_lanes import FitDoubt
from outfeed.dryer.fit_model import FIT_VERSION
from outfeed.dryer.task import DRY_MATTER_RATE
from outfeed.methods import MethodUse
from outfeed.sorption import isotherm_method
from outfeed.thin_layer import METHODS as LAW_METHODS
from outfeed.thin_layer import law
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.refusals import naming
from outfeed_api.routes.dryer_input import DRIEST_USUAL, USUAL_REMOVAL, Machine, refuse_rate
from outfeed_api.routes.dryer_models import ColumnRequest, DryerGiven, DryerRequest, Fitted

FASTEST_TRANSIT, SLOWEST_TRANSIT = 300.0, 5.0 * 86_400.0
"""Transit times between which a given rate is followed [s]: sensible domain, no source."""
WHY = "grain would pass this column in less than 5 minutes, or take more than 5 days"


@dataclass(frozen=True, slots=True)
class Formulas:
    """The column model of a request.

    Attributes
    ----------
    model : ColumnModel
        Which formulas.
    fit : FitDoubt or None
        How well its factors are known.
    assumptions : tuple of Assumption
        The rate factor, where it was not fitted.
    """

    model: ColumnModel
    fit: FitDoubt | None
    assumptions: tuple[Assumption, ...]


def refuse_fit_alone(dryer: DryerGiven | None, fitted: Fitted | None) -> None:
    """Refuse a fit without the dryer it belongs to.

    Parameters
    ----------
    dryer : DryerGiven or None
        The description.
    fitted : Fitted or None
        The fit.

    Raises
    ------
    ProblemError
        Pointing at the fit.
    """
    if fitted is not None and dryer is None:
        detail = "a fit scales a described dryer: give `dryer` as it was fitted"
        raise ProblemError(INCONSISTENT, detail, [field_error("/fitted", detail)])


def formulas_of(request: DryerRequest) -> Formulas:
    """The column model of a request.

    Parameters
    ----------
    request : DryerRequest
        In SI.

    Returns
    -------
    Formulas
        With what was assumed.

    Raises
    ------
    ProblemError
        A fit for another grain or other kinetics.
    """
    fitted = request.fitted
    if fitted is None:
        model = ColumnModel(grain=request.grain, kinetics=request.kinetics)
        law(model.law)
        return Formulas(model, None, (assumed_rate_factor(model),))
    if fitted.grain != request.grain:
        _refuse("/fitted/grain", f"the fit is for {fitted.grain}, the grain is {request.grain}")
    if request.kinetics is not None and request.kinetics != fitted.kinetics:
        _refuse("/fitted/kinetics", f"the fit scales {fitted.kinetics}, not {request.kinetics}")
    if fitted.version != FIT_VERSION:
        _refuse("/fitted/version", f"a fit of this service has version {FIT_VERSION!r}")
    with naming("/fitted/isotherm"):
        column_isotherm(request.grain, fitted.isotherm)
    with naming("/fitted/kinetics"):
        law(fitted.kinetics)
    model = ColumnModel(
        grain=request.grain,
        isotherm=fitted.isotherm,
        kinetics=fitted.kinetics,
        rate_factor=fitted.rate_factor,
        airflow_factor=fitted.airflow_factor,
    )
    doubt = FitDoubt(
        fitted.runs,
        fitted.rate_spread,
        fitted.airflow_spread,
        fitted.correlation,
        fitted.discrepancy,
    )
    return Formulas(model, doubt, ())


def _refuse(pointer: str, detail: str) -> None:
    raise ProblemError(INCONSISTENT, detail, [field_error(pointer, detail)])


def expected_outlet(request: ColumnRequest) -> float | None:
    """Moisture at the discharge as far as the request tells.

    Parameters
    ----------
    request : ColumnRequest
        In SI.

    Returns
    -------
    float or None
        The target where it lies below the inlet [-].
    """
    target = request.target_moisture
    return target if target is not None and target < request.moisture else None


def dry_matter_rate(request: ColumnRequest, machine: Machine, model: ColumnModel) -> float:
    """Dry matter that the given rate means.

    Parameters
    ----------
    request : ColumnRequest
        In SI, with a rate.
    machine : Machine
        The dryer.
    model : ColumnModel
        Which formulas.

    Returns
    -------
    float
        Dry matter through the dryer [kg/s].

    Raises
    ------
    Inconsistent
        No rate.
    NotConverged
        The column did not settle.
    """
    if request.rate is None:
        raise Inconsistent("give `rate`, `target_moisture` or both", "rate", "target_moisture")
    return as_dry_matter(request.rate, request, machine, model)


def as_dry_matter(
    rate: float,
    request: ColumnRequest,
    machine: Machine,
    model: ColumnModel,
    pointer: str = "/rate",
) -> float:
    """Dry matter of a rate in the request's basis.

    Parameters
    ----------
    rate : float
        Grain [kg/s].
    request : ColumnRequest
        In SI.
    machine : Machine
        The dryer.
    model : ColumnModel
        Which formulas.
    pointer : str
        JSON pointer to the rate.

    Returns
    -------
    float
        Dry matter [kg/s].

    Raises
    ------
    ProblemError
        A rate at which grain would rush or creep through as in no dryer.
    NotConverged
        The column did not settle.
    """
    refuse_rate(request, rate, _ends(request, machine), pointer, WHY)
    if request.rate_basis == "wet":
        return rate * (1.0 - request.moisture)
    first = max(request.moisture - USUAL_REMOVAL, min(request.moisture, DRIEST_USUAL))

    def leaves(outlet: float) -> float:
        dry = rate * (1.0 - outlet)
        return solve_outlet(machine.dryer, machine.conditions, machine.feed, dry, model=model)

    second = leaves(first)
    third = leaves(second)
    bend = (second - first) - (third - second)  # Aitken: the steps shrink more than tenfold each
    outlet = third if bend == 0.0 else first + (second - first) ** 2 / bend
    return rate * (1.0 - outlet)


def _ends(request: ColumnRequest, machine: Machine) -> tuple[float, float]:
    """Lowest and highest rate that can be followed, in the request's basis [kg/s]."""
    held = machine.dryer.hold_up_dry_matter / (1.0 - request.moisture)
    low = DRY_MATTER_RATE.low / (1.0 - request.moisture)
    return max(held / SLOWEST_TRANSIT, low), min(held / FASTEST_TRANSIT, DRY_MATTER_RATE.high)


def column_methods(model: ColumnModel, grain_temperatures: Sequence[float]) -> list[MethodUse]:
    """Methods that a column rests on.

    Parameters
    ----------
    model : ColumnModel
        Which formulas.
    grain_temperatures : sequence of float
        Coldest and hottest grain that was met [degC].

    Returns
    -------
    list of MethodUse
        In order of importance; kinetics are outside their range where the grain was.
    """
    isotherm = isotherm_method(column_isotherm(model.grain, model.isotherm))
    kinetics = next(method for method in LAW_METHODS if method.id == model.law)
    outside = tuple(
        limit.quantity
        for limit in kinetics.valid
        if limit.unit == "degC" and not all(limit.contains(value) for value in grain_temperatures)
    )
    sorbed = SORPTION_HEAT if model.grain in CORN_IDS else SORPTION_FROM_ISOTHERM
    return [
        MethodUse(COLUMN),
        MethodUse(kinetics, outside),
        MethodUse(isotherm),
        MethodUse(BARKER),
        MethodUse(sorbed),
    ]
