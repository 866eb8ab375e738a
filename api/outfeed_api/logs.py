"""Structured logs: one JSON object a line, never a payload."""

from __future__ import annotations

import json
import logging
import time

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
        if record.exc_info and record.exc_info[0] is not None:
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


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
