"""Every setting of the service: one typed class, read from the environment once at start."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields
from typing import Any

PREFIX = "OUTFEED_"


LOG_LEVELS = ("debug", "info", "warning", "error")


def _setting(default: Any, help_: str, low: float = 0, high: float = 1e9) -> Any:
    return field(default=default, metadata={"help": help_, "low": low, "high": high})


@dataclass(frozen=True, slots=True)
class Settings:
    """What an operator of the service can change; each as ``OUTFEED_<NAME>``."""

    host: str = _setting("127.0.0.1", "Address to listen on.")
    port: int = _setting(8000, "Port to listen on.", high=65_535)
    max_body_bytes: int = _setting(16_000_000, "Largest request body read; larger gets 413.")
    max_log_bytes: int = _setting(100_000_000, "Largest CSV log read where one is; larger, 413.")
    max_held_bytes: int = _setting(200_000_000, "Bodies held at once, in bytes; more get 503.")
    max_large: int = _setting(1, "Logs past max_body_bytes served at once; more get 503.")
    max_in_flight: int = _setting(200, "Requests served at once; more get 503.", low=1)
    max_heavy: int = _setting(1, "Long computations run at once in this process.", 1, 256)
    max_steering: int = _setting(1, "Steering questions run at once, beside those.", 1, 256)
    max_heavy_waiting: int = _setting(32, "Of either kind, how many may wait; more get 503.")
    heavy_deadline: float = _setting(20.0, "Seconds a long computation may wait and run.", low=0.1)
    drain_delay: float = _setting(0.0, "Seconds between readiness off and stopping, at SIGTERM.")
    drain_limit: float = _setting(25.0, "Seconds given to requests in flight at shutdown.")
    log_level: str = _setting("info", "debug, info, warning or error.")
    metrics: bool = _setting(True, "Whether GET /metrics answers.")


def load_settings(environment: Mapping[str, str] | None = None) -> Settings:
    """Settings from the environment.

    Parameters
    ----------
    environment : mapping, optional
        Defaults to the process environment.

    Returns
    -------
    Settings
        With defaults where nothing is set.

    Raises
    ------
    ValueError
        A setting that is unknown, cannot be read as its type or lies outside its range.
    """
    environment = os.environ if environment is None else environment
    known = {PREFIX + item.name.upper(): item for item in fields(Settings)}
    given = {name: text for name, text in environment.items() if name.startswith(PREFIX)}
    unknown = sorted(set(given) - set(known))
    if unknown:
        raise ValueError(f"unknown setting {unknown[0]}; known: {', '.join(sorted(known))}")
    values: dict[str, Any] = {
        known[name].name: _read(name, text, known[name]) for name, text in given.items()
    }
    return Settings(**values)


def _read(name: str, text: str, item: Field[Any]) -> object:
    if isinstance(item.default, bool):
        words = {"true": True, "1": True, "false": False, "0": False}
        if text.lower() not in words:
            raise ValueError(f"{name} must be true or false, not {text!r}")
        return words[text.lower()]
    if isinstance(item.default, str):
        if item.name == "log_level" and text not in LOG_LEVELS:
            raise ValueError(f"{name} must be one of {', '.join(LOG_LEVELS)}, not {text!r}")
        return text
    kind, what = (int, "a whole number") if isinstance(item.default, int) else (float, "a number")
    low, high = item.metadata["low"], item.metadata["high"]
    try:
        value: float = kind(text)
    except ValueError:
        value = math.nan
    if not low <= value <= high:
        raise ValueError(f"{name} must be {what} from {low:g} to {high:.12g}, not {text!r}")
    return value
