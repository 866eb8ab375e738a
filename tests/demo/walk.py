"""The season from August to December, step by step."""

from __future__ import annotations

from demo import farm
from demo.after import cooling, review, settle, storage
from demo.before import calm, check_meter, fill, plan, size, start
from demo.dryer import SimulatedDryer
from demo.next_year import fit, next_year
from demo.paper import Paper
from demo.service import Service
from demo.steering import Season, average, clock, steer
from demo.weather import cold_front, wet_lot

DAY = 24.0  # h
HASTY_GAIN = 0.18  # share of the rate per degF


def walk(service: Service, paper: Paper) -> Season:
    """Walk the whole season; what each step learned stays in the result."""
    dryer = SimulatedDryer(farm.MONDAY, farm.FIRST_CORN, gain=HASTY_GAIN)
    season = Season(service, paper, dryer)
    paper.title("Long Acre Farm: one season with Outfeed")
    paper.tell(
        "Farm, dryer, weather, prices and logs are invented; the answers (marked >) are the "
        "service's own, word for word. The dryer is simulated and does what it is told; the farm "
        "does not know that its meter reads low and that its fans move less air than stated."
    )
    for step in (size, plan, start, fill, check_meter, calm, one_day):
        step(season)
    for step in (wet_lot, cold_front, cooling, storage, settle, review, fit, next_year):
        step(season)
    return season


def one_day(season: Season) -> None:
    """Tuesday: the column setpoint is moved when the answer says so, and only then."""
    paper, dryer = season.paper, season.dryer
    paper.chapter("A day of steering", clock(dryer.now))
    paper.tell(
        f"The column is calm. From now on every look asks whether the setpoint should move to "
        f"reach {farm.TARGET} %. Each answer carries what was learned of this dryer, and the next "
        "question hands it back. Moistures are the last hour's, meter offset applied."
    )
    season.kept["steered_since"] = dryer.now
    before = dryer.rows(3.0)
    steer(season, DAY)
    after, belief = dryer.rows(3.0), season.kept["belief"]
    season.kept["day"] = tuple(average([row.moisture for row in rows]) for rows in (before, after))
    paper.point(
        f"True moisture: {season.kept['day'][0]:.1f} % before the first look, "
        f"{season.kept['day'][1]:.1f} % a day later."
    )
    paper.point(
        f"Learned: a degree more in the column is {belief['sensitivity']:+.2f} point "
        f"(give or take {2.0 * belief['sensitivity_sd']:.2f}), from {belief['readings']} readings."
    )
