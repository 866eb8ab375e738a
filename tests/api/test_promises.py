"""What the service promises of every answer: repeatable, stateless, bounded, visible."""

from __future__ import annotations

import builtins
import concurrent.futures
import json
import logging
import os
import random
import runpy
import socket
import subprocess
import sys
import tomllib
import tracemalloc
from dataclasses import fields
from pathlib import Path

import pytest

import contract_tool
from outfeed_api.app import create_app
from outfeed_api.logs import JsonFormatter
from outfeed_api.problems import KINDS, TYPE_PREFIX
from outfeed_api.settings import PREFIX, Settings, load_settings

REPLAY_AND_HASH = """
import hashlib, json, sys
import contract_tool
with contract_tool.new_client() as client:
    digest = hashlib.sha256()
    for case in contract_tool.cases():
        example = json.loads(case.read_text())
        digest.update(json.dumps(contract_tool.replay(client, case, example)).encode())
print(digest.hexdigest())
"""


def test_answers_are_the_same_to_the_last_digit_across_processes_and_hash_seeds():
    digests = set()
    for seed in ("0", "4242"):
        environment = {
            **os.environ,
            "PYTHONHASHSEED": seed,
            "PYTHONPATH": str(contract_tool.ROOT / "tests"),
        }
        run = subprocess.run(
            [sys.executable, "-c", REPLAY_AND_HASH],
            capture_output=True,
            text=True,
            check=True,
            env=environment,
        )
        digests.add(run.stdout.strip())
    assert len(digests) == 1


def test_eight_threads_answer_as_one(client):
    bodies = [(case, json.loads(case.read_text())) for case in contract_tool.cases()]
    serial = [contract_tool.replay(client, case, example) for case, example in bodies]
    shuffled = random.Random(8).sample(range(len(bodies)), len(bodies))
    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        together = list(pool.map(lambda i: contract_tool.replay(client, *bodies[i]), shuffled))
    assert together == [serial[i] for i in shuffled]


def test_nothing_is_read_from_file_network_or_environment_while_serving(client, monkeypatch):
    """Pictures are drawn once before: their library loads itself and its font when first asked."""
    bodies = [(case, json.loads(case.read_text())) for case in contract_tool.cases()]
    expected = [contract_tool.replay(client, case, example) for case, example in bodies]

    def refuse(*arguments: object, **_: object) -> None:
        raise AssertionError(f"the service reached outside: {arguments[:1]}")

    monkeypatch.setattr(builtins, "open", refuse)
    monkeypatch.setattr(Path, "open", refuse)
    monkeypatch.setattr(os, "getenv", refuse)
    monkeypatch.setattr(os, "open", refuse)
    monkeypatch.setattr(socket.socket, "connect", refuse)
    assert [contract_tool.replay(client, case, example) for case, example in bodies] == expected


def test_every_problem_kind_has_its_own_slug_and_an_honest_status():
    slugs = [kind.slug for kind in KINDS]
    assert len(set(slugs)) == len(slugs)
    assert {kind.status for kind in KINDS} <= {400, 404, 405, 413, 415, 422, 499, 500, 503}
    assert TYPE_PREFIX.startswith("urn:")


def test_every_setting_and_problem_is_documented():
    text = (contract_tool.ROOT / "DEVELOPERS.md").read_text()
    for item in fields(Settings):
        assert f"`{PREFIX}{item.name.upper()}`" in text, item.name
        assert item.metadata["help"]
    for kind in KINDS:
        assert f"`{kind.slug}`" in text, kind.slug


def test_every_operation_is_in_the_readme():
    text = (contract_tool.ROOT / "README.md").read_text()
    for path, _ in contract_tool.operations(create_app(Settings()).openapi()).values():
        assert path in text, path


def test_a_setting_that_cannot_be_read_stops_the_start():
    for name, text in (("PORT", "http"), ("PORT", "99999"), ("MAX_HEAVY", "0"),
                       ("HEAVY_DEADLINE", "0"), ("HEAVY_DEADLINE", "nan"), ("LOG_LEVEL", "loud"),
                       ("METRICS", "maybe")):  # fmt: skip
        with pytest.raises(ValueError, match=f"OUTFEED_{name} must be .*, not '{text}'"):
            load_settings({f"OUTFEED_{name}": text})
    with pytest.raises(ValueError, match="unknown setting OUTFEED_COLOUR"):
        load_settings({"OUTFEED_COLOUR": "red"})
    assert load_settings({"OUTFEED_METRICS": "false", "HOME": "/"}).metrics is False


