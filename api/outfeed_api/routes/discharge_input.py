"""From the request to a dryer, its weather and its grain; what was left out is assumed here."""

from __future__ import annotations

from dataclasses import dataclass

from outfeed import Inconsistent, OutOfRange
from outfeed.dryer.assume import (
    STANDARD_AIR_DENSITY,
    Assumption,
    assumed_airflow,
    assumed_ambient_humidity,
    assumed_column_thickness,
    assumed_density,
    assumed_grain_temperature,
)
from outfeed.dryer.description import DRY_MATTER_DENSITY, Conditions, Dryer, Feed, Zone
from outfeed.dryer.opening import DRY_MATTER_RATE, KnownRun
from outfeed.grains import load_grain
from outfeed.grains.units import BUSHEL_VOLUME
from outfeed.limits import GRAIN_TEMPERATURE
from outfeed.methods import RECALLED
from outfeed.moist_air import STANDARD_PRESSURE, standard_pressure
from outfeed_api.problems import (
    INCONSISTENT,
    NOT_PUBLISHED,
    ProblemError,
    field_error,
    join_pointer,
)
from outfeed_api.routes.discharge_models import DischargeRateRequest, DryerZone, KnownRunGiven


@dataclass(frozen=True, slots=True)
class Setup:
    """A request as the library takes it.

    Attributes
    ----------
    dryer, conditions, feed : Dryer, Conditions, Feed
        The machine, the weather and the grain.
    assumptions : tuple of Assumption
        Inputs that were assumed and widen the band.
    also_assumed : tuple of Assumption
        Inputs that were assumed and hardly matter.
    exhaust_temperatures : tuple of float or None
        As measured, one a zone [degC].
    known_run : KnownRun or None
        To anchor to.
    bulk_density : float
        Wet grain in the bed [kg/m3].
    """

    dryer: Dryer
    conditions: Conditions
    feed: Feed
    assumptions: tuple[Assumption, ...]
    also_assumed: tuple[Assumption, ...]
    exhaust_temperatures: tuple[float | None, ...]
    known_run: KnownRun | None
    bulk_density: float


def setup_of(request: DischargeRateRequest) -> Setup:
    """A request as the library takes it.

    Parameters
    ----------
    request : DischargeRateRequest
        In SI.

    Returns
    -------
    Setup
        With what was assumed.

    Raises
    ------
    ProblemError
        A dryer that contradicts itself, or grain without a published density.
    """
    middle = 0.5 * (request.moisture + request.target_moisture)
    bulk, density_assumed = _bulk_density(request, middle)
    dry_density = bulk * (1.0 - middle)
    airflow = assumed_airflow(request.dryer.kind)
    assumptions: list[Assumption] = []
    if any(zone.airflow is None for zone in request.dryer.zones):
        assumptions.append(airflow)
    humidity = request.ambient_relative_humidity
    if humidity is None:
        assumptions.append(assumed_ambient_humidity())
        humidity = assumed_ambient_humidity().value
    warm = request.grain_temperature
    if warm is None:
        assumptions.append(assumed_grain_temperature(request.ambient_temperature))
        warm = min(max(request.ambient_temperature, GRAIN_TEMPERATURE.low), GRAIN_TEMPERATURE.high)
    if density_assumed is not None:
        assumptions.append(assumed_density(dry_density, density_assumed))
    conditions = Conditions(request.ambient_temperature, humidity, _pressure(request))
    feed = Feed(request.moisture, warm, request.grain)
    dryer = _dryer(request, dry_density, middle, airflow.value)
    thickness = request.dryer.column_thickness is None and request.dryer.kind == "cross-flow"
    return Setup(
        dryer=dryer,
        conditions=conditions,
        feed=feed,
        assumptions=tuple(assumptions),
        also_assumed=(assumed_column_thickness(),) if thickness else (),
        exhaust_temperatures=tuple(zone.exhaust_temperature for zone in request.dryer.zones),
        known_run=_known_run(request, dryer, conditions, feed),
        bulk_density=bulk,
    )


def _pressure(request: DischargeRateRequest) -> float:
    if request.pressure is not None and request.altitude is not None:
        detail = "give `pressure` or `altitude`, not both"
        raise ProblemError(INCONSISTENT, detail, [field_error("/altitude", detail)])
    if request.pressure is not None:
        return request.pressure
    if request.altitude is not None:
        return float(standard_pressure(request.altitude))
    return STANDARD_PRESSURE


