"""A belief is of one grain: what becomes of one that was learned from another, or does not say."""

from __future__ import annotations

from outfeed.grains import load_grain
from outfeed_api.models import Assumed
from outfeed_api.moments import moment_seconds
from outfeed_api.refusals import naming
from outfeed_api.routes.setpoint_models import DischargeSeries, SetpointAdviceRequest


def of_this_grain(request: SetpointAdviceRequest) -> SetpointAdviceRequest:
    """The request without what was learned from another grain.

    Parameters
    ----------
    request : SetpointAdviceRequest
        In SI.

    Returns
    -------
    SetpointAdviceRequest
        The same, or one without the belief of another grain and the readings that it had learned
        from: they were of that grain.

    Raises
    ------
    ProblemError
        A belief of a grain that is not in the catalogue: a misspelt name would lose what was
        learned.
    """
    if not _other(request) or request.belief is None or request.belief.grain is None:
        return request
    with naming("/belief/grain"):
        load_grain(request.belief.grain)
    part, series = request.belief, request.discharge
    at = part.at_elapsed if part.at is None else moment_seconds(part.at)
    kept = [k for k, second in enumerate(series.seconds) if at is None or second > at]
    left = {
        name: [values[k] for k in kept]
        for name in ("times", "elapsed", "moistures")
        if (values := getattr(series, name)) is not None
    }
    discharge: DischargeSeries = series.model_copy(update=left)
    return request.model_copy(update={"belief": None, "discharge": discharge})


def notes(request: SetpointAdviceRequest) -> list[str]:
    """What became of a belief of another grain.

    Parameters
    ----------
    request : SetpointAdviceRequest
        As it was asked.

    Returns
    -------
    list of str
        A sentence; empty where the belief is of this grain.
    """
    if not _other(request) or request.belief is None or request.belief.grain is None:
        return []
    before, now = (_name(one) for one in (request.belief.grain, request.grain))
    note = (
        f"The belief passed back was learned from {before} and says nothing of {now}: learning "
        "begins anew, and the readings that it had learned from are left out. Keep a belief for "
        "each grain and pass back that of the grain being dried."
    )
    return [note]


def assumed(request: SetpointAdviceRequest) -> list[Assumed]:
    """The grain of a belief that names none.

    Parameters
    ----------
    request : SetpointAdviceRequest
        As it was asked.

    Returns
    -------
    list of Assumed
        Empty without a belief, or where it names its grain.
    """
    if request.belief is None or request.belief.grain is not None:
        return []
    return [
        Assumed(
            input="belief.grain",
            choice=request.grain,
            why="the belief does not name the grain it was learned from; it is taken to be of the "
            "grain asked about. Leave it out if it is of another",
            source="chosen, no source",
        )
    ]


def _other(request: SetpointAdviceRequest) -> bool:
    learned_from = None if request.belief is None else request.belief.grain
    return learned_from is not None and learned_from != request.grain


def _name(grain: str) -> str:
    return load_grain(grain).name.lower()
