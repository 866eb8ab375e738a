"""Equilibrium moisture: what grain and air come to when they are left with each other."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from fastapi import APIRouter

from outfeed import Inconsistent, OutfeedError, OutOfRange
from outfeed.arrays import BoolArray, FloatArray
from outfeed.grains import Grain, load_grain
from outfeed.isotherm_spread import humidity_band, moisture_band
from outfeed.limits import MOISTURE_WB
from outfeed.methods import use
from outfeed.moist_air import FREEZING_POINT
from outfeed.moisture import dry_basis, wet_basis
from outfeed.sorption import (
    METHODS,
    Isotherm,
    air_over_grain,
    answerable,
    answerable_over_grain,
    choose_isotherm,
    equilibrium_moisture,
    equilibrium_relative_humidity,
    extrapolates,
    isosteric_heat,
    isotherms_of,
    net_isosteric_heat,
    own_isotherm,
    refusals,
    refusals_over_grain,
)
from outfeed_api.models import cautions, methods_used
from outfeed_api.problems import field_error
from outfeed_api.route import ComputeRoute, computes
from outfeed_api.routes.equilibrium_models import (
    BySet,
    ColumnsOut,
    EquilibriumAnswer,
    EquilibriumRequest,
    GrainAirState,
    GrainColumns,
    GrainMoisture,
    GrainTable,
    HumiditySpread,
    MoistureSpread,
    MoistureTable,
    SorptionHeat,
)
from outfeed_api.routes.equilibrium_words import (
    assumed,
    describe_many,
    fault_of,
    isotherm_use,
    notes_on,
    percent_words,
    problem_at,
    refusal,
    refusal_words,
    warm_words,
)
from outfeed_api.rows import RefusedRow, refused_row
from outfeed_api.units import UnitSystem

router = APIRouter(prefix="/v1", route_class=ComputeRoute, tags=["air and grain"])

HEAT = next(method for method in METHODS if method.id == "sorption.clausius-clapeyron")


@router.post(
    "/equilibrium-moisture",
    summary="Grain and air in balance",
    operation_id="equilibrium_moisture",
    response_model_exclude_none=True,
)
@computes()
def equilibrium_moisture_(request: EquilibriumRequest) -> EquilibriumAnswer:
    """The moisture that grain tends to in air, or the air that grain tends to make.

    Give `temperature` with `relative_humidity` (air to grain) or with `moisture` (grain to air),
    or a `table`, or `columns`. The answer names the constant set used, the spread across all sets
    published for the grain, and whether the air lies outside the range they were fitted in.
    """
    grain = load_grain(request.grain)
    isotherm = _isotherm(request, grain)
    mode = _mode(request)
    if mode == "table" and request.table is not None:
        return _table(request, request.table, grain, isotherm)
    if mode == "columns" and request.columns is not None:
        return _many(request, request.columns, grain, isotherm)
    if mode == "relative_humidity":
        return _to_grain(request, grain, isotherm)
    return _to_air(request, grain, isotherm)


def _mode(request: EquilibriumRequest) -> str:
    """Which one of the four questions is asked."""
    asked = [
        name
        for name in ("table", "columns", "relative_humidity", "moisture")
        if getattr(request, name) is not None
    ]
    if len(asked) != 1:
        raise Inconsistent(
            "give one of relative_humidity, moisture, table and columns", *(asked or ("",))
        )
    single = asked[0] in {"relative_humidity", "moisture"}
    if single and request.temperature is None:
        raise Inconsistent("the temperature of grain and air is needed", "temperature")
    if not single and request.temperature is not None:
        raise Inconsistent(f"with `{asked[0]}`, leave out temperature", "temperature")
    return asked[0]


def _isotherm(request: EquilibriumRequest, grain: Grain) -> Isotherm:
    own = request.own_isotherm
    if own is None:
        return choose_isotherm(grain, request.isotherm)
    if request.isotherm is not None:
        raise Inconsistent("give isotherm or own_isotherm, not both", "isotherm")
    try:
        return own_isotherm(own.form, own.a, own.b, own.c)
    except OutfeedError as error:
        raise problem_at(error, [field_error("/own_isotherm", str(error))]) from error


# --- One reading ----------------------------------------------------------------------------


def _to_grain(request: EquilibriumRequest, grain: Grain, isotherm: Isotherm) -> EquilibriumAnswer:
    warm, humid = request.temperature or 0.0, request.relative_humidity or 0.0
    try:
        moisture_db = float(equilibrium_moisture(isotherm, warm, humid))
    except OutOfRange as error:
        raise refusal(error, request.units) from error
    moisture = float(wet_basis(moisture_db))
    band = _moisture_band(grain, warm, humid)
    units = request.units
    air = f"{warm_words(warm, units)} and {percent_words(humid, units)} relative humidity"
    decision = (
        f"{grain.name} left in air of {air} tends to {percent_words(moisture, units)} moisture"
    )
    if band is not None and band.sets > 1:
        low, high = percent_words(band.low, units), percent_words(band.high, units)
        span = f"say {low} to {high}" if low != high else f"all say {low}"
        decision += f"; the {band.sets} published sets {span}"
    outside = bool(extrapolates(warm, humid))
    return EquilibriumAnswer(
        decision=decision + ".",
        units=units,
        grain=grain.id,
        isotherm=isotherm.method,
        grain_moisture=GrainMoisture(moisture=moisture, moisture_dry_basis=moisture_db, band=band),
        heat=_heat(isotherm, warm, moisture_db),
        extrapolated=outside,
        by_set=_moisture_by_set(grain, warm, humid, units),
        assumed=assumed(request, grain, isotherm),
        methods=methods_used(isotherm_use(isotherm, warm, humid), use(HEAT)),
        notes=notes_on(request, grain, outside, warm),
        cautions=cautions(*(["extrapolated"] if outside else [])),
    )


def _to_air(request: EquilibriumRequest, grain: Grain, isotherm: Isotherm) -> EquilibriumAnswer:
    warm, moisture = request.temperature or 0.0, request.moisture or 0.0
    moisture_db = float(dry_basis(moisture))
    try:
        air = air_over_grain(isotherm, warm, moisture_db)
    except OutOfRange as error:
        raise refusal(error, request.units) from error
    humid, units = float(air.relative_humidity), request.units
    point = "frost point" if air.dew_point < FREEZING_POINT else "dew point"
    kernels = (
        f"{grain.name[:1].lower()}{grain.name[1:]} at {percent_words(moisture, units)} moisture"
    )
    outside = bool(extrapolates(warm, humid))
    return EquilibriumAnswer(
        decision=(
            f"Air between kernels of {kernels} and {warm_words(warm, units)} comes to "
            f"{percent_words(humid, units)} relative humidity, {point} "
            f"{warm_words(float(air.dew_point), units)}. Drier air at that temperature dries the "
            "grain, wetter air wets it."
        ),
        units=units,
        grain=grain.id,
        isotherm=isotherm.method,
        grain_air=GrainAirState(
            relative_humidity=humid,
            dew_point=float(air.dew_point),
            vapour_pressure=float(air.vapour_pressure),
            band=_humidity_band(grain, warm, moisture_db),
        ),
        heat=_heat(isotherm, warm, moisture_db),
        extrapolated=outside,
        by_set=_humidity_by_set(grain, warm, moisture_db, units),
        assumed=assumed(request, grain, isotherm),
        methods=methods_used(isotherm_use(isotherm, warm, humid), use(HEAT)),
        notes=notes_on(request, grain, outside, warm),
        cautions=cautions(*(["extrapolated"] if outside else [])),
    )


def _heat(isotherm: Isotherm, warm: float, moisture_db: float) -> SorptionHeat | None:
    try:
        binding = float(net_isosteric_heat(isotherm, warm, moisture_db))
        total = float(isosteric_heat(isotherm, warm, moisture_db))
    except OutOfRange:
        return None
    return SorptionHeat(total=total, binding=binding)


def _moisture_band(grain: Grain, warm: float, humid: float) -> MoistureSpread | None:
    sets = tuple(one for one in grain.isotherms if answerable(one, warm, humid))
    if not sets:
        return None
    band = moisture_band(sets, warm, humid)
    low, high = float(wet_basis(band.low)), float(wet_basis(band.high))
    return MoistureSpread(low=low, high=high, sets=len(sets))


def _humidity_band(grain: Grain, warm: float, moisture_db: float) -> HumiditySpread | None:
    sets = tuple(one for one in grain.isotherms if answerable_over_grain(one, warm, moisture_db))
    if not sets:
        return None
    band = humidity_band(sets, warm, moisture_db)
    return HumiditySpread(low=float(band.low), high=float(band.high), sets=len(sets))


def _moisture_by_set(
    grain: Grain, warm: float, humid: float, units: UnitSystem
) -> list[BySet] | None:
    entries = []
    for one in isotherms_of(grain):
        try:
            value = float(wet_basis(equilibrium_moisture(one, warm, humid)))
        except OutOfRange as error:
            entries.append(BySet(isotherm=one.method, no_value=fault_of(error, units).detail))
        else:
            entries.append(BySet(isotherm=one.method, moisture=value))
    return entries or None


def _humidity_by_set(
    grain: Grain, warm: float, moisture_db: float, units: UnitSystem
) -> list[BySet] | None:
    entries = []
    for one in isotherms_of(grain):
        try:
            value = float(equilibrium_relative_humidity(one, warm, moisture_db))
        except OutOfRange as error:
            entries.append(BySet(isotherm=one.method, no_value=fault_of(error, units).detail))
        else:
            entries.append(BySet(isotherm=one.method, relative_humidity=value))
    return entries or None


# --- Tables and columns ---------------------------------------------------------------------


def _table(
    request: EquilibriumRequest, table: GrainTable, grain: Grain, isotherm: Isotherm
) -> EquilibriumAnswer:
    warm, humid = np.meshgrid(table.temperatures, table.relative_humidities, indexing="ij")
    good = answerable(isotherm, warm, humid)
    values = np.full(warm.shape, np.nan)
    values[good] = wet_basis(equilibrium_moisture(isotherm, warm[good], humid[good]))
    outside = extrapolates(warm, humid)
    units = request.units
    decision = f"{good.sum()} of {good.size} places of the table have a value"
    if np.any(good):
        low, high = (percent_words(float(end(values[good])), units) for end in (np.min, np.max))
        decision = f"{grain.name}: equilibrium moisture from {low} to {high}; {decision}"
    notes = notes_on(request, grain, bool(outside.any()), float(warm.min()))
    if not np.all(good):
        notes.append("Where the table holds nothing, the equation has no value; try another set.")
    return EquilibriumAnswer(
        decision=decision + ".",
        units=units,
        grain=grain.id,
        isotherm=isotherm.method,
        table=MoistureTable(
            temperatures=table.temperatures,
            relative_humidities=table.relative_humidities,
            moisture=[_or_none(row) for row in values],
            extrapolated=outside.tolist(),
        ),
        assumed=assumed(request, grain, isotherm),
        methods=methods_used(isotherm_use(isotherm, warm, humid)),
        notes=notes,
        cautions=cautions(*(["extrapolated"] if outside.any() else [])),
    )


def _many(
    request: EquilibriumRequest, columns: GrainColumns, grain: Grain, isotherm: Isotherm
) -> EquilibriumAnswer:
    """Columns in, columns out; each row judged by itself."""
    name, given = _second_column(columns)
    warm = _as_array(columns.temperature)
    second = _as_array(given)
    to_grain = name == "relative_humidity"
    if to_grain:
        good = answerable(isotherm, warm, second)
        out, humid = _moistures(grain, isotherm, warm, second, good), second
    else:
        good = MOISTURE_WB.contains(second)
        good[good] = answerable_over_grain(isotherm, warm[good], dry_basis(second[good]))
        out, humid = _airs(isotherm, warm, second, good)
    outside = np.zeros(warm.shape, dtype=np.bool_)
    outside[good] = extrapolates(warm[good], humid[good])
    bad = _refused_rows(isotherm, name, (warm, second), good, request.units)
    flags: list[bool | None] = [
        flag if ok else None for flag, ok in zip(outside.tolist(), good.tolist(), strict=True)
    ]
    return EquilibriumAnswer(
        decision=describe_many(grain, out, good, to_grain, request.units),
        units=request.units,
        grain=grain.id,
        isotherm=isotherm.method,
        rows_answered=int(good.sum()),
        columns=ColumnsOut(
            extrapolated=flags, **{key: _or_none(value) for key, value in out.items()}
        ),
        refused=bad or None,
        assumed=assumed(request, grain, isotherm),
        methods=methods_used(isotherm_use(isotherm, warm[good], humid[good])),
        notes=notes_on(request, grain, bool(outside.any()), None),
        cautions=cautions(*(["extrapolated"] if outside.any() else [])),
    )


def _second_column(columns: GrainColumns) -> tuple[str, Sequence[float | None]]:
    given = [
        (name, column)
        for name in ("relative_humidity", "moisture")
        if (column := getattr(columns, name)) is not None
    ]
    if len(given) != 1:
        raise Inconsistent("beside temperature, give relative_humidity or moisture", "columns")
    if len(given[0][1]) != len(columns.temperature):
        raise Inconsistent("the two columns must have one length", "columns")
    return given[0]


def _moistures(
    grain: Grain, isotherm: Isotherm, warm: FloatArray, humid: FloatArray, good: BoolArray
) -> dict[str, FloatArray]:
    kept = warm[good], humid[good]
    moisture = np.asarray(wet_basis(equilibrium_moisture(isotherm, *kept)))
    out = {"moisture": _placed(moisture, good)}
    if grain.isotherms:
        known = np.any([answerable(one, *kept) for one in grain.isotherms], axis=0)
        band = moisture_band(grain.isotherms, kept[0][known], kept[1][known])
        for key, end in (("moisture_low", band.low), ("moisture_high", band.high)):
            out[key] = _placed(_placed(np.asarray(wet_basis(end)), known), good)
    return out


def _airs(
    isotherm: Isotherm, warm: FloatArray, moisture: FloatArray, good: BoolArray
) -> tuple[dict[str, FloatArray], FloatArray]:
    air = air_over_grain(isotherm, warm[good], dry_basis(moisture[good]))
    out = {
        "relative_humidity": _placed(air.relative_humidity, good),
        "dew_point": _placed(air.dew_point, good),
        "vapour_pressure": _placed(air.vapour_pressure, good),
    }
    return out, out["relative_humidity"]


def _refused_rows(
    isotherm: Isotherm,
    name: str,
    columns: tuple[FloatArray, FloatArray],
    good: BoolArray,
    units: UnitSystem,
) -> list[RefusedRow]:
    """What is wrong with each row that has no answer."""
    bad = np.flatnonzero(~good)
    warm, second = columns[0][bad], columns[1][bad]
    rows = []
    for index, gaps, error in zip(
        bad.tolist(),
        zip(np.isnan(warm).tolist(), np.isnan(second).tolist(), strict=True),
        _errors(isotherm, name, warm, second),
        strict=True,
    ):
        if any(gaps):
            keys = itertools.compress(("temperature", name), gaps)
            faults = [(f"/columns/{key}/{index}", "there is no reading") for key in keys]
        else:
            field, detail = refusal_words(error, units)
            faults = [(f"/columns/{field}/{index}", detail)]
        rows.append(refused_row(index, faults))
    return rows


def _errors(
    isotherm: Isotherm, name: str, warm: FloatArray, second: FloatArray
) -> list[OutOfRange]:
    """The library's refusal of each row, all of them refused."""
    if name == "relative_humidity":
        return [error for error in refusals(isotherm, warm, second) if error is not None]
    inside = MOISTURE_WB.contains(second)
    moisture = np.where(inside, dry_basis(np.where(inside, second, 0.0)), 0.0)
    limits = (MOISTURE_WB.low, MOISTURE_WB.high)
    return [
        error
        if ok and error is not None
        else OutOfRange(MOISTURE_WB.quantity, value, limits, name="moisture")
        for ok, value, error in zip(
            inside.tolist(), second.tolist(), refusals_over_grain(isotherm, warm, moisture),
            strict=True,
        )
    ]  # fmt: skip


def _as_array(column: Sequence[float | None]) -> FloatArray:
    return np.array([np.nan if value is None else value for value in column], dtype=np.float64)


def _placed(values: FloatArray, good: BoolArray) -> FloatArray:
    out = np.full(good.shape, np.nan)
    out[good] = values
    return out


def _or_none(values: FloatArray) -> list[float | None]:
    """As a list, with nothing where `_placed` put no value."""
    missing = np.isnan(values).tolist()
    return [None if gap else value for value, gap in zip(values.tolist(), missing, strict=True)]
