"""What a solver hands over: the column segment by segment, before it is worded as a profile."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(slots=True)
class Trace:
    """Grain and air, segment by segment from the top; numbers or arrays over scenarios.

    A segment is the piece of bed that the results resolve: a half-pitch layer of a mixed-flow
    column, a cell of the others.

    Attributes
    ----------
    theta, M : list
        Grain at the faces of the segments: one more than segments; the mean across the column of
        a cross-flow dryer, mixed until its kernels are alike.
    sensed : list
        What a sensor in the column reads at the same faces [degC]: grain as it lies there, which in
        a cross-flow dryer is not mixed.
    hottest : list
        Hottest grain inside each segment [degC].
    T_in, W_in, T_out, W_out : list
        Air that enters and leaves each segment.
    air : list
        Dry air through each segment [kg/s].
    leaves : list of bool
        Whether the air that leaves the segment leaves the bed too.
    enters : list of bool
        Whether the air that enters the segment comes from the plenum.
    zone : list of int
        Index of the zone of each segment.
    length : list of float
        Height of each segment [m].
    error : number
        Largest estimated error of a bed's grain temperature [K].
    """

    theta: list[Any]
    M: list[Any]
    sensed: list[Any] = field(init=False)
    hottest: list[Any] = field(default_factory=list)
    T_in: list[Any] = field(default_factory=list)
    W_in: list[Any] = field(default_factory=list)
    T_out: list[Any] = field(default_factory=list)
    W_out: list[Any] = field(default_factory=list)
    air: list[Any] = field(default_factory=list)
    leaves: list[bool] = field(default_factory=list)
    enters: list[bool] = field(default_factory=list)
    zone: list[int] = field(default_factory=list)
    length: list[float] = field(default_factory=list)
    error: Any = 0.0

    def __post_init__(self) -> None:
        self.sensed = list(self.theta)

    def add(
        self,
        theta: Any,
        M: Any,
        hottest: Any,
        inlet: tuple[Any, Any],
        exhaust: tuple[Any, Any],
        air: Any,
        zone: int,
        length: float,
        *,
        enters: bool = True,
        leaves: bool = True,
        sensed: Any = None,
    ) -> None:
        """Append a segment: the grain that leaves it, and the air before and after it."""
        self.theta.append(theta)
        self.sensed.append(theta if sensed is None else sensed)
        self.M.append(M)
        self.hottest.append(hottest)
        self.T_in.append(inlet[0])
        self.W_in.append(inlet[1])
        self.T_out.append(exhaust[0])
        self.W_out.append(exhaust[1])
        self.air.append(air)
        self.zone.append(zone)
        self.length.append(length)
        self.enters.append(enters)
        self.leaves.append(leaves)
