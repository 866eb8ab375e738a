"""One grain as the catalogue answers it: every figure with its unit, source and evidence.

The parts mirror `outfeed.grains`; they hold SI until `conversion.to_display` turns
them into the caller's units. What the catalogue does not know is left out and
named in `missing`.
"""

from __future__ import annotations

from typing import Any

from outfeed.grains import (
    AirflowSet,
    BulkDensity,
    Grain,
    IsothermSet,
    Kinetics,
    Known,
    KnownSpan,
    LatentHeat,
    LinearInMoisture,
    Observation,
    StorageLife,
    StorageMoisture,
    TemperatureLimit,
)
from outfeed_api.models import Versions
from outfeed_api.routes.grain_models import (
    AirflowEntry,
    BedDensity,
    BushelWeight,
    Conductivity,
    DensityAt,
    DensityFigure,
    GrainAnswer,
    HeatAt,
    IsothermEntry,
    KeepingMoisture,
    KineticsEntry,
    LatentHeatEntry,
    LifeEntry,
    LimitEntry,
    MoistureFigure,
    ObservationEntry,
    PercentFigure,
    SpecificHeat,
    SurfaceFigure,
)
from outfeed_api.units import QUANTITIES, UnitSystem, say

EQUATIONS = {
    "henderson-modified": "M = [-ln(1 - RH) / (a (T + c))]^(1/b)",
    "chung-pfost-modified": "M = -ln(-(T + c) ln(RH) / a) / b",
    "halsey-modified": "M = [-exp(a + b T) / ln(RH)]^(1/c)",
    "oswin-modified": "M = (a + b T) [RH / (1 - RH)]^(1/c)",
    "gab": "M = a b c RH / [(1 - b RH)(1 - b RH + b c RH)]",
}
VARIABLES = "; M moisture in % dry basis, T temperature in degC, RH relative humidity as a fraction"
ORIGIN_LAST = ("unit", "printed", "source", "source_key", "known", "note")
SPOKEN_USES = {"commercial": "commercial use", "non-food": "non-food use"}
SHOWN_MOISTURES = (0.10, 0.15, 0.20, 0.25)

Sourced = (
    Known
    | KnownSpan
    | IsothermSet
    | Kinetics
    | LinearInMoisture
    | BulkDensity
    | AirflowSet
    | LatentHeat
    | StorageMoisture
    | TemperatureLimit
    | StorageLife
)


def origin(row: Sourced) -> dict[str, Any]:
    """Source and evidence of a row of the catalogue."""
    return {
        "source": row.source,
        "source_key": row.source_key,
        "known": row.known,
        "note": row.note or None,
    }


def unit_of(quantity: str, units: UnitSystem) -> str:
    """How the unit of a quantity is written."""
    return QUANTITIES[quantity].unit(units).label


def figure(row: Known | KnownSpan, quantity: str, units: UnitSystem) -> dict[str, Any]:
    """Origin, unit and numbers of a single figure or a range."""
    numbers = {"value": row.value} if isinstance(row, Known) else {"low": row.low, "high": row.high}
    return (
        origin(row) | numbers | {"unit": unit_of(quantity, units), "printed": row.printed or None}
    )


def figures_first(node: Any) -> Any:
    """Plain values with the origin of each figure after the figure, as a reader wants them.

    Parameters
    ----------
    node : object
        Plain values of an answer.

    Returns
    -------
    object
        The same values; dicts that carry a source have their keys reordered.
    """
    if isinstance(node, list):
        return [figures_first(item) for item in node]
    if not isinstance(node, dict):
        return node
    plain = {key: figures_first(value) for key, value in node.items()}
    if "source_key" in plain:
        plain |= {key: plain.pop(key) for key in ORIGIN_LAST if key in plain}
    return plain


def grain_entry(grain: Grain, units: UnitSystem, versions: Versions) -> GrainAnswer:
    """A grain of the catalogue as an answer, still in SI.

    Parameters
    ----------
    grain : Grain
        From the catalogue.
    units : {"us", "metric"}
        The reader's unit system, for the words.
    versions : Versions
        What answers.

    Returns
    -------
    GrainAnswer
        For `conversion.to_display`.
    """
    return GrainAnswer(
        id=grain.id,
        name=grain.name,
        units=units,
        note=grain.note or None,
        missing=list(grain.missing),
        default_isotherm=grain.default_isotherm,
        default_isotherm_reason=grain.default_isotherm_reason or None,
        versions=versions,
        **_advice(grain, units),
        **_constants(grain),
        **_properties(grain, units),
    )


