"""The dryer fit: what a dryer's own settled runs say of it, to be kept and passed on."""

from __future__ import annotations

import numpy as np
from fastapi import APIRouter

from outfeed.dryer.assume import Assumption
from outfeed.dryer.burner import fuel_heat
from outfeed.dryer.closures import ColumnModel
from outfeed.dryer.column import COLUMN
from outfeed.dryer.description import Dryer
from outfeed.dryer.estimate import NORMAL_90, Estimate
from outfeed.dryer.fit import FIT, Errors, Fit, JudgedRun, Run, fit_dryer
from outfeed.dryer.fit_model import Fitted as CoreFitted
from outfeed.dryer.fit_model import Prior
from outfeed.fuel import load_fuel
from outfeed.methods import MethodUse
from outfeed_api.models import LONGEST_TEXT, Assumed, AssumedQuantity, cautions, methods_used
from outfeed_api.problems import INCONSISTENT, ProblemError, field_error, join_pointer
from outfeed_api.refusals import pointing_at
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.column_figures import burner_efficiency
from outfeed_api.routes.column_setup import followed_machine
from outfeed_api.routes.dryer_input import Machine, zone_by_zone
from outfeed_api.routes.dryer_models import DryerRequest, Fitted
from outfeed_api.routes.dryer_words import assumed_quantity
from outfeed_api.routes.fit_models import (
    DryerFitAnswer,
    DryerFitRequest,
    Factor,
    FactorBand,
    RunGiven,
    RunJudged,
)

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["dryer"])

CLOSE = 3.0
"""Logarithm of the odds within which another law of drying stays possible [-]: twenty to one."""
ENOUGH = 10
"""Runs from which on a fit is said to predict."""


@router.post(
    "/dryer-fit",
    summary="What a dryer's own runs say of it",
    operation_id="dryer_fit",
    response_model_exclude_none=True,
)
@computes(heavy=True)
def dryer_fit(request: DryerFitRequest) -> DryerFitAnswer:
    """Rate and airflow factor from 1 to 50 settled runs, with uncertainty, and every run judged.

    Store `fitted` and pass it to every other question about the dryer. One run moves what is
    believed, ten predict; a column or exhaust temperature tells a low rate from little air.
    """
    machine = _machine(request)
    _refuse_wetted(request)
    runs = [_run(request, machine, index, run) for index, run in enumerate(request.runs)]
    model = ColumnModel(grain=request.grain, kinetics=request.kinetics)
    fit = fit_dryer(
        machine.dryer, runs, model=model, errors=_errors(request), prior=_prior(request, model)
    )
    return DryerFitAnswer(
        decision=_decision(fit),
        units=request.units,
        fitted=_fitted(fit.fitted),
        factors=_factors(fit),
        runs=[_judged(request, run) for run in fit.runs],
        suspicious=list(fit.suspicious),
        moisture_rms=fit.moisture_rms,
        usable=_usable(fit),
        assumed=_assumed(request, machine),
        methods=methods_used(MethodUse(FIT), MethodUse(COLUMN)),
        notes=_notes(request, fit),
        cautions=cautions("follow-manual", "meter-uncertain"),
    )


def _refuse_wetted(request: DryerFitRequest) -> None:
    for index, run in enumerate(request.runs):
        if run.discharge_moisture >= run.moisture:
            detail = "grain leaves a dryer drier than it came: look at both moistures of this run"
            pointer = join_pointer("runs", index, "discharge_moisture")
            raise ProblemError(INCONSISTENT, detail, [field_error(pointer, detail)])


def _usable(fit: Fit) -> bool:
    return bool(fit.moisture_rms <= MOST_UNEXPLAINED)


def _machine(request: DryerFitRequest) -> Machine:
    """The dryer, its bed weighed at the mean of the runs' moistures."""
    inlet = float(np.mean([run.moisture for run in request.runs]))
    outlet = float(np.mean([run.discharge_moisture for run in request.runs]))
    optional = {
        name: value
        for name in ("test_weight", "pressure", "altitude")
        if (value := getattr(request, name)) is not None
    }
    asked = DryerRequest(
        units=request.units,
        grain=request.grain,
        dryer=request.dryer,
        moisture=inlet,
        grain_temperature=10.0,
        ambient_temperature=request.runs[0].ambient_temperature,
        ambient_relative_humidity=0.7,
        **optional,
    )
    return followed_machine(asked, min(outlet, inlet))


