"""Bench of the meter check: how often its 95 % interval holds the true offset, and how wide it is.

    python tests/benchmarks/bench_meter.py [checks a cell] [starting number]

Checks of a meter that is 0.4 point off are drawn with the spreads of the published study, with
others, and with spreads drawn site by site, readings rounded to a tenth of a point. A coverage of
400 checks is known to 2.2 % (two standard errors).
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import numpy as np

from outfeed.steering.meter import MeterCheck, Sample, check_meter
from outfeed.steering.meter_doubt import one_reading_sd

LEVEL, LEVELS_SD, OFFSET, STEP = 0.17, 0.004, 0.004, 0.001
SAMPLES, READINGS = (1, 2, 3, 4, 5, 6, 8, 10), (1, 2, 3, 5)
SITE = float(np.log(1.4))

Spread = Callable[[np.random.Generator], tuple[float, float]]
SITES: dict[str, Spread] = {
    "as the study": lambda rng: (1.0, 1.0),
    "samples 0.5 of it": lambda rng: (0.5, 1.0),
    "samples 1.5 of it": lambda rng: (1.5, 1.0),
    "samples 2.0 of it": lambda rng: (2.0, 1.0),
    "readings 2.0 of it": lambda rng: (1.0, 2.0),
    "drawn, 1.4 one SD": lambda rng: (
        float(np.exp(rng.normal(0.0, SITE))),
        float(np.exp(rng.normal(0.0, SITE))),
    ),
}
"""Spread between samples and of readings, over the study's."""


def drawn(rng: np.random.Generator, spread: Spread, samples: int, readings: int) -> MeterCheck:
    """One check at a site."""
    repeat, between, _ = one_reading_sd(LEVEL)
    wider, looser = spread(rng)
    grain = LEVEL + rng.normal(0.0, LEVELS_SD, samples)
    shown = grain - OFFSET + rng.normal(0.0, wider * between, samples)
    read = grain[:, None] + rng.normal(0.0, looser * repeat, (samples, readings))
    return check_meter(
        [
            Sample(tuple(r), (m,))
            for r, m in zip(
                (np.round(read / STEP) * STEP).tolist(),
                (np.round(shown / STEP) * STEP).tolist(),
                strict=True,
            )
        ]
    )


def main(count: int = 400, start: int = 1) -> None:
    """Run the bench and print it."""
    for name, spread in SITES.items():
        print(f"\nsites {name}: coverage [%], mean half-width [points]")
        print("samples  " + "".join(f"{n:>8d} read" for n in READINGS))
        for samples in SAMPLES:
            cells = []
            for readings in READINGS:
                rng = np.random.default_rng((start, samples, readings))
                found = [drawn(rng, spread, samples, readings) for _ in range(count)]
                held = np.mean([abs(one.offset - OFFSET) <= one.half_width for one in found])
                half = np.mean([one.half_width for one in found])
                cells.append(f"{100.0 * held:7.1f} {100.0 * half:4.2f} ")
            print(f"{samples:7d}  " + "".join(cells))


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
