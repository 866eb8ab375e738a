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
from outfeed.grains.advice import Observation, StorageLife, StorageMoisture, TemperatureLimit
from outfeed.grains.properties import (
    AirflowSet,
    BulkDensity,
    IsothermSet,
    Kinetics,
    Known,
    KnownSpan,
    LatentHeat,
    LinearInMoisture,
    NamedKnown,
)
from outfeed.grains.units import BUSHEL_VOLUME

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
