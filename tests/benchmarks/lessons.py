"""What is learned from, and by whom the verdict is taught: the traces that both readers see.

A third of the traces comes from each of the three sets of loops. Random numbers start at 40000
for learning and at 300000 for weighing what was learned; the bench tests on starts from 9000, so
no trace is in two of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

from even_loops import even_cases
from loops import Case, cases
from plain_loops import plain_cases

from outfeed.steering.clean import clean_trace
from outfeed.steering.evidence import gather
from outfeed.steering.measure import Measured, measure
from outfeed.steering.output import OutputTrace, output_seen
from outfeed.steering.trend import TrendLimits
from outfeed.steering.verdict import FEWEST_READINGS as FEWEST
from outfeed.steering.verdict import IMPOSSIBLE_SHARE, SHORTEST_S

FIRST_START, WEIGHING_START = 40_000, 300_000
BATCH = 200
SETS = {"loops": cases, "plain": plain_cases, "even": even_cases}
LIMITS = TrendLimits.from_sensitivity()

Seen = TypeVar("Seen")


def measured_of(case: Case) -> Measured | None:
    """What is measured on one simulated trace; None where plain facts decide."""
    if case.judged < SHORTEST_S:
        return None
    clean = clean_trace(case.times, case.values, case.setpoint)
    seen = clean.times.size + clean.spikes + clean.impossible
    if clean.times.size < FEWEST or clean.impossible > IMPOSSIBLE_SHARE * seen:
        return None
    output = None
    if case.rate is not None:
        low, high = case.rate_limits or (None, None)
        output = output_seen(OutputTrace(case.times, case.rate, low, high), clean)
    return measure(clean, output)


def evidence_on(measured: Measured) -> dict[str, float]:
    """Evidence under the limits that both readers learn."""
    return gather(measured, LIMITS.slope, LIMITS.offset)


def gathered(
    batch: Callable[[tuple[str, int]], list[Seen]], first: int, traces: int, workers: int
) -> Iterator[Seen]:
    """What a function of the name of a set and a start sees of all traces, in their order."""
    starts = range(first, first + traces // BATCH // len(SETS))
    jobs = [(name, start) for start in starts for name in SETS]
    with ProcessPoolExecutor(workers) as pool:
        for part in pool.map(batch, jobs, chunksize=4):
            yield from part
