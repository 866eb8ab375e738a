"""How the demo speaks to the service: one question, one answer, and pictures of some answers."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import Request, urlopen

from demo import farm

Send = Callable[[str, bytes, str], tuple[int, bytes]]
"""From path, body and the kind of answer wanted to status and answer."""

KINDS = {"svg": "image/svg+xml", "png": "image/png"}


class RefusedError(Exception):
    """The service did not answer 200."""


def over_http(base: str) -> Send:
    """Sends to a running service."""

    def send(path: str, body: bytes, accept: str) -> tuple[int, bytes]:
        headers = {"content-type": "application/json", "accept": accept}
        try:
            with urlopen(Request(base + path, body, headers), timeout=60.0) as answer:
                return answer.status, answer.read()
        except HTTPError as refused:
            return refused.code, refused.read()

    return send


class Service:
    """The service as the farm uses it: in bushels, pounds and degrees Fahrenheit."""

    def __init__(self, send: Send, folder: Path) -> None:
        self._send, self._folder = send, folder
        self.asked: list[tuple[str, int]] = []
        self.pictures: list[tuple[str, str]] = []

    def ask(self, name: str, **body: Any) -> dict[str, Any]:
        """The answer to one question."""
        return json.loads(self._post(name, body, "application/json"))

    def draw(self, title: str, shows: str, name: str, **body: Any) -> None:
        """Write the picture of an answer, as SVG and as PNG."""
        self._folder.mkdir(parents=True, exist_ok=True)
        stem = f"{len(self.pictures) + 1:02}-{title}"
        for ending, kind in KINDS.items():
            (self._folder / f"{stem}.{ending}").write_bytes(self._post(name, body, kind))
        self.pictures.append((stem, shows))

    def _post(self, name: str, body: dict[str, Any], accept: str) -> bytes:
        question = {"units": "us", "grain": farm.GRAIN} | body
        path = f"/v1/{name}"
        status, answer = self._send(path, json.dumps(question).encode(), accept)
        self.asked.append((path, status))
        if status != 200:
            raise RefusedError(f"{path} answered {status}: {answer.decode(errors='replace')}")
        return answer
