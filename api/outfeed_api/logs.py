"""Structured logs: one JSON object a line, never a payload."""

from __future__ import annotations

import json
import logging
import time
import traceback

FIELDS = ("request_id", "method", "route", "status", "milliseconds", "bytes_in", "event")


class JsonFormatter(logging.Formatter):
    """Formats a record as one line of JSON with the fields the service sets."""

    def format(self, record: logging.LogRecord) -> str:
        """The record as JSON; an exception by type and place, without its message's data."""
        line: dict[str, object] = {
            "time": time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(record.created))
            + f".{record.msecs:03.0f}Z",
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        line |= {name: getattr(record, name) for name in FIELDS if hasattr(record, name)}
        if record.exc_info and record.exc_info[1] is not None:
            line["exception"] = _type_and_place(record.exc_info[1])
        return json.dumps(line, ensure_ascii=False, default=str)


def _type_and_place(error: BaseException) -> str:
    """Where an exception and what led to it were raised; a message may quote what was sent."""
    earlier = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    before = f"{_type_and_place(earlier)}, then\n" if earlier is not None else ""
    return f"{before}{''.join(traceback.format_tb(error.__traceback__))}{type(error).__name__}"


def configure(level: str) -> None:
    """Send every log line to standard error as JSON.

    Parameters
    ----------
    level : str
        Name of the lowest level shown.
    """
    handler = logging.StreamHandler()
    handler.setFormatter(JsonFormatter())
    root = logging.getLogger()
    root.handlers = [handler]
    root.setLevel(level.upper())
