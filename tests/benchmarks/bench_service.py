"""What the service costs: cold start, each recorded example, and an echo to compare with.

In one process and one run; the ratio to the echo is what carries over to other machines.
"""

from __future__ import annotations

import asyncio
import json
import statistics
import subprocess
import sys
import time
from typing import Any

from fastapi import FastAPI
from pydantic import BaseModel

import contract_tool
from outfeed_api.app import create_app
from outfeed_api.settings import Settings

COLD_STARTS = 5
ROUNDS = 200
SECONDS_EACH = 1.0  # longest time spent on one example


class Echo(BaseModel):
    """Fifteen numbers in, fifteen out."""

    values: list[float]


def echo_app() -> FastAPI:
    """A plain FastAPI application with one echo."""
    app = FastAPI(telemetry={"tracing": False, "metrics": False, "logs": False})

    @app.post("/echo")
    async def echo(body: Echo) -> Echo:
        return body

    return app


async def call(app: Any, path: str, body: bytes, content_type: str) -> int:
    """One request straight into the ASGI application; its status."""
    status = 0
    headers = [(b"content-type", content_type.encode()), (b"content-length", b"%d" % len(body))]
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "POST",
        "path": path, "raw_path": path.encode(), "query_string": b"", "headers": headers,
        "scheme": "http", "server": ("bench", 80), "client": ("bench", 1), "root_path": "",
        "state": {},
    }  # fmt: skip

    asked = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> dict[str, Any]:
        return asked.pop() if asked else await asyncio.Event().wait()  # the caller stays

    async def send(message: dict[str, Any]) -> None:
        nonlocal status
        status = message.get("status", status)

    await app(scope, receive, send)
    return status


async def median_us(app: Any, path: str, body: bytes, content_type: str) -> tuple[float, int]:
    """Median microseconds of one request, and its status."""
    times = []
    end = time.perf_counter() + SECONDS_EACH
    status = await call(app, path, body, content_type)
    while len(times) < ROUNDS and (not times or time.perf_counter() < end):
        start = time.perf_counter()
        status = await call(app, path, body, content_type)
        times.append((time.perf_counter() - start) * 1e6)
    return statistics.median(times), status


def cold_start() -> float:
    """Seconds from starting Python to an application that could answer."""
    times = []
    code = "from outfeed_api.app import create_app; create_app()"
    for _ in range(COLD_STARTS):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


async def examples() -> None:
    """Every recorded JSON example of a computation, against the echo."""
    echo, _ = await median_us(
        echo_app(), "/echo", json.dumps({"values": [1.0] * 15}).encode(), "application/json"
    )
    print(f"{'FastAPI echo, 15 numbers':58s} {echo:9.0f} us   1.0")
    app = create_app(Settings())
    where = contract_tool.operations(app.openapi())
    for case in contract_tool.cases():
        path, method = where[case.parent.name]
        example = json.loads(case.read_text())
        if method != "POST" or not isinstance(example["request"], dict):
            continue
        body = json.dumps(example["request"]).encode()
        spent, status = await median_us(app, path, body, "application/json")
        print(
            f"{case.parent.name + ' ' + case.stem:54s} {status} {spent:9.0f} us {spent / echo:5.1f}"
        )


if __name__ == "__main__":
    print(f"cold start, median of {COLD_STARTS}: {cold_start():.2f} s")
    asyncio.run(examples())