def _run(request: DryerFitRequest, machine: Machine, index: int, run: RunGiven) -> Run:
    dryer = machine.dryer
    counted = run.discharge_moisture if request.rate_basis == "dry" else run.moisture
    warm = run.grain_temperature
    damp = run.ambient_relative_humidity
    place = join_pointer("runs", index)
    plenums = zone_by_zone(dryer, run.plenum_temperatures, f"{place}/plenum_temperatures")
    exhausts = zone_by_zone(dryer, run.exhaust_temperatures, f"{place}/exhaust_temperatures")
    with pointing_at(place, request):
        return Run(
            ambient_temperature=run.ambient_temperature,
            ambient_relative_humidity=_HUMIDITY if damp is None else damp,
            inlet_moisture_wb=run.moisture,
            inlet_temperature=run.ambient_temperature if warm is None else warm,
            dry_matter_rate=run.rate * (1.0 - counted),
            outlet_moisture_wb=run.discharge_moisture,
            plenum_temperatures=plenums or (),
            column_temperature=run.column_temperature,
            exhaust_temperatures=exhausts or (),
            heat=_heat(request, dryer, run),
            pressure=float(np.asarray(machine.conditions.pressure)),
            name=run.name or f"run {index + 1}",
        )


MOST_UNEXPLAINED = 0.015
"""Root mean square miss of its own runs, wet basis, beyond which a fit is not to be used [-]: five
times the spread of a meter; chosen, no source."""
_HUMIDITY = 0.7  # of outside air that nobody measured; listed as assumed


def _heat(request: DryerFitRequest, dryer: Dryer, run: RunGiven) -> float | None:
    """Heat that the air got from the fuel burned [W]."""
    burnt = run.fuel_liquid if run.fuel_liquid is not None else run.fuel_gas
    if burnt is None:
        return None
    efficiency = burner_efficiency(request.dryer)
    per_heat = [float(fuel_heat(zone, 1.0, efficiency)) for zone in dryer.zones if zone.heated]
    return burnt * load_fuel(request.dryer.fuel).heat_content / float(np.mean(per_heat))


def _errors(request: DryerFitRequest) -> Errors | None:
    given = request.errors
    if given is None:
        return None
    return Errors(**{name: getattr(given, name) for name in given.model_fields_set})


def _prior(request: DryerFitRequest, model: ColumnModel) -> Prior | None:
    earlier = request.earlier
    if earlier is None:
        return None
    if earlier.grain != request.grain or earlier.kinetics != model.law:
        detail = f"the earlier fit is for {earlier.grain} with {earlier.kinetics}"
        raise ProblemError(INCONSISTENT, detail, [field_error("/earlier", detail)])
    return Prior(
        earlier.rate_factor,
        earlier.rate_spread,
        earlier.airflow_factor,
        earlier.airflow_spread,
        earlier.correlation,
        earlier.runs,
    )


def _fitted(found: CoreFitted) -> Fitted:
    return Fitted.model_validate(found.to_dict())


def _factors(fit: Fit) -> list[Factor]:
    bands: dict[str, Estimate] = {"rate": fit.rate_factor, "airflow": fit.airflow_factor}
    return [
        Factor(
            factor=item.factor,
            value=FactorBand(
                value=bands[item.factor].value,
                low=bands[item.factor].low,
                high=bands[item.factor].high,
            ),
            identified=item.identified,
            left=item.left,
            why=item.why,
        )
        for item in fit.identified
    ]


def _judged(request: DryerFitRequest, run: JudgedRun) -> RunJudged:
    moisture = run.moisture
    return RunJudged(
        index=run.index,
        name=run.name,
        solved=run.solved,
        suspicious=run.suspicious,
        chance_wrong=run.chance_wrong,
        reason=run.reason[:LONGEST_TEXT] or None,
        rate_off=run.rate_off,
        moisture=request.runs[run.index].discharge_moisture,
        predicted=None if moisture is None else moisture.predicted,
        residual=None if moisture is None else moisture.residual,
        expected_spread=None if moisture is None else moisture.spread,
    )


