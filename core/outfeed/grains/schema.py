"""What the catalogue says about a grain: the shape of one entry, in SI units.

Every figure carries its citation and how it is known. A field that is ``None``
or an empty tuple means that the catalogue holds no published value; nothing is
ever filled in. `Grain.missing` lists those gaps in words.
"""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from outfeed.errors import NotPublished, UnknownName
from outfeed.grains.units import BUSHEL_VOLUME

HENDERSON: Final = "henderson-modified"
CHUNG_PFOST: Final = "chung-pfost-modified"
HALSEY: Final = "halsey-modified"
OSWIN: Final = "oswin-modified"
GAB: Final = "gab"
FORMS: Final = (HENDERSON, CHUNG_PFOST, HALSEY, OSWIN, GAB)

DRYING_AIR: Final = "drying air"
GRAIN_ITSELF: Final = "grain"


@dataclass(frozen=True, slots=True)
class Source:
    """A published work that the catalogue draws on.

    Attributes
    ----------
    key : str
        Short name by which the data files refer to it.
    citation : str
        Full citation.
    kind : str
        "standard", "paper", "handbook", "extension", "regulation" or "authority".
    jurisdiction : str
        Country or region whose practice it speaks for; empty when general.
    """

    key: str
    citation: str
    kind: str
    jurisdiction: str = ""


@dataclass(frozen=True, slots=True)
class Known:
    """One figure with its origin.

    Attributes
    ----------
    value : float
        The figure in `unit`.
    unit : str
        SI unit; empty when dimensionless.
    source : str
        Citation.
    known : str
        How the figure is known ("read", "recalled", ...; see `outfeed.methods`).
    note : str
        What a user must know before relying on it.
    printed : str
        The figure as the data file states it, in the source's own unit.
    source_key : str
        Key of the source in the catalogue.
    """

    value: float
    unit: str
    source: str
    known: str
    note: str = ""
    printed: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class KnownSpan:
    """A published figure that may be a range; `low` equals `high` when it is not.

    Attributes
    ----------
    low, high : float
        Ends of the range, in `unit`.
    unit : str
        SI unit; empty when dimensionless.
    source, known, note, printed, source_key : str
        As for `Known`.
    """

    low: float
    high: float
    unit: str
    source: str
    known: str
    note: str = ""
    printed: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class IsothermSet:
    """Constants of one equilibrium-moisture equation for one grain.

    Attributes
    ----------
    method : str
        Method id, ``emc.<form>.<constant set>``.
    form : str
        One of `FORMS`.
    a, b, c : float
        Constants of the form, for temperature in degC, relative humidity as a fraction and
        moisture in percent, dry basis.
    se_rh : float or None
        Standard error of relative humidity as a fraction, where the source gives one.
    source, known, note, source_key : str
        As for `Known`.
    """

    method: str
    form: str
    a: float
    b: float
    c: float
    se_rh: float | None
    source: str
    known: str
    note: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class Kinetics:
    """A drying-rate equation that was published for this grain.

    Attributes
    ----------
    method : str
        Method id of `outfeed.thin_layer`, where the equation and its range stand.
    default_from, default_to : float or None
        Air temperatures [degC] between which it is the catalogue's choice for a thin layer;
        both ``None`` when it is never the default.
    default_in_column : bool
        Whether it is the catalogue's choice inside a dryer column.
    source, known, note, source_key : str
        As for `Known`.
    """

    method: str
    default_from: float | None
    default_to: float | None
    default_in_column: bool
    source: str
    known: str
    note: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class LinearInMoisture:
    """A property that follows ``a + b * moisture_wb``.

    Attributes
    ----------
    a, b : float
        Constants in `unit`, for moisture as a fraction, wet basis.
    unit : str
        SI unit: J/(kg K) of wet grain for specific heat, W/(m K) for conductivity.
    measured_on : str
        The grain that was measured, when it is a relative of this one; empty otherwise.
    source, known, note, source_key : str
        As for `Known`.
    """

    a: float
    b: float
    unit: str
    measured_on: str
    source: str
    known: str
    note: str = ""
    source_key: str = ""

    def at(self, moisture_wb: float) -> float:
        """Value at a moisture.

        Parameters
        ----------
        moisture_wb : float
            Moisture, wet basis, fraction [-].

        Returns
        -------
        float
            The property, in `unit`.
        """
        return self.a + self.b * moisture_wb


@dataclass(frozen=True, slots=True)
class BulkDensity:
    """Density of the loosely filled bed, a polynomial in moisture.

    Attributes
    ----------
    coefficients : tuple of float
        Constant term first [kg/m3], for moisture as a fraction, wet basis.
    moisture_from, moisture_to : float or None
        Moisture range of the measurements, wet basis, fraction; ``None`` when not stated.
    measured_on : str
        The grain that was measured, when it is a relative of this one; empty otherwise.
    source, known, note, source_key : str
        As for `Known`.
    """

    coefficients: tuple[float, ...]
    moisture_from: float | None
    moisture_to: float | None
    measured_on: str
    source: str
    known: str
    note: str = ""
    source_key: str = ""

    def at(self, moisture_wb: float) -> float:
        """Density at a moisture, inside or outside the measured range.

        Parameters
        ----------
        moisture_wb : float
            Moisture, wet basis, fraction [-].

        Returns
        -------
        float
            Bulk density [kg/m3 of wet grain].
        """
        return sum(c * moisture_wb**power for power, c in enumerate(self.coefficients))


