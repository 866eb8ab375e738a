"""One grain as the catalogue answers it: every figure with its unit, source and evidence.

The parts mirror `outfeed.grains`; they hold SI until `models.to_display` turns
them into the caller's units. What the catalogue does not know is left out and
named in `missing`.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

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
from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, LONGEST_TEXT, MOST_ENTRIES, GrainId, Part, Versions
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

Ratio = Annotated[float, Measure("ratio")]
Temperature = Annotated[float, Measure("temperature")]
Moisture = Annotated[float, Measure("moisture")]


class Origin(Part):
    """Where a figure comes from."""

    source: str = Field(description="Citation.", max_length=LONGEST_TEXT)
    source_key: str = Field(
        description="Key of the source in the catalogue.", max_length=LONGEST_NAME
    )
    known: str = Field(
        description="How the figure is known: `read` in the source or a copy of it, `recalled` "
        "from memory (check before relying on it), and steps between.",
        max_length=LONGEST_NAME,
    )
    note: str | None = Field(
        None, description="What to know before relying on it.", max_length=LONGEST_TEXT
    )


class Figure(Origin):
    """A figure with its unit."""

    unit: str = Field(description="Unit of the numbers of this entry.", max_length=LONGEST_NAME)
    printed: str | None = Field(
        None, description="The figure in the unit of its source.", max_length=LONGEST_NAME
    )


class BushelWeight(Figure):
    """Weight of one bushel."""

    value: Annotated[float, Measure("mass")] = Field(description="Weight of one bushel.")


class SurfaceFigure(Figure):
    """Kernel surface of a bed."""

    value: Annotated[float, Measure("specific-surface")] = Field(
        description="Surface of the kernels in a volume of bed."
    )


class DensityFigure(Figure):
    """A density, or a range of densities."""

    low: Annotated[float, Measure("density")] = Field(description="Lowest value.")
    high: Annotated[float, Measure("density")] = Field(description="Highest value.")


class PercentFigure(Figure):
    """A share, or a range of shares."""

    low: Annotated[float, Measure("percent")] = Field(description="Lowest value.")
    high: Annotated[float, Measure("percent")] = Field(description="Highest value.")


class MoistureFigure(Figure):
    """A moisture."""

    value: Moisture = Field(description="Moisture, wet basis.")


class KeepingMoisture(Figure):
    """A moisture at which the grain keeps, as one source says."""

    duration: str = Field(description="How long it keeps.", max_length=LONGEST_TEXT)
    low: Moisture = Field(description="Lowest moisture advised.")
    high: Moisture = Field(description="Highest moisture advised.")


class HeatAt(Part):
    """Specific heat at one moisture."""

    moisture: Moisture = Field(description="Moisture, wet basis.")
    value: Annotated[float, Measure("heat-capacity")] = Field(description="Specific heat.")


class SpecificHeat(Figure):
    """Heat to warm the wet grain, linear in moisture."""

    measured_on: str | None = Field(
        None, description="The relative it was measured on, if any.", max_length=LONGEST_NAME
    )
    dry: Annotated[float, Measure("heat-capacity")] = Field(description="At no moisture at all.")
    per_point: Annotated[float, Measure("heat-capacity")] = Field(
        description="Added for each point of moisture, wet basis."
    )
    table: list[HeatAt] = Field(description="The line at a few moistures.", max_length=MOST_ENTRIES)


class Conductivity(Figure):
    """Thermal conductivity of the bed, linear in moisture."""

    measured_on: str | None = Field(
        None, description="The relative it was measured on, if any.", max_length=LONGEST_NAME
    )
    dry: Annotated[float, Measure("conductivity")] = Field(description="At no moisture at all.")
    per_point: Annotated[float, Measure("conductivity")] = Field(
        description="Added for each point of moisture, wet basis."
    )


class DensityAt(Part):
    """Bulk density at one moisture."""

    moisture: Moisture = Field(description="Moisture, wet basis.")
    value: Annotated[float, Measure("density")] = Field(description="Bulk density.")


class BedDensity(Figure):
    """Density of the loosely filled bed, a polynomial in moisture."""

    measured_on: str | None = Field(
        None, description="The relative it was measured on, if any.", max_length=LONGEST_NAME
    )
    moisture_from: Moisture | None = Field(None, description="Driest grain measured.")
    moisture_to: Moisture | None = Field(None, description="Wettest grain measured.")
    coefficients: list[Annotated[float, Measure("density")]] = Field(
        description="Constant term first, for moisture as a fraction, wet basis.", max_length=9
    )
    table: list[DensityAt] = Field(
        description="The polynomial at a few moistures.", max_length=MOST_ENTRIES
    )


class IsothermEntry(Origin):
    """Constants of one equilibrium-moisture equation."""

    method: str = Field(description="Method id, see `GET /v1/methods`.", max_length=LONGEST_NAME)
    equation: str = Field(description="The equation and its units.", max_length=LONGEST_TEXT)
    a: Annotated[float, Measure("equation-constant")] = Field(description="Constant a.")
    b: Annotated[float, Measure("equation-constant")] = Field(description="Constant b.")
    c: Annotated[float, Measure("equation-constant")] = Field(description="Constant c.")
    humidity_error: Annotated[float, Measure("percent")] | None = Field(
        None, description="Standard error of the relative humidity it gives."
    )


class KineticsEntry(Origin):
    """A drying equation published for the grain."""

    method: str = Field(description="Method id, see `GET /v1/methods`.", max_length=LONGEST_NAME)
    default_from: Temperature | None = Field(
        None, description="Lowest air temperature at which it is the default for a thin layer."
    )
    default_to: Temperature | None = Field(
        None, description="Highest air temperature at which it is the default for a thin layer."
    )
    default_in_column: bool = Field(description="Whether it is the default inside a dryer column.")


class AirflowEntry(Origin):
    """Resistance of the loose bed: pressure drop per depth = a Q^2 / ln(1 + b Q)."""

    name: str = Field(description="Which fit: `main`, `low flow`.", max_length=LONGEST_NAME)
    a: Annotated[float, Measure("resistance-a")] = Field(description="Constant a.")
    b: Annotated[float, Measure("resistance-b")] = Field(description="Constant b.")
    airflow_from: Annotated[float, Measure("air-flux")] | None = Field(
        None, description="Lowest airflow Q it was fitted to."
    )
    airflow_to: Annotated[float, Measure("air-flux")] | None = Field(
        None, description="Highest airflow Q it was fitted to."
    )


class LatentHeatEntry(Origin):
    """Heat to remove water: (2502.2 - 2.39 T)(1 + a exp(-b M)) kJ/kg, M a fraction, dry basis."""

    a: Ratio = Field(description="Constant a.")
    b: Ratio = Field(description="Constant b.")


class LimitEntry(Figure):
    """One published temperature limit."""

    says: str = Field(description="The limit in a sentence.", max_length=LONGEST_TEXT)
    low: Temperature = Field(description="The limit; lower end when the source gives a range.")
    high: Temperature = Field(description="The limit; upper end when the source gives a range.")
    of: str = Field(description="`drying air` or `grain`.", max_length=LONGEST_NAME)
    kind: str = Field(
        description="`maximum` (stay at or under) or `damage seen` (stay under).",
        max_length=LONGEST_NAME,
    )
    end_uses: list[str] = Field(
        description="End uses the source names; empty when it names none.", max_length=MOST_ENTRIES
    )
    dryer_types: list[str] = Field(
        description="Dryer types the source names; empty when it names none.",
        max_length=MOST_ENTRIES,
    )
    moisture_at: Moisture | None = Field(None, description="Moisture the source states it for.")
    moisture_above: Moisture | None = Field(None, description="Use it for wetter grain than this.")
    moisture_up_to: Moisture | None = Field(None, description="Use it for grain up to this.")
    conditions: str | None = Field(
        None, description="Further conditions of the source.", max_length=LONGEST_TEXT
    )
    jurisdiction: str | None = Field(
        None, description="Whose practice it is.", max_length=LONGEST_NAME
    )


class LifeEntry(Figure):
    """One cell of a published storage-life chart."""

    life: Annotated[float, Measure("days")] = Field(description="How long it keeps.")
    temperature: Temperature = Field(description="Temperature of the grain.")
    moisture: Moisture = Field(description="Moisture, wet basis.")
    criterion: str = Field(description="What ends the life.", max_length=LONGEST_TEXT)


class ObservationEntry(Origin):
    """A published finding that is not a limit."""

    statement: str = Field(description="The finding, as published.", max_length=LONGEST_TEXT)


class GrainAnswer(Part):
    """Everything the catalogue knows about one grain, and what it does not."""

    id: GrainId
    name: str = Field(description="Plain name.", max_length=LONGEST_NAME)
    units: UnitSystem = Field(description="Unit system of the numbers.")
    note: str | None = Field(
        None, description="What to know about this entry as a whole.", max_length=LONGEST_TEXT
    )
    missing: list[str] = Field(
        description="What the catalogue does not know about this grain.", max_length=MOST_ENTRIES
    )
    bushel_weight: BushelWeight | None = Field(None, description="Legal or customary weight.")
    market_moisture: list[MoistureFigure] = Field(
        description="Base moistures of buyers, the usual one first.", max_length=MOST_ENTRIES
    )
    storage_moistures: list[KeepingMoisture] = Field(
        description="Moistures at which it keeps, by duration and source.", max_length=MOST_ENTRIES
    )
    temperature_limits: list[LimitEntry] = Field(
        description="Published heat limits, sources side by side; they conflict.",
        max_length=MOST_ENTRIES,
    )
    storage_life: list[LifeEntry] = Field(
        description="Cells of published charts.", max_length=MOST_ENTRIES
    )
    observations: list[ObservationEntry] = Field(
        description="Findings about heat and quality that are not limits.", max_length=MOST_ENTRIES
    )
    default_isotherm: str | None = Field(
        None, description="Method id used unless another is asked for.", max_length=LONGEST_NAME
    )
    default_isotherm_reason: str | None = Field(
        None, description="Why that one.", max_length=LONGEST_TEXT
    )
    isotherms: list[IsothermEntry] = Field(
        description="Equilibrium-moisture constants, all published sets.", max_length=MOST_ENTRIES
    )
    kinetics: list[KineticsEntry] = Field(
        description="Drying equations published for it.", max_length=MOST_ENTRIES
    )
    specific_heat: SpecificHeat | None = Field(None, description="Of the wet grain.")
    conductivity: Conductivity | None = Field(None, description="Of the bed.")
    bulk_density: BedDensity | None = Field(None, description="Of the loose bed.")
    specific_surface: SurfaceFigure | None = Field(None, description="Of the bed.")
    kernel_density: DensityFigure | None = Field(None, description="Of the kernel.")
    porosity: PercentFigure | None = Field(None, description="Voids of the loose bed.")
    airflow: list[AirflowEntry] = Field(
        description="Resistance to airflow, the main fit first; stated for SI units.",
        max_length=MOST_ENTRIES,
    )
    latent_heat: LatentHeatEntry | None = Field(None, description="Published exponential pair.")
    versions: Versions = Field(description="What answered.")


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
        For `models.to_display`.
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
                **origin(row), duration=row.duration, low=row.low, high=row.high, unit=percent
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
        For `models.to_display`.
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
