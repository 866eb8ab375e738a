"""The march of the quick balance: grain through its zones at a discharge, and the one that fits.

A discharge is counted as *slowness*, the seconds a kilogram of dry matter takes to leave: water
lost in a zone is nearly proportional to it, so the slowness that meets a target is a well-behaved
bracketed root. Within a zone the exhaust temperature follows from the equilibrium it approaches,
the water from energy; both close exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from outfeed.arrays import BoolArray, FloatArray
from outfeed.dryer.closures import GrainHeat
from outfeed.dryer.exhaust_air import Warming, equilibrium_exhaust
from outfeed.errors import NotConverged
from outfeed.grains import IsothermSet
from outfeed.limits import DRY_BULB
from outfeed.moist_air import (
    DRY_AIR_HEAT_CAPACITY,
    LATENT_HEAT_AT_ZERO,
    VAPOUR_HEAT_CAPACITY,
    relative_humidity,
    saturation_humidity_ratio,
)

_ROUNDS = 100  # of the outer root; about eight are needed
_MOISTURE_TOLERANCE = 1e-12  # dry basis, of the moisture at the discharge
_WIDENINGS = 14  # fourfold, of the first bracket
_FIRST_BRACKET = (0.5, 3.0)  # of the slowness that sensible heat of the air alone would give
_BACK_OFF = 0.1  # share by which saturated air is moved away from saturation in a round
_SATURATION_TOLERANCE = 1e-6  # of relative humidity
_NEWTON_STEPS = 3  # of the water lost; the equation is nearly linear, each doubles the digits
_WARMEST_DEW = 80.0  # degC, beyond any dew point of drying air
_SAME_MOISTURE = 1e-9  # dry basis, below which a mean slope is the slope itself


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """Grain and air leaving one zone, arrays over scenarios.

    Attributes
    ----------
    lost : ndarray
        Water lost in the zone [kg/kg dry matter].
    moisture : ndarray
        Moisture after it, dry basis [-].
    grain_temperature : ndarray
        Grain after it [degC].
    air_temperature, air_humidity : ndarray
        Exhaust [degC], [kg/kg dry air].
    short_of_air : ndarray of bool
        Whether cooling air is too little to cool the grain as far as assumed.
    """

    lost: FloatArray
    moisture: FloatArray
    grain_temperature: FloatArray
    air_temperature: FloatArray
    air_humidity: FloatArray
    short_of_air: BoolArray


@dataclass(slots=True, eq=False)
class March:
    """The column as the march sees it, arrays (zones, scenarios) or (scenarios,).

    Attributes
    ----------
    heat : GrainHeat
        Heat capacity and heat of sorption of the grain.
    isotherm : IsothermSet
        Its equilibrium moisture.
    heated : tuple of bool
        Which zones are heated, from the top.
    volumes : tuple of float
        Bed volume of each zone [m3].
    inlet, target : ndarray
        Moistures, dry basis [-].
    inlet_temperature, discharge_temperature : ndarray
        Grain at the top and leaving the last cooling zone [degC].
    pressure : ndarray
        Barometric pressure [Pa].
    airflow, air_temperature, air_humidity : ndarray
        Air entering each zone [kg/s], [degC], [kg/kg dry air].
    middle : ndarray
        Grain moisture in the middle of each zone, dry basis [-].
    effectiveness : ndarray
        Air effectiveness [-].
    measured : ndarray
        Measured exhaust temperatures [degC], NaN where there are none.
    evaporation_share : ndarray
        Share of the heat given up in a cooling zone that evaporates water [-].
    ambient : ndarray
        Outside air [degC].
    balanced : ndarray
        Guess at the temperature at which the air of each zone is in equilibrium with its grain
        [degC]; refined as the march goes on.
    saturated : ndarray of bool
        Where air had to be held back from saturation; found by the march.
    """

    heat: GrainHeat
    isotherm: IsothermSet
    heated: tuple[bool, ...]
    volumes: tuple[float, ...]
    inlet: FloatArray
    target: FloatArray
    inlet_temperature: FloatArray
    discharge_temperature: FloatArray
    pressure: FloatArray
    airflow: FloatArray
    air_temperature: FloatArray
    air_humidity: FloatArray
    middle: FloatArray
    effectiveness: FloatArray
    measured: FloatArray
    evaporation_share: FloatArray
    ambient: FloatArray
    balanced: FloatArray
    saturated: BoolArray

    def solve(self) -> tuple[FloatArray, list[Step]]:
        """Slowness that meets the target, and the zones at it.

        Returns
        -------
        tuple
            Slowness [s/kg dry matter], zero where the target is met without heat, and the steps.

        Raises
        ------
        NotConverged
            The root was not bracketed, or not met within 100 rounds to 1e-12 of moisture.
        """
        for _ in range(_ROUNDS):
            slowness, met = self._slowness()
            steps = self.steps(slowness)
            wet = np.array([self._is_wet(step) for step in steps]) & ~met
            if not np.any(wet):
                return np.where(met, 0.0, slowness), steps
            self._back_off(wet, steps)
        raise NotConverged("exhaust short of saturation", (0.0, 1.0), _BACK_OFF)

    def steps(self, slowness: FloatArray) -> list[Step]:
        """All zones at a slowness.

        Parameters
        ----------
        slowness : ndarray
            Seconds per kilogram of dry matter.

        Returns
        -------
        list of Step
            From the top.
        """
        moisture, temperature, steps = self.inlet, self.inlet_temperature, []
        for zone, hot in enumerate(self.heated):
            through = self._heated_zone if hot else self._cooling_zone
            step = through(zone, moisture, temperature, self.airflow[zone] * slowness)
            moisture, temperature = step.moisture, step.grain_temperature
            steps.append(step)
        return steps

    def grain_enthalpy(self, temperature: FloatArray, moisture: FloatArray) -> FloatArray:
        """Enthalpy of grain, zero at 0 degC up to the heat of sorption.

        Parameters
        ----------
        temperature : ndarray
            Grain [degC].
        moisture : ndarray
            Moisture, dry basis [-].

        Returns
        -------
        ndarray
            [J/kg dry matter].
        """
        return self._capacity(moisture) * temperature - self._bound_energy(moisture)

    def _slowness(self) -> tuple[FloatArray, BoolArray]:
        """Slowness that meets the target, and where none is needed."""
        rise = np.sum(self.airflow * (self.air_temperature - self.ambient), axis=0)
        sensible = DRY_AIR_HEAT_CAPACITY * rise
        reference = (self.inlet - self.target) * LATENT_HEAT_AT_ZERO / sensible
        low, high, met = self._bracket(*(reference * end for end in _FIRST_BRACKET))
        return _falling_root(self._excess, low, high), met

    def _back_off(self, wet: BoolArray, steps: list[Step]) -> None:
        """Saturated exhaust nearer its plenum, saturated cooling to less evaporation."""
        self.saturated = self.saturated | wet
        hot = np.array(self.heated)[:, None] & wet
        exhaust = np.array([step.air_temperature for step in steps])
        warmer = exhaust + _BACK_OFF * (self.air_temperature - exhaust)
        self.measured = np.where(hot, warmer, self.measured)
        less = (1.0 - _BACK_OFF) * self.evaporation_share
        self.evaporation_share = np.where(wet & ~hot, less, self.evaporation_share)

    def _excess(self, slowness: FloatArray) -> FloatArray:
        """Moisture at the discharge above the target; falls with slowness."""
        return self.steps(slowness)[-1].moisture - self.target

    def _bracket(
        self, low: FloatArray, high: FloatArray
    ) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Widen until the target lies between; where no slowness is short enough, it is met."""
        for _ in range(_WIDENINGS):
            wetter, drier = self._excess(low) > 0.0, self._excess(high) < 0.0
            if np.all(wetter & drier):
                return low, high, ~wetter
            low, high = np.where(wetter, low, low / 4.0), np.where(drier, high, high * 4.0)
        if not np.all(drier):
            worst = int(np.argmin(drier))
            raise NotConverged("quick balance", (float(low[worst]), float(high[worst])), 0.0)
        return low, high, ~wetter

    def _heated_zone(
        self, zone: int, moisture: FloatArray, entering: FloatArray, air: FloatArray
    ) -> Step:
        """Grain leaves at the exhaust temperature; what heat it does not take evaporates water."""
        leaving = self._exhaust_temperature(zone, moisture, entering, air)
        given = air * self._air_capacity(zone) * (self.air_temperature[zone] - leaving)
        spent = given - self._capacity(moisture) * (leaving - entering)
        lost = self._evaporated(spent, moisture, leaving, leaving)
        dew = air * np.minimum(self._dew(entering) - self.air_humidity[zone], 0.0)
        short = lost < dew
        warmed = self._warmed(zone, moisture, entering, air, dew)
        lost, leaving = np.where(short, dew, lost), np.where(short, warmed, leaving)
        humidity = self.air_humidity[zone] + lost / air
        return Step(lost, moisture - lost, leaving, leaving, humidity, np.zeros(lost.shape, bool))

    def _dew(self, grain: FloatArray) -> FloatArray:
        """Humidity of air saturated at the temperature of the incoming grain: the least left."""
        warm = np.clip(grain, DRY_BULB.low, _WARMEST_DEW)
        return np.asarray(saturation_humidity_ratio(warm, self.pressure))

    def _warmed(
        self,
        zone: int,
        moisture: FloatArray,
        entering: FloatArray,
        air: FloatArray,
        lost: FloatArray,
    ) -> FloatArray:
        """Temperature of grain and exhaust where the air can do no more than warm cold grain."""
        carried, taken = air * self._air_capacity(zone), self._capacity(moisture)
        latent = LATENT_HEAT_AT_ZERO + self._bound(moisture, lost)
        stored = carried * self.air_temperature[zone] + taken * entering - lost * latent
        slope = VAPOUR_HEAT_CAPACITY - self.heat.per_moisture
        return np.asarray(stored / (carried + taken + lost * slope))

    def _exhaust_temperature(
        self, zone: int, moisture: FloatArray, entering: FloatArray, air: FloatArray
    ) -> FloatArray:
        plenum, measured = self.air_temperature[zone], self.measured[zone]
        warming = Warming(
            heat_ratio=self._capacity(np.maximum(moisture, 0.0)) / air,
            grain_temperature=entering,
            effectiveness=self.effectiveness[zone],
            per_moisture=self.heat.per_moisture,
            bound=self._bound_slope(self.middle[zone]),
        )
        balanced = equilibrium_exhaust(
            self.isotherm,
            plenum,
            self.air_humidity[zone],
            self.pressure,
            self.middle[zone],
            warming,
            self.balanced[zone],
        )
        self.balanced[zone] = balanced
        reached = plenum - self.effectiveness[zone] * (plenum - balanced)
        return np.asarray(np.where(np.isfinite(measured), measured, reached))

    def _cooling_zone(
        self, zone: int, moisture: FloatArray, entering: FloatArray, air: FloatArray
    ) -> Step:
        """Grain gives up heat; part of it evaporates water, the rest warms the air.

        The air leaves no hotter than the grain comes in, which limits how far it can cool it.
        """
        ambient, share = self.air_temperature[zone], self.evaporation_share[zone]
        wanted = np.maximum(entering - self._cooled(zone, entering), 0.0)
        capacity = self._capacity(moisture)
        carried = air * self._air_capacity(zone)
        possible = carried * np.maximum(entering - ambient, 0.0) / (capacity * (1.0 - share))
        grain = entering - np.minimum(wanted, possible)
        released = capacity * (entering - grain)
        lost = self._evaporated(share * released, moisture, grain, grain)
        latent = self._heat_per_water(np.zeros_like(grain), grain, self._bound(moisture, lost))
        stored = carried * ambient + released - lost * latent
        leaving = stored / (carried + VAPOUR_HEAT_CAPACITY * lost)
        humidity = self.air_humidity[zone] + lost / air
        return Step(lost, moisture - lost, grain, leaving, humidity, possible < wanted)

    def _cooled(self, zone: int, entering: FloatArray) -> FloatArray:
        """Grain after a cooling zone: its share of the way, by volume, to the discharge."""
        rest = zip(self.volumes[zone:], self.heated[zone:], strict=True)
        left = sum(volume for volume, hot in rest if not hot)
        return entering - (entering - self.discharge_temperature) * self.volumes[zone] / left

    def _evaporated(
        self, heat: FloatArray, moisture: FloatArray, air: FloatArray, grain: FloatArray
    ) -> FloatArray:
        """Water that a heat evaporates [kg/kg dry matter], with the heat of sorption it meets."""
        free = self._heat_per_water(air, grain, np.zeros_like(grain))
        before = self._bound_energy(moisture)
        lost = heat / (free + self._bound_slope(moisture))
        for _ in range(_NEWTON_STEPS):
            after = moisture - lost
            excess = lost * free + before - self._bound_energy(after) - heat
            lost = lost - excess / (free + self._bound_slope(after))
        return lost

    def _heat_per_water(self, air: FloatArray, grain: FloatArray, bound: FloatArray) -> FloatArray:
        """Heat that a kilogram of water takes with it [J/kg]."""
        vapour = LATENT_HEAT_AT_ZERO + VAPOUR_HEAT_CAPACITY * air
        return np.asarray(vapour - self.heat.per_moisture * grain + bound)

    def _capacity(self, moisture: FloatArray) -> FloatArray:
        return self.heat.dry + self.heat.per_moisture * moisture

    def _air_capacity(self, zone: int) -> FloatArray:
        """Heat capacity of the air entering a zone [J/(kg dry air K)]."""
        return np.asarray(DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * self.air_humidity[zone])

    def _is_wet(self, step: Step) -> BoolArray:
        """Where water that left the grain would have to condense in the exhaust."""
        inside = np.clip(step.air_temperature, DRY_BULB.low, DRY_BULB.high)
        ratio = np.clip(step.air_humidity, 0.0, 1.0)
        wet = relative_humidity(inside, ratio, self.pressure) > 1.0 + _SATURATION_TOLERANCE
        return np.asarray(wet & (step.lost > 0.0))

    def _bound_energy(self, moisture: FloatArray) -> FloatArray:
        """Integral of the heat of sorption over moisture [J/kg dry matter]; straight below zero."""
        heat, inside = self.heat, np.maximum(moisture, 0.0)
        decaying = heat.sorption_scale / heat.decay * np.exp(-heat.decay * inside)
        below = self._bound_slope(moisture) * (moisture - inside)
        return np.asarray(heat.sorption_shift * inside - decaying + below)

    def _bound_slope(self, moisture: FloatArray) -> FloatArray:
        """Heat of sorption at a moisture [J/kg water]."""
        heat = self.heat
        decayed = np.exp(-heat.decay * np.maximum(moisture, 0.0))
        return np.asarray(heat.sorption_scale * decayed + heat.sorption_shift)

    def _bound(self, moisture: FloatArray, lost: FloatArray) -> FloatArray:
        """Mean heat of sorption of the water lost from a moisture [J/kg]."""
        small = np.abs(lost) < _SAME_MOISTURE
        span = np.where(small, 1.0, lost)
        mean = (self._bound_energy(moisture) - self._bound_energy(moisture - lost)) / span
        return np.where(small, self._bound_slope(moisture), mean)


def _falling_root(
    function: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray
) -> FloatArray:
    """Root of a falling function between its brackets: false position, ends halved (Illinois)."""
    at_low, at_high = function(low), function(high)
    open_ended = at_low <= 0.0
    side = np.zeros(low.shape)
    for _ in range(_ROUNDS):
        span = np.where(open_ended, 1.0, at_low - at_high)
        x = np.where(open_ended, low, (high * at_low - low * at_high) / span)
        value = function(x)
        if np.all((np.abs(value) <= _MOISTURE_TOLERANCE) | open_ended):
            return x
        above = value > 0.0
        at_high = np.where(above, np.where(side > 0.0, 0.5 * at_high, at_high), value)
        at_low = np.where(above, value, np.where(side < 0.0, 0.5 * at_low, at_low))
        low, high = np.where(above, x, low), np.where(above, high, x)
        side = np.where(above, 1.0, -1.0)
    worst = int(np.argmax(np.where(open_ended, 0.0, np.abs(value))))
    raise NotConverged(
        "quick balance", (float(low[worst]), float(high[worst])), _MOISTURE_TOLERANCE
    )