def _advice(grain: Grain, units: UnitSystem) -> dict[str, Any]:
    percent = unit_of("moisture", units)
    return {
        "market_moisture": [
            MoistureFigure(**figure(row, "moisture", units)) for row in grain.market_moisture
        ],
        "storage_moistures": [
            KeepingMoisture(
                **origin(row),
                duration=row.duration,
                low=row.low,
                high=row.high,
                warmest=row.warmest,
                unit=percent,
            )
            for row in grain.storage_moistures
        ],
        "temperature_limits": [limit_entry(row, units) for row in grain.temperature_limits],
        "storage_life": [_life(row, units) for row in grain.storage_life],
        "observations": [_observation(row) for row in grain.observations],
    }


def _constants(grain: Grain) -> dict[str, Any]:
    heat = grain.latent_heat
    return {
        "isotherms": [_isotherm(row) for row in grain.isotherms],
        "kinetics": [
            KineticsEntry(
                **origin(row),
                method=row.method,
                default_from=row.default_from,
                default_to=row.default_to,
                default_in_column=row.default_in_column,
            )
            for row in grain.kinetics
        ],
        "airflow": [
            AirflowEntry(
                **origin(row),
                name=row.name,
                a=row.a,
                b=row.b,
                airflow_from=row.q_from,
                airflow_to=row.q_to,
            )
            for row in grain.airflow
        ],
        "latent_heat": heat and LatentHeatEntry(**origin(heat), a=heat.a, b=heat.b),
    }


def _properties(grain: Grain, units: UnitSystem) -> dict[str, Any]:
    weight, surface = grain.bushel_weight, grain.specific_surface
    kernel, voids = grain.kernel_density, grain.porosity
    return {
        "bushel_weight": weight and BushelWeight(**figure(weight, "mass", units)),
        "specific_surface": surface and SurfaceFigure(**figure(surface, "specific-surface", units)),
        "kernel_density": kernel and DensityFigure(**figure(kernel, "density", units)),
        "porosity": voids and PercentFigure(**figure(voids, "percent", units)),
        "specific_heat": grain.specific_heat and _specific_heat(grain.specific_heat, units),
        "conductivity": grain.conductivity and _conductivity(grain.conductivity, units),
        "bulk_density": grain.bulk_density and _bulk_density(grain.bulk_density, units),
    }


def limit_entry(row: TemperatureLimit, units: UnitSystem) -> LimitEntry:
    """One temperature limit as an answer, still in SI, with its sentence.

    Parameters
    ----------
    row : TemperatureLimit
        From the catalogue.
    units : {"us", "metric"}
        The reader's unit system, for the sentence.

    Returns
    -------
    LimitEntry
        For `conversion.to_display`.
    """
    return LimitEntry(
        **origin(row),
        says=limit_sentence(row, units),
        unit=unit_of("temperature", units),
        printed=row.printed,
        low=row.low,
        high=row.high,
        of=row.of,
        kind=row.kind,
        end_uses=list(row.end_uses),
        dryer_types=list(row.dryer_types),
        moisture_at=row.moisture_at,
        moisture_above=row.moisture_above,
        moisture_up_to=row.moisture_up_to,
        conditions=row.conditions or None,
        jurisdiction=row.jurisdiction or None,
    )


def limit_sentence(row: TemperatureLimit, units: UnitSystem) -> str:
    """A temperature limit as a person would say it.

    Parameters
    ----------
    row : TemperatureLimit
        From the catalogue.
    units : {"us", "metric"}
        The reader's unit system.

    Returns
    -------
    str
        One sentence.
    """
    what = "Drying air" if row.of == "drying air" else "The grain itself"
    degrees = say_degrees(row.high, units)
    if row.low != row.high:
        degrees = f"{say_degrees(row.low, units).split(' ', maxsplit=1)[0]} to {degrees}"
    uses = " and ".join(SPOKEN_USES.get(use, use) for use in row.end_uses)
    use = f" for {uses}" if uses else ""
    dryer = f" in {' and '.join(row.dryer_types)} dryers" if row.dryer_types else ""
    wet = "" if row.moisture_at is None else f" at {row.moisture_at * 100:g} % moisture"
    where = f" ({row.jurisdiction})" if row.jurisdiction else ""
    conditions = f": {row.conditions}" if row.conditions else ""
    if row.kind == "maximum":
        return f"{what} at most {degrees}{use}{dryer}{wet}{where}{conditions}."
    return f"{what} under {degrees}{use}{dryer}{wet}, at which damage was seen{where}{conditions}."


