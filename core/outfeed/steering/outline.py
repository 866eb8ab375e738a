"""The outline of a trace: its course at equal steps, for what is read from its shape.

Two looks at the same trace: all that is judged, and the last two hours closer. Beside the error
stands the output of the controller where it is told, turned so that it follows the sum of the
error, whichever way it acts. Sizes are divided by the limit in force or by their own spread: the
same outline comes from degrees of either scale and from any dryer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from outfeed.arrays import FloatArray
from outfeed.steering.measure import Measured, Output

WHOLE, CLOSE = 128, 48  # points of the two looks; chosen, no source
LEAST_SPREAD_K = 1e-4  # under a spread before it divides
STANDS_STILL = 1e-6  # range of an output over its size at which it shows nothing; chosen
USUAL_READINGS = 2.0  # logarithm of those in a stretch, about the middle; chosen


@dataclass(frozen=True, slots=True)
class Outline:
    """A trace at equal steps.

    Attributes
    ----------
    whole : ndarray
        All that is judged, shape (5, 128): the error by its limit (its inverse hyperbolic sine),
        the error by its own spread, the output by its own spread, one where the output tells
        anything, and the logarithm of the readings in a stretch [-].
    close : ndarray
        The last two hours, shape (3, 48): the first three of these [-].
    """

    whole: FloatArray
    close: FloatArray

    def mirrored(self) -> Outline:
        """The outline of the trace turned upside down.

        Returns
        -------
        Outline
            Error and output with the other sign.
        """
        whole = self.whole.copy()
        whole[:3] *= -1.0
        return Outline(whole, -self.close)


def outline(measured: Measured, offset_limit: float) -> Outline:
    """Draw the outline of a measured trace.

    Parameters
    ----------
    measured : Measured
        The numbers.
    offset_limit : float
        Largest offset that counts as level [K].

    Returns
    -------
    Outline
        At 128 and at 48 equal steps.
    """
    all_of_it, window = measured.whole, measured.window
    at = np.linspace(all_of_it.times[0], all_of_it.times[-1], WHOLE)
    late = np.linspace(window.times[0], window.times[-1], CLOSE)
    error = np.interp(at, all_of_it.times, all_of_it.values)
    end = np.interp(late, window.times, window.values)
    output, output_end = _output(measured.output, at, late, error)
    readings = np.interp(at, all_of_it.times, np.log1p(all_of_it.counts)) - USUAL_READINGS
    told = np.full(WHOLE, float(np.any(output)))
    return Outline(
        whole=np.stack(
            [np.arcsinh(error / offset_limit), _by_spread(error), output, told, readings]
        ),
        close=np.stack([np.arcsinh(end / offset_limit), _by_spread(end), output_end]),
    )


def _by_spread(values: FloatArray) -> FloatArray:
    return np.asarray((values - np.mean(values)) / (np.std(values) + LEAST_SPREAD_K))


def _output(
    output: Output | None, at: FloatArray, late: FloatArray, error: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The output about its mean over its spread, with the sign of the error it sums up."""
    still = np.zeros(at.size), np.zeros(late.size)
    if output is None or output.times.size == 0:
        return still
    whole = np.interp(at, output.times, output.values)
    if np.ptp(whole) <= STANDS_STILL * np.max(np.abs(whole)):
        return still
    mean, spread = np.mean(whole), np.std(whole)
    summed = np.cumsum(error)
    along = float((whole - mean) @ (summed - np.mean(summed)))
    scale = (1.0 if along >= 0.0 else -1.0) / spread
    end = np.interp(late, output.times, output.values)
    return scale * (whole - mean), scale * (end - mean)