def test_arguments_are_refused_with_the_setting_that_takes_their_place(monkeypatch):
    monkeypatch.setattr(sys, "argv", ["outfeed_api", "--port"])
    monkeypatch.setattr("outfeed_api.server.serve", lambda settings: None)
    with pytest.raises(SystemExit, match="OUTFEED_PORT=8001"):
        runpy.run_module("outfeed_api", run_name="__main__")
    assert "OUTFEED_PORT=8001 ./task serve" in (contract_tool.ROOT / "README.md").read_text()


def test_a_wrong_setting_ends_the_start_with_a_sentence(monkeypatch):
    monkeypatch.setattr(sys, "argv", ["outfeed_api"])
    monkeypatch.setenv("OUTFEED_PORT", "http")
    with pytest.raises(SystemExit, match="OUTFEED_PORT must be a whole number from 0 to 65535"):
        runpy.run_module("outfeed_api", run_name="__main__")


@pytest.mark.parametrize("argument", ["-h", "--help"])
def test_who_asks_for_help_is_told_without_an_error(monkeypatch, capsys, argument):
    monkeypatch.setattr(sys, "argv", ["outfeed_api", argument])
    monkeypatch.setattr("outfeed_api.server.serve", lambda settings: None)
    with pytest.raises(SystemExit) as left:
        runpy.run_module("outfeed_api", run_name="__main__")
    assert left.value.code == 0
    assert "OUTFEED_PORT=8001" in capsys.readouterr().out


def test_metrics_count_by_route_and_can_be_switched_off(client):
    client.get("/health/live")
    text = client.get("/metrics").text
    assert 'outfeed_requests_total{method="GET",route="/health/live",status="200"}' in text
    from fastapi.testclient import TestClient

    off = TestClient(create_app(Settings(metrics=False)), raise_server_exceptions=False)
    assert off.get("/metrics").status_code == 404


def test_the_log_of_a_request_holds_no_payload(client, caplog):
    caplog.set_level("INFO")
    client.post("/v1/moist-air", json={"units": "metric", "dry_bulb": 12.3456})
    record = next(record for record in caplog.records if record.message == "request")
    assert record.route == "/v1/moist-air"
    assert "12.3456" not in str(record.__dict__)


def test_the_log_of_a_failure_tells_its_place_and_quotes_nothing():
    sent = "12.3456"
    try:
        try:
            raise ValueError(sent)
        except ValueError:
            raise KeyError(sent)  # noqa: B904 - what came before is to be told as well
    except KeyError:
        record = logging.LogRecord("x", logging.ERROR, "", 0, "unhandled", (), sys.exc_info())
    line = JsonFormatter().format(record)
    for told in ("ValueError", "KeyError", Path(__file__).name):
        assert told in line
    assert sent not in line


def peak_of(client, body: bytes) -> tuple[int, int]:
    """Status of an answer, and the most memory that it took [bytes]."""
    tracemalloc.start()
    answer = client.post("/v1/shrink", content=body, headers={"content-type": "application/json"})
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return answer.status_code, peak


def test_memory_stays_bounded_over_a_body_of_the_most_values(client):
    status, peak = peak_of(client, b'{"units": "us", "loads": [' + b"{}," * 1_490_000 + b"{}]}")
    assert status == 422
    assert peak < 500_000_000


def test_a_body_of_more_values_than_any_request_has_is_not_read_at_all(client):
    status, peak = peak_of(client, b'{"units": "us", "loads": [' + b"{}," * 5_200_000 + b"{}]}")
    assert status == 413
    assert peak < 100_000_000


def test_the_versions_agree():
    project = tomllib.loads((contract_tool.ROOT / "pyproject.toml").read_text())["project"]
    with contract_tool.new_client() as client:
        assert client.app.version == project["version"]
        assert client.get("/health/ready").json()["versions"]["service"] == project["version"]


def test_the_lock_file_holds_pins_and_hashes_and_no_address():
    text = (contract_tool.ROOT / "lock.txt").read_text()
    assert "://" not in text
    pins = [line for line in text.splitlines() if line and not line.startswith((" ", "#"))]
    assert all("==" in pin for pin in pins)
    assert text.count("--hash=sha256:") >= len(pins)