@dataclass(frozen=True, slots=True)
class AirflowSet:
    """Resistance of a loosely filled bed: pressure drop per depth = a Q^2 / ln(1 + b Q).

    Attributes
    ----------
    a : float
        Constant [Pa s2/m3].
    b : float
        Constant [m2 s/m3].
    q_from, q_to : float or None
        Range of the airflow Q [m3/(s m2)]; ``None`` when the catalogue does not know it.
    name : str
        "main" or "low flow".
    source, known, note, source_key : str
        As for `Known`.
    """

    a: float
    b: float
    q_from: float | None
    q_to: float | None
    name: str
    source: str
    known: str
    note: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class LatentHeat:
    """Heat to remove water: (2502.2 - 2.39 T)(1 + a exp(-b M)) kJ/kg, T in degC, M dry basis.

    Attributes
    ----------
    a, b : float
        Constants, for moisture as a fraction, dry basis [-].
    source, known, note, source_key : str
        As for `Known`.
    """

    a: float
    b: float
    source: str
    known: str
    note: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class StorageMoisture:
    """A moisture at which one source says the grain keeps.

    Attributes
    ----------
    low, high : float
        Advised moisture, wet basis, fraction; equal when the source gives one figure.
    duration : str
        How long, in the source's terms ("into summer").
    source, known, note, source_key : str
        As for `Known`.
    """

    low: float
    high: float
    duration: str
    source: str
    known: str
    note: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class TemperatureLimit:
    """One published limit, as one source states it; sources are kept side by side.

    Attributes
    ----------
    low, high : float
        The limit [degC]; a source that gives a range ("80 to 100") has both ends.
    of : str
        What is limited: `DRYING_AIR` or `GRAIN_ITSELF`.
    kind : str
        "maximum" (advice: stay at or under) or "damage seen" (a trial: stay under).
    end_uses : tuple of str
        Uses the source names; empty when it names none.
    dryer_types : tuple of str
        Dryer types the source names; empty when it names none.
    moisture_at : float or None
        Grain moisture the source states it for, wet basis, fraction.
    moisture_above, moisture_up_to : float or None
        Moistures between which the row is to be used (above the one, up to the other).
    conditions : str
        Further conditions, in words.
    jurisdiction : str
        Whose practice it is.
    source, known, note, printed, source_key : str
        As for `Known`.
    """

    low: float
    high: float
    of: str
    kind: str
    end_uses: tuple[str, ...]
    dryer_types: tuple[str, ...]
    moisture_at: float | None
    moisture_above: float | None
    moisture_up_to: float | None
    conditions: str
    jurisdiction: str
    source: str
    known: str
    note: str = ""
    printed: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class StorageLife:
    """One cell of a published chart: how long the grain keeps at a moisture and temperature.

    Attributes
    ----------
    life : float
        Allowable storage time [s].
    temperature : float
        Grain temperature [degC].
    moisture_wb : float
        Moisture, wet basis, fraction.
    criterion : str
        What ends the life ("half a percent of dry matter lost", "germination").
    source, known, note, printed, source_key : str
        As for `Known`.
    """

    life: float
    temperature: float
    moisture_wb: float
    criterion: str
    source: str
    known: str
    note: str = ""
    printed: str = ""
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class Observation:
    """A published finding about heat and this grain that is not itself a limit.

    Attributes
    ----------
    statement : str
        The finding, in a sentence with its figures.
    source, known, source_key : str
        As for `Known`.
    """

    statement: str
    source: str
    known: str
    source_key: str = ""


@dataclass(frozen=True, slots=True)
class NamedKnown:
    """A figure for grain of any kind, with what it is.

    Attributes
    ----------
    name : str
        What the figure is, in words.
    applies_to : tuple of str
        Grain ids it was measured on; empty when it is stated for any grain.
    figure : Known
        The figure.
    """

    name: str
    applies_to: tuple[str, ...]
    figure: Known


@dataclass(frozen=True, slots=True)
class General:
    """What is published for grain of any kind.

    Attributes
    ----------
    specific_heat : LinearInMoisture or None
        A general estimate, for grains without one of their own.
    airflow_factors : tuple of NamedKnown
        Multipliers on the resistance of a loose bed.
    temperature_limits : tuple of TemperatureLimit
        Limits stated for any grain.
    observations : tuple of Observation
        Findings stated for any grain.
    """

    specific_heat: LinearInMoisture | None
    airflow_factors: tuple[NamedKnown, ...]
    temperature_limits: tuple[TemperatureLimit, ...]
    observations: tuple[Observation, ...]