def _decision(fit: Fit) -> str:
    if not _usable(fit):
        return (
            f"Do not use this fit: it misses its own runs by {fit.moisture_rms * 100:.1f} points. "
            "Check the units of the rates and moistures, and that each rate belongs to its run."
        )
    used, worth = sum(run.solved for run in fit.runs), max(round(fit.worth), 1)
    alike = f", so alike that they count as {worth}," if worth < used else ""
    pace = (
        f"This dryer's grain dries {_against(fit, 'rate')} the pace assumed for a dryer that was "
        f"never fitted, and its air is {_against(fit, 'airflow')} what was stated"
    )
    truth, noted = (
        f"{NORMAL_90 * spread * 100:.1f} points" for spread in (fit.foretold, fit.foretold_noted)
    )
    told = (
        f"from {used} run{'s' * (used != 1)}{alike} its true outlet moisture is foretold to within "
        f"{truth} in nine cases of ten, and what you note of it, with the errors of meter and "
        f"rate, to within {noted}"
    )
    wrong = [run for run in fit.runs if run.suspicious]
    again = " ".join(f"Look again at {run.name}: {run.reason}." for run in wrong)
    return f"{pace}; {told}. {again}".strip()[:LONGEST_TEXT]


def _against(fit: Fit, factor: str) -> str:
    """A factor in words, against what is assumed without a fit."""
    if factor == "airflow":
        middle, found = 1.0, fit.airflow_factor
    else:
        law = ColumnModel(grain=fit.fitted.grain, kinetics=fit.fitted.kinetics)
        middle, found = float(law.rate), fit.rate_factor
    value, low, high = (end / middle for end in (found.value, found.low, found.high))
    return f"{value:.2f} times ({low:.2f} to {high:.2f})"


def _notes(request: DryerFitRequest, fit: Fit) -> list[str]:
    notes = ["Store `fitted` and pass it on as `fitted` in every question about this dryer."]
    if not _usable(fit):
        notes = ["`usable` is false: do not pass this `fitted` on."]
    notes += [item.why for item in fit.identified]
    notes += _law(request, fit)
    notes += [f"{run.name}: {run.reason}"[:LONGEST_TEXT] for run in fit.runs if run.reason]
    total = fit.fitted.runs
    if total >= ENOUGH and not fit.spread_out:
        notes.append(
            "Inlet moistures, rates and plenums of these runs are all alike: the fit is good near "
            "them. Note runs spread over all three, so that it predicts elsewhere too."
        )
    if total < ENOUGH:
        notes.append(
            f"{total} run{'s' * (total > 1)} moves what is believed; about ten, spread over inlet "
            "moistures, plenums and rates, predict."
            if total == 1
            else f"{total} runs move what is believed; about ten, spread over inlet moistures, "
            "plenums and rates, predict."
        )
    if all(run.column_temperature is None for run in request.runs):
        notes.append(
            "No run notes a column temperature: with moistures alone a slow grain and little air "
            "look alike."
        )
    return notes


def _law(request: DryerFitRequest, fit: Fit) -> list[str]:
    """Which law of drying the fit rests on, where another was chosen or compared."""
    if len(fit.laws) < 2:
        return []
    taken = fit.fitted.kinetics
    usual = ColumnModel(grain=request.grain).law
    rest = sum(law.evidence > -CLOSE for law in fit.laws if not law.chosen)
    text = f"Of {len(fit.laws)} published laws of drying the fit rests on {taken}"
    text += "." if taken == usual else f", which the runs go with better than with {usual}."
    if rest:
        text += (
            " The runs do not tell it apart from another: how far the two lie apart is in the "
            "uncertainty."
        )
    return [text]


def _assumed(request: DryerFitRequest, machine: Machine) -> list[Assumed]:
    items: list[Assumption] = [*machine.assumptions, *machine.also_assumed]
    entries = [assumed_quantity(item, machine.bulk_density) for item in items]
    if any(run.ambient_relative_humidity is None for run in request.runs):
        entries.append(
            AssumedQuantity(
                input="ambient_relative_humidity", quantity="percent", value=_HUMIDITY,
                why="The humidity of the outside air was not noted in every run.",
                source="common practice, no source",
            )
        )  # fmt: skip
    if request.errors is None:
        errors = Errors()
        entries += [
            AssumedQuantity(
                input=f"errors.{name}", quantity=quantity, value=getattr(errors, name),
                why="How far the numbers on the sheet may be off was not given.",
                source="common practice, no source",
            )
            for name, quantity in (
                ("outlet_moisture", "points"), ("inlet_moisture", "points"), ("rate", "percent"),
                ("temperature", "temperature-difference"), ("heat", "percent"),
            )
        ]  # fmt: skip
    return entries
