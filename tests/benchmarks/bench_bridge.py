"""Bench of the bridge of a known lot: what it does to the distance from the target.

    python tests/benchmarks/bench_bridge.py

Each lot is followed three times, with no move, with the one move as it reaches the sensors, and
with the bridge before it, on the transient column of the library (mixed and cross flow) and on the
plain plug-flow dryer of the simulated seasons. Told is the RMS over three transits (by weight; on
the plain dryer by time) and how far the bridge changes that of the one move. Then come the places
and times that were chosen, against others, and the sizes of the schedule as the column model has
them at its base point. Takes five minutes of processor time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import column_loop as column
import numpy as np
import seasons

from column_dryers import tower
from outfeed.dryer.inverse import rate_for_moisture
from outfeed.dryer.sensitivity import sensitivities
from outfeed.steering import feedforward
from outfeed.steering.belief import new_belief
from outfeed.steering.feedforward import KnownChange, plan_changes
from outfeed.steering.inlet_rate import Drying
from outfeed.steering.moves import ScheduledStep

LOTS = (-3.0, -1.5, 1.5, 3.0)  # points wetter
SENSORS = (0.1, 0.5, 0.95)  # of the lowest heated zone, from its top
PLAIN_SHARES = (0.6, 0.7, 0.8)  # of the transit, from the top
PLAIN_GAINS = (("slow", 0.5 * seasons.GAIN), ("lively", seasons.GAIN))
TRANSIT_H, ENTERED_H = 2.0, seasons.START_UP_H


@dataclass(frozen=True, slots=True)
class Row:
    """One lot on one dryer, RMS in points.

    Attributes
    ----------
    name : str
        Which dryer, controller and lot.
    still, moved, bridged : float
        Without a move, with one, and with the bridge.
    """

    name: str
    still: float
    moved: float
    bridged: float

    @property
    def change(self) -> float:
        """What the bridge changes [%]."""
        return 100.0 * (self.bridged / self.moved - 1.0)


def on_the_column() -> list[Row]:
    """The lots on the transient column."""
    rows = []
    for kind in ("mixed-flow", "cross-flow"):
        for sensor in SENSORS:
            loop = column.loop_of(column.dryer(kind, sensor))
            share = column.sensor_share(sensor)
            for name, gain in (("slow", column.SLOW), ("lively", column.LIVELY)):
                for points in LOTS:
                    grain = column.wetter(points)
                    found = [
                        column.follow(loop, gain=gain, grain=grain, steps=steps).rms
                        for steps in schedules(loop, share, points)
                    ]
                    rows.append(Row(f"{kind}, {share:.2f}, {name}, {points:+.1f}", *found))
    return rows


def schedules(
    loop: column.Loop, share: float, points: float
) -> tuple[tuple[ScheduledStep, ...], ...]:
    """No move, one, and with the bridge."""
    prior = loop.prior
    belief = new_belief(
        34.0,
        column.TARGET,
        at_s=0.0,
        inlet_wb=column.INLET,
        sensitivity=prior.sensitivity,
        inlet_effect=prior.inlet_effect,
    )

    def plan(*, bridged: bool) -> tuple[ScheduledStep, ...]:
        return plan_changes(
            [KnownChange("inlet-moisture", 0.0, points / 100.0, bridged)],
            34.0,
            transit_s=loop.transit_s,
            lag_s=(1.0 - share) * loop.transit_s,
            resolution=0.5,
            belief=belief,
            drying=Drying(column.INLET, column.TARGET),
            rate_slope=prior.rate_slope,
            column_per_rate=-prior.column_per_time,
        ).steps

    return (), plan(bridged=False), plan(bridged=True)


def plain_dryer(share: float, gain: float) -> Callable[[float, list[tuple[float, float]]], float]:
    """RMS over three transits by time on the plain dryer [points], from lot and moves.

    The lot is in points; a move is its time since the lot [h] and its step [degF].
    """
    count = round((ENTERED_H + 3.0 * TRANSIT_H) * 60.0 / seasons.STEP_MIN)
    still = np.zeros((1, count))

    def rms(points: float, steps: list[tuple[float, float]]) -> float:
        inlet = still.copy()
        inlet[:, round(ENTERED_H * 60.0 / seasons.STEP_MIN) :] = points
        draws = seasons.Draws(
            transit=np.array([60.0 * TRANSIT_H]),
            slope=np.array([-0.55]),
            gain=np.array([gain]),
            start_error=np.zeros(1),
            inlet=inlet,
            plenum=still,
            drift=still,
            sensor=still,
            bias=still,
            reading_noise=still,
            looks=np.ones((1, count), dtype=np.bool_),
        )

        def policy(look: seasons.Look) -> float:
            since = look.now / 60.0 - ENTERED_H
            return seasons.COLUMN_AT_START + sum(step for at, step in steps if at <= since)

        return float(seasons.run(draws, policy, sensor_share=share).rms[0])

    return rms


def plain_moves(points: float, share: float, *, bridged: bool) -> list[tuple[float, float]]:
    """The schedule for the plain dryer, in h and degF."""
    plan = plan_changes(
        [KnownChange("inlet-moisture", 0.0, points / 100.0, bridged)],
        37.0,
        transit_s=3600.0 * TRANSIT_H,
        lag_s=3600.0 * TRANSIT_H * (1.0 - share),
        resolution=1.0 / 1.8,
    )
    return [(step.at_s / 3600.0, 1.8 * step.step) for step in plan.steps]


def on_the_plain_dryer() -> list[Row]:
    """The lots on the plain dryer."""
    rows = []
    for share in PLAIN_SHARES:
        for name, gain in PLAIN_GAINS:
            rms = plain_dryer(share, gain)
            for points in LOTS:
                moves = ([], *(plain_moves(points, share, bridged=one) for one in (False, True)))
                found = [rms(points, list(one)) for one in moves]
                rows.append(Row(f"plain, {share:.2f}, {name}, {points:+.1f}", *found))
    return rows


def bridge_added(
    moves: list[tuple[float, float]], points: float, part: float
) -> list[tuple[float, float]]:
    """A part of the largest bridge before the one move of sensors half way down."""
    by = math.copysign(part * 1.8 * feedforward.LARGEST_BRIDGE, points)
    at = 0.5 * TRANSIT_H
    return [(feedforward.BRIDGE_FROM * at, by), (at, -by), *moves]


def half_way_down() -> list[Row]:
    """The plain dryer with its sensors half way down, half a bridge added where none is planned."""
    rows = []
    for name, gain in PLAIN_GAINS:
        rms = plain_dryer(0.5, gain)
        for points in LOTS:
            one = plain_moves(points, 0.5, bridged=True)
            found = [rms(points, moves) for moves in ([], one, bridge_added(one, points, 0.5))]
            rows.append(Row(f"half way, {name}, {points:+.1f}", *found))
    return rows


def show(title: str, rows: list[Row], *, whole: bool = True) -> None:
    """A table of lots and what the bridge does to all of them."""
    print(f"\n{title}")
    if whole:
        print(f"{'':36s} no move  one move  bridged")
        for row in rows:
            print(
                f"{row.name:36s} {row.still:7.2f} {row.moved:9.2f} {row.bridged:8.2f} "
                f"{row.change:+5.0f} %"
            )
    changes = [row.change for row in rows]
    total = 100.0 * (sum(row.bridged for row in rows) / sum(row.moved for row in rows) - 1.0)
    print(
        f"bridge against one move: {min(changes):+.0f} to {max(changes):+.0f} %, on the whole "
        f"{total:+.0f} %"
    )


@contextmanager
def chosen(name: str, value: float) -> Iterator[None]:
    """A constant of the schedule with another value."""
    usual = getattr(feedforward, name)
    setattr(feedforward, name, value)
    try:
        yield
    finally:
        setattr(feedforward, name, usual)


def sizes() -> None:
    """The constants of the schedule, and what they are with sensors here and there."""
    print("\nsizes at the base point, by where the sensors lie in the lowest heated zone")
    handles = {
        "plenum-temperature": ("plenums",),
        "ambient-temperature": ("ambient-temperature", "inlet-temperature"),
        "grain-temperature": ("inlet-temperature",),
    }
    print(f"{'sensors':>8s} {'K per log rate':>15s}", *(f"{name:>22s}" for name in handles))
    told = (
        f"{feedforward.SETPOINT_PER_KELVIN[name]:12.3f} {feedforward.RATE_PER_KELVIN[name]:9.4f}"
        for name in handles
    )
    print(f"{'taken':>8s} {feedforward.COLUMN_PER_RATE:15.1f}", *told)
    for sensor in SENSORS:
        machine = tower(sensors=(sensor,))
        rate = rate_for_moisture(machine, column.WEATHER, column.CORN, column.TARGET)
        found = sensitivities(machine, column.WEATHER, column.CORN, rate.dry_matter_rate)
        by = {one.handle: np.array((one.outlet_moisture, one.column_temperature)) for one in found}
        outlet, sensed = by["rate"]
        shown = []
        for names in handles.values():
            moisture, warmer = sum(by[name] for name in names)
            shown.append(f"{warmer - sensed * moisture / outlet:12.3f} {-moisture / outlet:9.4f}")
        print(f"{sensor:8.2f} {sensed:15.1f}", *shown)


def main() -> None:
    """Run the bench and print it."""
    show("transient column: sensors by transit, controller, lot [points]", on_the_column())
    show(
        "plain plug-flow dryer: sensors by transit, controller, lot [points]", on_the_plain_dryer()
    )
    show("plain dryer, sensors half way down, half a bridge", half_way_down())
    for name, values in (("BRIDGE_FROM", (0.2, 0.5)), ("WHOLE_BRIDGE", (0.7, 0.8, 0.9))):
        for value in values:
            with chosen(name, value):
                show(f"{name} {value}: column", on_the_column(), whole=False)
                show(f"{name} {value}: plain dryer", on_the_plain_dryer(), whole=False)
    sizes()


if __name__ == "__main__":
    main()
