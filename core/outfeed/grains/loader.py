"""From the data files to `Grain` objects, strictly and once.

One TOML file per grain lies in ``data``; ``sources.toml`` holds the citations
and ``general.toml`` what is published for grain of any kind. A file is read
the first time it is asked for and kept.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Final, TypeVar

from outfeed.errors import UnknownName
from outfeed.grains import rows
from outfeed.grains.properties import Source
from outfeed.grains.schema import General, Grain
from outfeed.grains.table import CatalogueError, Table

SOURCES_FILE: Final = "sources.toml"
GENERAL_FILE: Final = "general.toml"

GRAIN_IDS: Final = (
    "corn-yellow-dent",
    "popcorn",
    "soybean",
    "wheat-hard-red-winter",
    "wheat-hard-red-spring",
    "wheat-soft",
    "wheat-durum",
    "barley",
    "oats",
    "sorghum",
    "rough-rice-long",
    "rough-rice-medium",
    "rough-rice-short",
    "sunflower-oil",
    "sunflower-confectionery",
    "rapeseed",
    "edible-beans",
    "flax",
)


Row = TypeVar("Row")


def grain_ids() -> tuple[str, ...]:
    """Ids of all grains of the catalogue, in its order.

    Returns
    -------
    tuple of str
        The ids.
    """
    return GRAIN_IDS


def load_grain(grain: str) -> Grain:
    """One grain of the catalogue.

    Parameters
    ----------
    grain : str
        Id, one of `grain_ids`.

    Returns
    -------
    Grain
        The entry; the same object each time.

    Raises
    ------
    UnknownName
        No such grain; the error lists those that exist.
    """
    if grain not in GRAIN_IDS:
        raise UnknownName("grain", grain, GRAIN_IDS, name="grain")
    return _load_grain(grain)


@cache
def load_sources() -> Mapping[str, Source]:
    """All sources of the catalogue by key.

    Returns
    -------
    mapping
        From key to `Source`.
    """
    found: dict[str, Source] = {}
    for key, content in _parse(SOURCES_FILE).items():
        table = Table(content, f"{SOURCES_FILE}, {key}")
        found[key] = Source(
            key,
            table.text("citation"),
            table.choice("kind", rows.SOURCE_KINDS),
            table.text("jurisdiction", ""),
        )
        table.finish()
    return MappingProxyType(found)


@cache
def load_general() -> General:
    """What is published for grain of any kind.

    Returns
    -------
    General
        The same object each time.
    """
    table = Table(_parse(GENERAL_FILE), GENERAL_FILE)
    general = General(
        specific_heat=_one(table, "specific_heat", rows.linear),
        airflow_factors=_many(table, "airflow_factors", rows.named_known),
        temperature_limits=_many(table, "temperature_limits", rows.temperature_limit),
        observations=_many(table, "observations", rows.observation),
    )
    table.finish()
    return general


@cache
def _load_grain(grain: str) -> Grain:
    return parse_grain(_parse(f"{grain}.toml"), f"{grain}.toml")


def _parse(file: str) -> dict[str, Any]:
    text = resources.files("outfeed.grains").joinpath("data", file).read_text(encoding="utf-8")
    return tomllib.loads(text)


def parse_grain(content: dict[str, Any], file: str) -> Grain:
    """A grain from the parsed content of its file.

    Parameters
    ----------
    content : dict
        The file as parsed.
    file : str
        Its name, for messages.

    Returns
    -------
    Grain
        The entry, in SI.

    Raises
    ------
    CatalogueError
        Anything in the file that does not fit, with its place.
    """
    table = Table(content, file)
    grain = Grain(
        id=table.text("id"),
        name=table.text("name"),
        note=table.text("note", ""),
        bushel_weight=_one(table, "bushel_weight", rows.known),
        isotherms=_many(table, "isotherms", rows.isotherm),
        default_isotherm=table.text("default_isotherm", "") or None,
        default_isotherm_reason=table.text("default_isotherm_reason", ""),
        kinetics=_many(table, "kinetics", rows.kinetics),
        specific_heat=_one(table, "specific_heat", rows.linear),
        conductivity=_one(table, "conductivity", rows.linear),
        bulk_density=_one(table, "bulk_density", rows.bulk_density),
        specific_surface=_one(table, "specific_surface", rows.known),
        kernel_density=_one(table, "kernel_density", rows.span),
        porosity=_one(table, "porosity", rows.span),
        airflow=_many(table, "airflow", rows.airflow),
        latent_heat=_one(table, "latent_heat", rows.latent_heat),
        market_moisture=_many(table, "market_moisture", rows.known),
        storage_moistures=_many(table, "storage_moistures", rows.storage_moisture),
        temperature_limits=_many(table, "temperature_limits", rows.temperature_limit),
        storage_life=_many(table, "storage_life", rows.storage_life),
        observations=_many(table, "observations", rows.observation),
    )
    table.finish()
    _check_defaults(grain, file)
    return grain


def _check_defaults(grain: Grain, file: str) -> None:
    methods = [entry.method for entry in grain.isotherms]
    if f"{grain.id}.toml" != file:
        raise CatalogueError(f"{file}: the id {grain.id!r} does not match the file's name")
    if len(set(methods)) != len(methods):
        raise CatalogueError(f"{file}: two isotherm sets share one method id")
    if bool(methods) != bool(grain.default_isotherm and grain.default_isotherm_reason):
        raise CatalogueError(f"{file}: isotherms need a default with its reason")
    if grain.default_isotherm and grain.default_isotherm not in methods:
        raise CatalogueError(f"{file}: the default isotherm {grain.default_isotherm} is not there")


def _one(table: Table, key: str, build: rows.Builder[Row]) -> Row | None:
    inner = table.table(key)
    return None if inner is None else _built(inner, build)


def _many(table: Table, key: str, build: rows.Builder[Row]) -> tuple[Row, ...]:
    return tuple(_built(row, build) for row in table.tables(key))


def _built(table: Table, build: rows.Builder[Row]) -> Row:
    result = build(table, load_sources())
    table.finish()
    return result