MISSING_WORDS: Final = MappingProxyType(
    {
        "bushel_weight": "bushel weight",
        "isotherms": "equilibrium-moisture equation",
        "kinetics": "drying kinetics",
        "specific_heat": "specific heat",
        "conductivity": "thermal conductivity",
        "bulk_density": "bulk density against moisture",
        "specific_surface": "surface area per volume of bed",
        "kernel_density": "kernel density",
        "porosity": "porosity",
        "airflow": "airflow resistance",
        "latent_heat": "latent-heat constants",
        "market_moisture": "market base moisture",
        "storage_moistures": "storage moisture",
        "temperature_limits": "temperature limits",
        "storage_life": "storage-life chart points",
    }
)
"""Fields of `Grain` that may be unknown, with the words for them."""


@dataclass(frozen=True, slots=True)
class Grain:
    """Everything the catalogue knows about one grain.

    Attributes
    ----------
    id, name : str
        Stable id and plain name.
    note : str
        What a reader should know about the entry as a whole.
    bushel_weight : Known or None
        Weight of one bushel [kg], legal or customary (the note says which).
    isotherms : tuple of IsothermSet
        All constant sets, side by side.
    default_isotherm : str or None
        Method id of the set used unless another is asked for.
    default_isotherm_reason : str
        Why that one.
    kinetics : tuple of Kinetics
        Drying equations published for it.
    specific_heat, conductivity : LinearInMoisture or None
        Per mass of wet grain; of the bed.
    bulk_density : BulkDensity or None
        Of the loose bed, against moisture.
    specific_surface : Known or None
        Kernel surface per bed volume [m2/m3].
    kernel_density, porosity : KnownSpan or None
        Kernel density [kg/m3]; voids as a fraction of bed volume.
    airflow : tuple of AirflowSet
        Resistance constants; the main set first.
    latent_heat : LatentHeat or None
        Published exponential pair.
    market_moisture : tuple of Known
        Base moistures buyers use, wet basis, fraction; the usual one first.
    storage_moistures : tuple of StorageMoisture
        Advice for keeping, all sources.
    temperature_limits : tuple of TemperatureLimit
        All published limits; look them up with `outfeed.grains.temperature_limits`.
    storage_life : tuple of StorageLife
        Published chart points.
    observations : tuple of Observation
        Findings about heat and quality that are not limits.
    """

    id: str
    name: str
    note: str
    bushel_weight: Known | None
    isotherms: tuple[IsothermSet, ...]
    default_isotherm: str | None
    default_isotherm_reason: str
    kinetics: tuple[Kinetics, ...]
    specific_heat: LinearInMoisture | None
    conductivity: LinearInMoisture | None
    bulk_density: BulkDensity | None
    specific_surface: Known | None
    kernel_density: KnownSpan | None
    porosity: KnownSpan | None
    airflow: tuple[AirflowSet, ...]
    latent_heat: LatentHeat | None
    market_moisture: tuple[Known, ...]
    storage_moistures: tuple[StorageMoisture, ...]
    temperature_limits: tuple[TemperatureLimit, ...]
    storage_life: tuple[StorageLife, ...]
    observations: tuple[Observation, ...]

    @property
    def missing(self) -> tuple[str, ...]:
        """What the catalogue does not know about this grain, in words."""
        return tuple(
            words for field, words in MISSING_WORDS.items() if getattr(self, field) in (None, ())
        )

    @property
    def legal_bulk_density(self) -> float | None:
        """Bushel weight as a density [kg/m3]; ``None`` when the weight is not known."""
        return None if self.bushel_weight is None else self.bushel_weight.value / BUSHEL_VOLUME

    def isotherm(self, method: str | None = None) -> IsothermSet:
        """One constant set, by method id, or the default.

        Parameters
        ----------
        method : str, optional
            Method id; the catalogue's default when left out.

        Returns
        -------
        IsothermSet
            The constants.

        Raises
        ------
        NotPublished
            The grain has no isotherm at all.
        UnknownName
            It has none by that id; the error lists those it has.
        """
        if not self.isotherms:
            raise NotPublished("equilibrium-moisture equation", self.id)
        wanted = method or self.default_isotherm
        for candidate in self.isotherms:
            if candidate.method == wanted:
                return candidate
        known = tuple(candidate.method for candidate in self.isotherms)
        raise UnknownName("isotherm", str(wanted), known, name="isotherm")

    def thin_layer_default(self, air_temperature: float) -> Kinetics:
        """The catalogue's choice of thin-layer equation at an air temperature.

        Parameters
        ----------
        air_temperature : float
            Drying-air temperature [degC].

        Returns
        -------
        Kinetics
            The entry whose default span holds the temperature.

        Raises
        ------
        NotPublished
            None covers it.
        """
        for entry in self.kinetics:
            low, high = entry.default_from, entry.default_to
            if low is not None and high is not None and low <= air_temperature < high:
                return entry
        raise NotPublished(f"drying kinetics at {air_temperature:g} degC", self.id)
