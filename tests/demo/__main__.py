"""Start the service, walk the season, stop the service: ``./task demo [folder]``."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from demo.paper import Paper
from demo.service import KINDS, RefusedError, Service, over_http
from demo.walk import walk

FOLDER = Path("demo-output")
PATIENCE = 60.0  # s until the service must be ready
STOP = 20.0  # s it is given to stop
STOPPED = 143  # exit status of a process that was asked to stop


@contextmanager
def running_service() -> Iterator[str]:
    """The service in a process of its own, on a free port; stopped whatever happens."""
    port = _free_port()
    base = f"http://127.0.0.1:{port}"
    environment = os.environ | {"OUTFEED_PORT": str(port), "OUTFEED_LOG_LEVEL": "warning"}
    process = subprocess.Popen([sys.executable, "-m", "outfeed_api"], env=environment)
    try:
        _wait_until_ready(process, base)
        yield base
    finally:
        process.terminate()
        try:
            process.wait(STOP)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait_until_ready(process: subprocess.Popen[bytes], base: str) -> None:
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        if process.poll() is not None:
            raise SystemExit(f"demo: the service stopped with {process.returncode}")
        try:
            with urlopen(f"{base}/health/ready", timeout=2.0) as answer:
                if answer.status == 200:
                    return
        except (URLError, OSError):
            pass
        time.sleep(0.1)
    raise SystemExit("demo: the service did not get ready")


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    if folder == FOLDER:
        shutil.rmtree(folder, ignore_errors=True)
    started = time.monotonic()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(STOPPED))  # so that the service stops too
    paper = Paper(print)
    with running_service() as base:
        service = Service(over_http(base), folder)
        try:
            walk(service, paper)
        except RefusedError as refused:
            raise SystemExit(f"demo: {refused}") from None
    paper.chapter("Pictures", f"in {folder}/")
    paper.table(
        ("file", "shows"),
        [(f"{stem}.{'/.'.join(KINDS)}", shows) for stem, shows in service.pictures],
    )
    paper.gap()
    took = time.monotonic() - started
    paper.tell(f"{len(service.asked)} questions, all answered; {took:.0f} seconds.")


if __name__ == "__main__":
    main()