def _bulk_density(request: DischargeRateRequest, moisture: float) -> tuple[float, str | None]:
    """Density of the bed [kg/m3] and, when it was not given, where it comes from."""
    if request.test_weight is not None:
        return request.test_weight, None
    grain = load_grain(request.grain)
    if grain.bulk_density is not None:
        return grain.bulk_density.at(moisture), grain.bulk_density.source
    if grain.bushel_weight is not None:
        source = "legal bushel weight, " + grain.bushel_weight.source
        return grain.bushel_weight.value / BUSHEL_VOLUME, source
    detail = f"no bulk density of {request.grain} is on record ({RECALLED} or read)"
    raise ProblemError(NOT_PUBLISHED, detail, [field_error("/test_weight", detail)])


def _dryer(request: DischargeRateRequest, density: float, moisture: float, airflow: float) -> Dryer:
    given = request.dryer
    thickness = given.column_thickness
    if thickness is None and given.kind == "cross-flow":
        thickness = assumed_column_thickness().value
    zones = tuple(
        _zone(request, index, zone, density, moisture, airflow)
        for index, zone in enumerate(given.zones)
    )
    with _pointing_at("/dryer/zones"):
        return Dryer(
            kind=given.kind,
            zones=zones,
            column_thickness=thickness,
            dry_matter_density=float(DRY_MATTER_DENSITY.check(density, "test_weight")),
        )


def _zone(
    request: DischargeRateRequest,
    index: int,
    zone: DryerZone,
    density: float,
    moisture: float,
    airflow: float,
) -> Zone:
    pointer = join_pointer("dryer", "zones", index)
    if (zone.volume is None) == (zone.hold_up is None):
        detail = "give either `volume` or `hold_up`"
        raise ProblemError(INCONSISTENT, detail, [field_error(f"{pointer}/volume", detail)])
    volume = zone.volume
    if volume is None:
        volume = (zone.hold_up or 0.0) * (1.0 - moisture) / density
    with _pointing_at(pointer):
        return Zone(
            name=zone.name or f"zone {index + 1}",
            role=zone.role,
            volume=volume,
            plenum_temperature=zone.plenum_temperature,
            airflow=None if zone.airflow is None else zone.airflow * STANDARD_AIR_DENSITY,
            airflow_per_volume=airflow if zone.airflow is None else None,
            burner=request.dryer.burner if zone.role == "heated" else "indirect",
            fuel=request.dryer.fuel,
        )


def _known_run(
    request: DischargeRateRequest, dryer: Dryer, conditions: Conditions, feed: Feed
) -> KnownRun | None:
    run = request.known_run
    if run is None:
        return None
    ambient = run.ambient_temperature
    humidity = run.ambient_relative_humidity
    warm = run.grain_temperature
    if warm is None:
        warm = float(feed.temperature) if ambient is None else ambient  # type: ignore[arg-type]
    moisture = run.discharge_moisture if request.rate_basis == "dry" else run.moisture
    with _pointing_at("/known_run"):
        return KnownRun(
            dry_matter_rate=float(DRY_MATTER_RATE.check(run.rate * (1.0 - moisture), "rate")),
            moisture_wb=run.discharge_moisture,
            conditions=Conditions(
                conditions.ambient_temperature if ambient is None else ambient,
                conditions.ambient_relative_humidity if humidity is None else humidity,
                conditions.pressure,
            ),
            feed=Feed(run.moisture, warm, request.grain),
            plenum_temperatures=_plenums(dryer, run),
        )


def _plenums(dryer: Dryer, run: KnownRunGiven) -> tuple[float | None, ...] | None:
    if run.plenum_temperatures is None:
        return None
    heated = sum(zone.heated for zone in dryer.zones)
    if len(run.plenum_temperatures) != heated:
        detail = f"{len(run.plenum_temperatures)} plenum temperatures for {heated} heated zones"
        pointer = "/known_run/plenum_temperatures"
        raise ProblemError(INCONSISTENT, detail, [field_error(pointer, detail)])
    given = iter(run.plenum_temperatures)
    return tuple(next(given) if zone.heated else None for zone in dryer.zones)


class _pointing_at:  # noqa: N801 - reads as a phrase where it stands
    """Turn what the library says of a part into a problem that points at it."""

    def __init__(self, pointer: str) -> None:
        self._pointer = pointer

    def __enter__(self) -> None:
        return None

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        if isinstance(error, Inconsistent | OutOfRange):
            detail = str(error)
            raise ProblemError(
                INCONSISTENT, detail, [field_error(self._pointer, detail)]
            ) from error
