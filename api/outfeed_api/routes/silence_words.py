"""A column that is no longer read, in words: the sensor first, and nothing is moved meanwhile."""

from __future__ import annotations

from outfeed.steering.silence import UNREAD
from outfeed_api.moments import Clock
from outfeed_api.routes import fire_words
from outfeed_api.routes.trend_models import TrendEvidence

REASON = UNREAD
CHOSEN = (
    "A last reading older than half an hour, and than three usual spacings of the readings, counts "
    "here: chosen, without a published source."
)
BEFORE = "What follows is the trend of the readings before that; it says nothing of now."


def sentence(clock: Clock, since_s: float) -> str:
    """What is not known, and what to do about it.

    Parameters
    ----------
    clock : Clock
        Of the request.
    since_s : float
        Time of the last reading [s].

    Returns
    -------
    str
        A sentence.
    """
    return (
        f"The column temperature has not been read since {clock.say(since_s)}: check the sensor "
        f"and its wiring now; {fire_words.UNWATCHED}."
    )


def decision(clock: Clock, since_s: float, look: str, *, still: bool = False) -> str:
    """The same with setpoint and gain left alone.

    Parameters
    ----------
    clock : Clock
        Of the request.
    since_s : float
        Time of the last reading [s].
    look : str
        When to look again, in words.
    still : bool
        Whether the discharge stands still, which comes first.

    Returns
    -------
    str
        Two sentences.
    """
    if still:
        return f"{fire_words.STILL} {sentence(clock, since_s)}"
    return (
        f"{sentence(clock, since_s)} Move neither setpoint nor gain on the readings before; look "
        f"again at {look}."
    )


def notes(clock: Clock, since_s: float | None, decided: str) -> list[str]:
    """What else to know of it, and that it is so where something else comes first.

    Parameters
    ----------
    clock : Clock
        Of the request.
    since_s : float or None
        Time of the last reading [s]; None while the column is read.
    decided : str
        The decision of the answer.

    Returns
    -------
    list of str
        Sentences; empty while the column is read.
    """
    if since_s is None:
        return []
    said = sentence(clock, since_s)
    return [CHOSEN] if said in decided else [said, CHOSEN]


def unread(evidence: TrendEvidence) -> TrendEvidence:
    """The trend of a column that is read no more: its word is the sensor's.

    Parameters
    ----------
    evidence : TrendEvidence
        Of the readings before.

    Returns
    -------
    TrendEvidence
        The same under the word "sensor-fault".
    """
    return evidence.model_copy(update={"verdict": "sensor-fault"})
