"""The parts of a grain's entry in the catalogue, as the contract shows them."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from outfeed_api.measures import Measure
from outfeed_api.models import LONGEST_NAME, LONGEST_TEXT, MOST_ENTRIES, GrainId, Part, Versions
from outfeed_api.units import UnitSystem

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
    warmest: Temperature | None = Field(
        None, description="The warmest grain it holds for; left out where it holds for any."
    )


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

    name: str = Field(description="Which fit: `main`, `low-flow`.", max_length=LONGEST_NAME)
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
