"""The dryer of a season or a forecast: known by one rate, described, or described and fitted."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from outfeed.ability import (
    DESCRIBED,
    SCALED_RATE,
    USUAL_KIND,
    DescribedDryer,
    KnownRate,
    Machine,
    anchored,
)
from outfeed.arrays import FloatArray
from outfeed.column_capacity import FITTED_RATE
from outfeed.dryer.assume import (
    GRAIN_TEMPERATURE,
    SPECIFIC_ENERGY,
    assumed_burner_efficiency,
)
from outfeed.dryer.doubt_lanes import FitDoubt
from outfeed.dryer.estimate import NORMAL_90
from outfeed.dryer.opening import ANCHORED_SPREAD, BALANCE_SPREAD
from outfeed.grains import Grain
from outfeed.methods import MethodUse
from outfeed.moist_air import FREEZING_POINT
from outfeed.weather import Weather
from outfeed_api.models import Assumed, Request
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error
from outfeed_api.refusals import pointing_at
from outfeed_api.routes.column_figures import burner_assumed, burner_efficiency
from outfeed_api.routes.column_input import Formulas, column_methods, formulas_of
from outfeed_api.routes.column_setup import LEFT_OUT, THAWING, refuse_endless, without_flames
from outfeed_api.routes.discharge_column import FAR_APART
from outfeed_api.routes.discharge_input import Setup, setup_of
from outfeed_api.routes.discharge_models import DischargeRateRequest
from outfeed_api.routes.discharge_words import assumed_entry
from outfeed_api.routes.dryer_models import DryerGiven, Fitted
from outfeed_api.routes.outlook_models import WeatherOutlookRequest
from outfeed_api.routes.season_models import KnownRateGiven, SeasonPlanRequest
from outfeed_api.units import UnitSystem, say

NEARLY_ALL = 0.995
"""Share of the states that is said to be all [-]: it would be printed as 100 %."""
SAME_RATE = 0.02
"""Difference of two rates not worth a sentence [-]; chosen, above the 1.2 % to which the ratio of
`outfeed.column_capacity` is good."""
LIQUIDS = ("propane", "fuel-oil")  # fuels told by the volume of the liquid
FROZEN = (
    f"The outside air falls below freezing, and grain is taken to come in as cold. {THAWING}: in "
    "those hours the dryer may be slower and burn more."
)
SILENT = (
    "The fitted column gave no usable answer for this grain and weather, so the quick balance of "
    "the described dryer stands in and the fit changes nothing here."
)
Known = Literal["known_rate", "run"]
"""Names under which a request gives a known rate."""


@dataclass(frozen=True, slots=True)
class Described:
    """A described dryer as the library takes it.

    Attributes
    ----------
    setup : Setup
        With what was assumed.
    machine : DescribedDryer
        Before a fit or a known rate speaks for it.
    formulas : Formulas or None
        Of its fit.
    burner_assumed : bool
        Whether the efficiency of its indirect heater was assumed.
    """

    setup: Setup
    machine: DescribedDryer
    formulas: Formulas | None
    burner_assumed: bool


def known_rate_of(request: Request, given: KnownRateGiven, name: Known) -> KnownRate:
    """A known rate as the library takes it.

    Parameters
    ----------
    request : Request
        In SI; its units are spoken.
    given : KnownRateGiven
        In SI.
    name : str
        Of the field that holds it.

    Returns
    -------
    KnownRate
        Counted as wet grain going in.

    Raises
    ------
    ProblemError
        A run that does not dry, or air as warm as its plenum.
    """
    wet = given.rate
    if given.rate_basis == "dry":
        wet *= (1.0 - given.discharge_moisture) / (1.0 - given.moisture)
    with pointing_at(f"/{name}", request):
        return KnownRate(
            feed_rate=wet,
            inlet_wb=given.moisture,
            outlet_wb=given.discharge_moisture,
            ambient=given.ambient_temperature,
            plenum=given.plenum_temperature,
            kind=given.kind,
            specific_energy=given.energy_per_water,
        )


def at_its_level(
    request: Request,
    described: DescribedDryer,
    given: KnownRateGiven,
    name: Known,
    *,
    grain: Grain,
    pressure: float,
) -> DescribedDryer:
    """A described dryer at the level of a known rate.

    Parameters
    ----------
    request : Request
        In SI; its units are spoken.
    described : DescribedDryer
        The dryer, with its fitted column where there is one.
    given : KnownRateGiven
        In SI.
    name : str
        Of the field that holds it.
    grain : Grain
        From the catalogue.
    pressure : float
        Barometric pressure where the dryer stands [Pa].

    Returns
    -------
    DescribedDryer
        Anchored to the run.

    Raises
    ------
    ProblemError
        A run that says nothing, or one too far from the description.
    """
    known = known_rate_of(request, given, name)
    with pointing_at(f"/{name}", request):
        return anchored(described, known, grain, pressure)


def refuse_two_kinds(dryer: DryerGiven | None, known: KnownRateGiven | None, name: Known) -> None:
    """Refuse a known rate of another kind of dryer than the described one.

    Parameters
    ----------
    dryer : DryerGiven or None
        The description.
    known : KnownRateGiven or None
        The known rate.
    name : str
        Of the field that holds it.

    Raises
    ------
    ProblemError
        Pointing at the kind of the known rate.
    """
    if dryer is None or known is None or known.kind is None or known.kind == dryer.kind:
        return
    detail = f"the dryer is {dryer.kind}, and `{name}` says {known.kind}"
    raise ProblemError(INCONSISTENT, detail, [field_error(f"/{name}/kind", detail)])


def refuse_warm_air(
    weather: Weather, plenums: Iterable[tuple[str, float | None]], units: UnitSystem
) -> None:
    """Refuse weather that gets as warm as a heated plenum, in the caller's units.

    Parameters
    ----------
    weather : Weather
        Hour by hour.
    plenums : iterable of (str, float or None)
        JSON pointer and temperature of each heated plenum [degC].
    units : {"us", "metric"}
        The reader's.

    Raises
    ------
    ProblemError
        Pointing at the first.
    """
    warmest = float(weather.temperature.max())
    for pointer, plenum in plenums:
        if plenum is not None and plenum <= warmest:
            hot, air = (say(value, "temperature", units, decimals=0) for value in (plenum, warmest))
            detail = f"the outside air gets as warm as {air}, and the plenum is at {hot}"
            raise ProblemError(INCONSISTENT, detail, [field_error(pointer, detail)])


def described_dryer(
    dryer: DryerGiven,
    fitted: Fitted | None,
    weather: Weather,
    *,
    units: UnitSystem,
    grain: str,
    moisture: float,
    target_moisture: float,
    altitude: float | None,
) -> Described:
    """A described dryer, as the discharge-rate endpoint takes it in the mean of the weather.

    Parameters
    ----------
    dryer : DryerGiven
        The description, in SI.
    fitted : Fitted or None
        What a fit found.
    weather : Weather
        Hour by hour.
    units : {"us", "metric"}
        The reader's.
    grain : str
        Id of the grain.
    moisture, target_moisture : float
        Going in and wanted at the discharge, wet basis [-]; the bed is weighed half way.
    altitude : float or None
        Height above sea level [m].

    Returns
    -------
    Described
        With what was assumed.

    Raises
    ------
    ProblemError
        A dryer that contradicts itself, or a fit for another grain or other kinetics.
    """
    asked = DischargeRateRequest.model_construct(
        units=units,
        grain=grain,
        dryer=dryer,
        fitted=fitted,
        moisture=moisture,
        target_moisture=target_moisture,
        ambient_temperature=float(weather.temperature.mean()),
        ambient_relative_humidity=float(weather.relative_humidity.mean()),
        altitude=altitude,
    )
    zones = enumerate(dryer.zones)
    refuse_warm_air(
        weather,
        ((f"/dryer/zones/{n}/plenum_temperature", zone.plenum_temperature) for n, zone in zones),
        units,
    )
    setup = setup_of(asked)
    formulas = None
    if fitted is not None:
        formulas = formulas_of(asked)
        refuse_endless(setup.dryer, units)
    machine = DescribedDryer(
        without_flames(setup.dryer, dryer.fuel), burner_efficiency=burner_efficiency(dryer)
    )
    return Described(setup, machine, formulas, burner_assumed(asked))


def counted_fuel(request: SeasonPlanRequest | WeatherOutlookRequest) -> str:
    """The fuel whose amounts are told: the request's, or the described dryer's where it names none.

    Parameters
    ----------
    request : SeasonPlanRequest or WeatherOutlookRequest
        In SI.

    Returns
    -------
    str
        Id of the fuel; "electricity" has no amounts but its heat.

    Raises
    ------
    ProblemError
        A request that names one fuel and a dryer that names another.
    """
    dryer = request.dryer
    if dryer is None or "fuel" not in dryer.model_fields_set:
        return request.fuel
    if "fuel" in request.model_fields_set and dryer.fuel != request.fuel:
        detail = f"the dryer burns {dryer.fuel}, and `fuel` says {request.fuel}"
        raise ProblemError(INCONSISTENT, detail, [field_error("/fuel", detail)])
    return dryer.fuel


def fuel_band(machine: Machine, known: KnownRateGiven | None) -> tuple[float, float]:
    """Ends of the 90 % band of fuel, as multiples of it.

    Only a run that states its fuel, or a fit, says more of fuel than published energies do; a known
    rate alone sets nothing but the rate.

    Parameters
    ----------
    machine : KnownRate or DescribedDryer
        As it was run.
    known : KnownRateGiven or None
        The known rate, where one was given.

    Returns
    -------
    tuple of float
        Below and above one [-].

    References
    ----------
    .. [1] `outfeed.dryer.opening`, for the spread of one balance and that left by a known run; the
       latter stands for a fit too: chosen, no source.
    .. [2] `outfeed.dryer.assume.SPECIFIC_ENERGY`, for a dryer known by a rate alone.
    """
    stated = known is not None and known.energy_per_water is not None
    if isinstance(machine, KnownRate) and not stated:
        published = SPECIFIC_ENERGY[machine.kind or USUAL_KIND]
        return published.low / published.value, published.high / published.value
    fitted = isinstance(machine, DescribedDryer) and machine.column is not None
    half = NORMAL_90 * (ANCHORED_SPREAD if stated or fitted else BALANCE_SPREAD)
    return 1.0 - half, 1.0 + half


def dryer_assumed(described: Described) -> list[Assumed]:
    """What was filled in in reading a described dryer.

    Parameters
    ----------
    described : Described
        The dryer.

    Returns
    -------
    list of Assumed
        To be converted.
    """
    setup = described.setup
    items = [*setup.assumptions, *setup.also_assumed]
    if described.burner_assumed:
        items.append(assumed_burner_efficiency())
    # grain comes in as warm as the air of each hour, so the mean's temperature stands nowhere
    return [assumed_entry(item, setup) for item in items if item.name != GRAIN_TEMPERATURE]


def machine_methods(machine: Machine, described: Described | None) -> list[MethodUse]:
    """Methods that the dryer's rate rests on.

    Parameters
    ----------
    machine : KnownRate or DescribedDryer
        As it was run.
    described : Described or None
        As it was read.

    Returns
    -------
    list of MethodUse
        In order of importance.
    """
    if isinstance(machine, KnownRate):
        return [MethodUse(SCALED_RATE)]
    formulas = None if described is None else described.formulas
    if machine.column is None or formulas is None:
        return [MethodUse(DESCRIBED)]
    column = column_methods(formulas.model, machine.column.grain_temperatures)
    return [MethodUse(FITTED_RATE), *column, MethodUse(DESCRIBED)]


def frost_notes(temperatures: FloatArray) -> list[str]:
    """A word on frozen grain where the air of the hours in question falls below freezing.

    Parameters
    ----------
    temperatures : ndarray
        Outside air of those hours [degC], at least one.

    Returns
    -------
    list of str
        One sentence, or none.
    """
    return [FROZEN] if float(temperatures.min()) < FREEZING_POINT else []


def fit_notes(
    machine: Machine, described: Described | None, name: Known, known: KnownRateGiven | None
) -> list[str]:
    """What a fit did for the rate, in sentences.

    Parameters
    ----------
    machine : KnownRate or DescribedDryer
        As it was run.
    described : Described or None
        As it was read.
    name : str
        Of the field for a known rate.
    known : KnownRateGiven or None
        The known rate, where one was given.

    Returns
    -------
    list of str
        Empty without a fit.
    """
    formulas = None if described is None else described.formulas
    if formulas is None or formulas.fit is None or not isinstance(machine, DescribedDryer):
        return []
    if machine.column is None:
        return [SILENT]
    found = [f"The dryer's rate comes from the column model{_runs(formulas.fit)}."]
    if known is None or known.energy_per_water is None:
        found.append(f"{LEFT_OUT} State `energy_per_water` in `{name}` to set the level of fuel.")
    if machine.column.answered < NEARLY_ALL:
        found.append(
            f"The fitted column gave a usable answer in {machine.column.answered * 100:.0f} % of "
            "the states of weather and grain it was asked for; in the others the quick balance "
            "stands in, moved by the same ratio."
        )
    if known is not None:
        found.append(_level(name, machine.capacity))
    return found


def _runs(fit: FitDoubt) -> str:
    return f" fitted to {fit.runs} run{'s' * (fit.runs > 1)} of this dryer"


def _level(name: Known, capacity: float) -> str:
    """How a known rate compares with the fitted column's rate for it."""
    text = f"`{name}` sets the level of the rate, the fitted column how it changes"
    if abs(capacity - 1.0) < SAME_RATE:
        return text + "; for that run the column gives the same rate."
    word = "more" if capacity > 1.0 else "less"
    text += f"; it is {abs(capacity - 1.0) * 100:.0f} % {word} than the column gives for that run."
    if not 1.0 / FAR_APART < capacity < FAR_APART:
        text += " They lie far apart: check the rate, its moistures, airflow, hold-up and plenums."
    return text
