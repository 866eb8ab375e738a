"""From the request to a dryer, its weather, its grain and a known run to anchor to."""

from __future__ import annotations

from dataclasses import dataclass

from outfeed.dryer.assume import Assumption
from outfeed.dryer.description import Conditions, Dryer, Feed
from outfeed.dryer.opening import DRY_MATTER_RATE, KnownRun
from outfeed_api.refusals import pointing_at
from outfeed_api.routes.air_hours import AirHours
from outfeed_api.routes.discharge_models import DischargeRateRequest
from outfeed_api.routes.dryer_input import machine_of, refuse_rate, zone_by_zone


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
    hours : AirHours or None
        The outside air hour by hour, of which `conditions` holds the mean.
    """

    dryer: Dryer
    conditions: Conditions
    feed: Feed
    assumptions: tuple[Assumption, ...]
    also_assumed: tuple[Assumption, ...]
    exhaust_temperatures: tuple[float | None, ...]
    known_run: KnownRun | None
    bulk_density: float
    hours: AirHours | None


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
    machine = machine_of(request, request.target_moisture)
    dryer, conditions, feed = machine.dryer, machine.conditions, machine.feed
    return Setup(
        dryer=dryer,
        conditions=conditions,
        feed=feed,
        assumptions=machine.assumptions,
        also_assumed=machine.also_assumed,
        exhaust_temperatures=tuple(zone.exhaust_temperature for zone in request.dryer.zones),
        known_run=_known_run(request, dryer, conditions, feed),
        bulk_density=machine.bulk_density,
        hours=machine.hours,
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
    ends = (DRY_MATTER_RATE.low / (1.0 - moisture), DRY_MATTER_RATE.high / (1.0 - moisture))
    refuse_rate(request, run.rate, ends, "/known_run/rate", "no dryer runs outside that")
    with pointing_at("/known_run", request):
        return KnownRun(
            dry_matter_rate=run.rate * (1.0 - moisture),
            moisture_wb=run.discharge_moisture,
            conditions=Conditions(
                conditions.ambient_temperature if ambient is None else ambient,
                conditions.ambient_relative_humidity if humidity is None else humidity,
                conditions.pressure,
            ),
            feed=Feed(run.moisture, warm, request.grain),
            plenum_temperatures=zone_by_zone(
                dryer, run.plenum_temperatures, "/known_run/plenum_temperatures"
            ),
        )