def say_degrees(temperature: float, units: UnitSystem) -> str:
    """A limit in words: to a tenth, so that it is never rounded up by half a degree.

    Parameters
    ----------
    temperature : float
        Temperature [degC].
    units : {"us", "metric"}
        The reader's unit system.

    Returns
    -------
    str
        For example "48.9 degC" or "140 degF".
    """
    return say(temperature, "temperature", units, decimals=1).replace(".0 ", " ")


def _life(row: StorageLife, units: UnitSystem) -> LifeEntry:
    return LifeEntry(
        **origin(row),
        unit=unit_of("days", units),
        printed=row.printed,
        life=row.life,
        temperature=row.temperature,
        moisture=row.moisture_wb,
        criterion=row.criterion,
    )


def _observation(row: Observation) -> ObservationEntry:
    return ObservationEntry(
        statement=row.statement, source=row.source, source_key=row.source_key, known=row.known
    )


def _isotherm(row: IsothermSet) -> IsothermEntry:
    return IsothermEntry(
        **origin(row),
        method=row.method,
        equation=EQUATIONS[row.form] + VARIABLES,
        a=row.a,
        b=row.b,
        c=row.c,
        humidity_error=row.se_rh,
    )


def _specific_heat(row: LinearInMoisture, units: UnitSystem) -> SpecificHeat:
    return SpecificHeat(
        **origin(row),
        unit=unit_of("heat-capacity", units),
        measured_on=row.measured_on or None,
        dry=row.a,
        per_point=row.b / 100,
        table=[HeatAt(moisture=m, value=row.at(m)) for m in SHOWN_MOISTURES],
    )


def _conductivity(row: LinearInMoisture, units: UnitSystem) -> Conductivity:
    return Conductivity(
        **origin(row),
        unit=unit_of("conductivity", units),
        measured_on=row.measured_on or None,
        dry=row.a,
        per_point=row.b / 100,
    )


def _bulk_density(row: BulkDensity, units: UnitSystem) -> BedDensity:
    low, high = row.moisture_from or 0.0, row.moisture_to or 1.0
    shown = [m for m in SHOWN_MOISTURES if low <= m <= high]
    return BedDensity(
        **origin(row),
        unit=unit_of("density", units),
        measured_on=row.measured_on or None,
        moisture_from=row.moisture_from,
        moisture_to=row.moisture_to,
        coefficients=list(row.coefficients),
        table=[DensityAt(moisture=m, value=row.at(m)) for m in shown],
    )


def stricter_words(row: TemperatureLimit, ruling: TemperatureLimit, units: UnitSystem) -> str:
    """What a limit stricter than the one that rules says, for a decision.

    Parameters
    ----------
    row : TemperatureLimit
        On drying air.
    ruling : TemperatureLimit
        The one that rules.
    units : {"us", "metric"}
        The reader's.

    Returns
    -------
    str
        A sentence.
    """
    most = say_degrees(row.low, units)
    if row.kind == "damage seen":
        return f"Damage was seen at {most} all the same: ask the buyer before you go so hot."
    if row.jurisdiction in {"", ruling.jurisdiction}:
        return f"Another source allows no more than {most}: ask the buyer."
    place = country(row.jurisdiction)
    return f"Where the rules of {place} bind you, the air may be {most} at most."


def country(jurisdiction: str) -> str:
    """A jurisdiction as it stands in a sentence.

    Parameters
    ----------
    jurisdiction : str
        As in the catalogue.

    Returns
    -------
    str
        For example "the United States" or "Canada".
    """
    return f"the {jurisdiction}" if jurisdiction == "United States" else jurisdiction
