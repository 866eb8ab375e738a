"""What advice says of a lot in the dryer that it is not for."""

from __future__ import annotations

from outfeed.steering import setpoint
from outfeed.steering.lots import LotAbove
from outfeed_api.moments import Clock
from outfeed_api.units import UnitSystem, say
from outfeed_api.wording import moisture


def decision(units: UnitSystem, clock: Clock, lot: LotAbove | None) -> str:
    """What the decision does not yet answer, to stand behind it.

    Parameters
    ----------
    units : str
        "us" or "metric".
    clock : Clock
        Of the request; says times as they were given.
    lot : LotAbove or None
        Grain that the advice is not for.

    Returns
    -------
    str
        A sentence with a space before it; empty without such grain.
    """
    if lot is None:
        return ""
    degrees = say(lot.setpoint, "temperature", units, decimals=1)
    return (
        f" This is not for the grain of about {moisture(lot.inlet_wb)} that entered since "
        f"{clock.say(lot.since_s)}: about {degrees} belongs to it."
    )


def notes(
    clock: Clock,
    lot: LotAbove | None,
    situation: setpoint.Situation,
    *,
    planned: bool,
) -> list[str]:
    """Which grain the advice is for, and what becomes of the lot above it.

    Parameters
    ----------
    clock : Clock
        Of the request; says times as they were given.
    lot : LotAbove or None
        Grain that the advice is not for.
    situation : Situation
        What the advice was given for.
    planned : bool
        Whether the notes of the plan say when wetter or drier grain reaches the sensors: of one lot
        the log and whoever told of it seldom have one time.

    Returns
    -------
    list of str
        Empty without such grain.
    """
    if lot is None or situation.inlet_wb is None:
        return []
    past = lot.at_sensors_s <= clock.now_s
    where = "has just passed the column sensors" if past else "is at the column sensors now"
    reaches = f"{'reached' if past else 'reaches'} the sensors by {clock.say(lot.at_sensors_s)}"
    if planned:
        reaches = "comes behind it"
    said = (
        f"Expectation and advice are for grain of about {moisture(situation.inlet_wb)} inlet "
        f"moisture, which {where}; the lot of about {moisture(lot.inlet_wb)} {reaches}, and its "
        "setpoint is in `setpoints_by_inlet`: the way there is planned as for a known change."
    )
    return [said]
