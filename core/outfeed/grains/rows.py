"""How each kind of table in a catalogue file becomes its dataclass, converted to SI.

Every builder takes the table and the known sources, reads the keys of its
kind and leaves the rest for the caller to refuse.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, TypedDict, TypeVar

from outfeed.grains import vocabulary
from outfeed.grains.advice import (
    DRYING_AIR,
    GRAIN_ITSELF,
    Observation,
    StorageLife,
    StorageMoisture,
    TemperatureLimit,
)
from outfeed.grains.properties import (
    FORMS,
    AirflowSet,
    BulkDensity,
    IsothermSet,
    Kinetics,
    Known,
    KnownSpan,
    LatentHeat,
    LinearInMoisture,
    NamedKnown,
    Source,
)
from outfeed.grains.table import KNOWN, Table
from outfeed.grains.units import EQUATION_UNITS, UNITS, coefficients_to_si, to_si

Row = TypeVar("Row")
Sources = Mapping[str, Source]
Builder = Callable[[Table, Sources], Row]

SOURCE_KINDS: Final = (
    "standard",
    "paper",
    "handbook",
    "extension",
    "regulation",
    "authority",
    "practice",
)
"""What kind of work a source may be."""

LIMIT_KINDS: Final = ("maximum", "damage seen")
LIMITED: Final = (DRYING_AIR, GRAIN_ITSELF)


class _Origin(TypedDict):
    source: str
    known: str
    note: str
    source_key: str


def _origin(table: Table, sources: Sources) -> _Origin:
    source = _source(table, sources)
    return {
        "source": source.citation,
        "known": table.choice("known", KNOWN),
        "note": table.text("note", ""),
        "source_key": source.key,
    }


def _source(table: Table, sources: Sources) -> Source:
    key = table.text("source")
    if key not in sources:
        raise table.fail(f"the source '{key}' is not in sources.toml")
    return sources[key]


def _ends(table: Table) -> tuple[float, float]:
    if table.has("value"):
        value = table.number("value")
        return value, value
    low, high = table.number("low"), table.number("high")
    if not low < high:
        raise table.fail(f"'low' {low:g} must be under 'high' {high:g}")
    return low, high


def _printed(low: float, high: float, unit: str) -> str:
    return f"{low:g} {unit}" if low == high else f"{low:g} to {high:g} {unit}"


def _span_ends(
    table: Table, allowed: tuple[str, ...] = tuple(UNITS)
) -> tuple[float, float, str, str]:
    low, high = _ends(table)
    unit = table.choice("unit", allowed)
    return to_si(low, unit), to_si(high, unit), UNITS[unit].si, _printed(low, high, unit)


def _moisture(table: Table, key: str) -> float | None:
    percent = table.optional_number(key)
    return None if percent is None else to_si(percent, "% w.b.")


def known(table: Table, sources: Sources) -> Known:
    """A single figure.

    Parameters
    ----------
    table : Table
        Keys value, unit, source, known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    Known
        In SI.
    """
    value, unit = table.number("value"), table.choice("unit", tuple(UNITS))
    return Known(
        value=to_si(value, unit),
        unit=UNITS[unit].si,
        printed=_printed(value, value, unit),
        **_origin(table, sources),
    )


def named_known(table: Table, sources: Sources) -> NamedKnown:
    """A single figure with a name of its own.

    Parameters
    ----------
    table : Table
        Keys name, applies_to, and those of `known`.
    sources : mapping
        The known sources.

    Returns
    -------
    NamedKnown
        In SI.
    """
    return NamedKnown(table.text("name"), table.texts("applies_to"), known(table, sources))


def span(table: Table, sources: Sources) -> KnownSpan:
    """A figure or a range of figures.

    Parameters
    ----------
    table : Table
        Keys value, or low and high; unit, source, known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    KnownSpan
        In SI.
    """
    low, high, unit, printed = _span_ends(table)
    return KnownSpan(low, high, unit, printed=printed, **_origin(table, sources))


def isotherm(table: Table, sources: Sources) -> IsothermSet:
    """Constants of an equilibrium-moisture equation.

    Parameters
    ----------
    table : Table
        Keys method, a, b, c, se_rh, source, known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    IsothermSet
        The constants as published.
    """
    method = table.text("method")
    parts = method.split(".")
    if len(parts) != 3 or parts[0] != "emc" or parts[1] not in FORMS:
        raise table.fail(f"the method '{method}' is not emc.<form>.<constant set>")
    return IsothermSet(
        method=method,
        form=parts[1],
        a=table.number("a"),
        b=table.number("b"),
        c=table.number("c"),
        se_rh=table.optional_number("se_rh"),
        **_origin(table, sources),
    )


def kinetics(table: Table, sources: Sources) -> Kinetics:
    """A published drying equation, by its method id.

    Parameters
    ----------
    table : Table
        Keys method, default_from and default_to [degC], default_in_column, source, known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    Kinetics
        The entry.
    """
    method = table.text("method")
    if not method.startswith("kinetics."):
        raise table.fail(f"the method '{method}' is not kinetics.<name>")
    low, high = table.optional_number("default_from"), table.optional_number("default_to")
    if (low is None) != (high is None):
        raise table.fail("'default_from' and 'default_to' come together")
    return Kinetics(method, low, high, table.flag("default_in_column"), **_origin(table, sources))


def linear(table: Table, sources: Sources) -> LinearInMoisture:
    """A property that is linear in moisture.

    Parameters
    ----------
    table : Table
        Keys a, b, unit, measured_on, source, known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    LinearInMoisture
        In SI, for moisture as a fraction.
    """
    coefficients = [table.number("a"), table.number("b")]
    unit = table.choice("unit", tuple(EQUATION_UNITS))
    a, b = coefficients_to_si(coefficients, unit)
    return LinearInMoisture(
        a,
        b,
        EQUATION_UNITS[unit].si,
        table.text("measured_on", ""),
        **_origin(table, sources),
    )


def bulk_density(table: Table, sources: Sources) -> BulkDensity:
    """Bulk density as a polynomial in moisture.

    Parameters
    ----------
    table : Table
        Keys coefficients, unit, moisture_from and moisture_to [% w.b.], measured_on, source,
        known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    BulkDensity
        In SI, for moisture as a fraction.
    """
    coefficients = table.numbers("coefficients")
    unit = table.choice("unit", tuple(EQUATION_UNITS))
    return BulkDensity(
        coefficients_to_si(coefficients, unit),
        _moisture(table, "moisture_from"),
        _moisture(table, "moisture_to"),
        table.text("measured_on", ""),
        **_origin(table, sources),
    )


def airflow(table: Table, sources: Sources) -> AirflowSet:
    """Constants of the resistance to airflow, stated in SI by their source.

    Parameters
    ----------
    table : Table
        Keys name, a [Pa s2/m3], b [m2 s/m3], q_from and q_to [m3/(s m2)], source, known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    AirflowSet
        The constants.
    """
    return AirflowSet(
        a=table.number("a"),
        b=table.number("b"),
        q_from=table.optional_number("q_from"),
        q_to=table.optional_number("q_to"),
        name=table.text("name"),
        **_origin(table, sources),
    )


def latent_heat(table: Table, sources: Sources) -> LatentHeat:
    """The exponential latent-heat pair.

    Parameters
    ----------
    table : Table
        Keys a, b, source, known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    LatentHeat
        The constants.
    """
    return LatentHeat(table.number("a"), table.number("b"), **_origin(table, sources))


def storage_moisture(table: Table, sources: Sources) -> StorageMoisture:
    """A moisture at which the grain keeps.

    Parameters
    ----------
    table : Table
        Keys value, or low and high; unit, duration, warmest and warmest_unit, source, known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    StorageMoisture
        Moistures as fractions, temperature in degC.
    """
    low, high, _, _ = _span_ends(table, allowed=("% w.b.",))
    warmest = table.optional_number("warmest")
    if warmest is not None:
        warmest = to_si(warmest, table.choice("warmest_unit", ("degC", "degF")))
    return StorageMoisture(low, high, table.text("duration"), warmest, **_origin(table, sources))


def temperature_limit(table: Table, sources: Sources) -> TemperatureLimit:
    """One published temperature limit.

    Parameters
    ----------
    table : Table
        Keys value, or low and high; unit, of, kind, end_uses, dryer_types, moisture_at,
        moisture_above, moisture_up_to, points_per_pass, heated_down_to [% w.b.], conditions,
        source, known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    TemperatureLimit
        In degC.
    """
    low, high, _, printed = _span_ends(table, allowed=("degC", "degF"))
    origin = _origin(table, sources)
    return TemperatureLimit(
        low=low,
        high=high,
        of=table.choice("of", LIMITED, DRYING_AIR),
        kind=table.choice("kind", LIMIT_KINDS, "maximum"),
        end_uses=_words(table, "end_uses", vocabulary.END_USES),
        dryer_types=_words(table, "dryer_types", vocabulary.DRYER_TYPES),
        moisture_at=_moisture(table, "moisture_at"),
        moisture_above=_moisture(table, "moisture_above"),
        moisture_up_to=_moisture(table, "moisture_up_to"),
        points_per_pass=_moisture(table, "points_per_pass"),
        heated_down_to=_moisture(table, "heated_down_to"),
        conditions=table.text("conditions", ""),
        printed=printed,
        jurisdiction=sources[origin["source_key"]].jurisdiction,
        **origin,
    )


def _words(table: Table, key: str, allowed: tuple[str, ...]) -> tuple[str, ...]:
    words = table.texts(key)
    for word in words:
        if word not in allowed:
            raise table.fail(f"'{key}' holds {word!r}; allowed: {', '.join(allowed)}")
    return words


def storage_life(table: Table, sources: Sources) -> StorageLife:
    """One cell of a storage-life chart.

    Parameters
    ----------
    table : Table
        Keys value, unit, temperature, temperature_unit, moisture [% w.b.], criterion, source,
        known, note.
    sources : mapping
        The known sources.

    Returns
    -------
    StorageLife
        In s and degC.
    """
    life, _, _, printed = _span_ends(table, allowed=("days", "hours"))
    temperature = table.number("temperature")
    unit = table.choice("temperature_unit", ("degC", "degF"))
    return StorageLife(
        life=life,
        temperature=to_si(temperature, unit),
        moisture_wb=to_si(table.number("moisture"), "% w.b."),
        criterion=table.text("criterion"),
        printed=f"{printed} at {temperature:g} {unit}",
        **_origin(table, sources),
    )


def observation(table: Table, sources: Sources) -> Observation:
    """A finding that is not a limit.

    Parameters
    ----------
    table : Table
        Keys statement, source, known.
    sources : mapping
        The known sources.

    Returns
    -------
    Observation
        The finding.
    """
    source = _source(table, sources)
    return Observation(
        table.text("statement"), source.citation, table.choice("known", KNOWN), source.key
    )
