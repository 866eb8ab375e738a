"""The README tells the truth: its first call gives its answer, its library example runs."""

from __future__ import annotations

import json
import re
import subprocess
from fnmatch import fnmatch
from typing import Any

import contract_tool

TEXT = (contract_tool.ROOT / "README.md").read_text()


def blocks(language: str) -> list[str]:
    return re.findall(rf"```{language}\n(.*?)```", TEXT, re.DOTALL)


def test_the_first_call_gives_the_answer_that_is_printed(client):
    (call,) = [block for block in blocks("sh") if "curl" in block]
    (shown,) = blocks("json")
    path = re.search(r"http://127\.0\.0\.1:8000(\S+)", call)
    body = re.search(r"-d '(.*?)'", call, re.DOTALL)
    assert path is not None
    assert body is not None
    answer = client.post(path[1], json=json.loads(body[1])).json()
    assert holds(answer, json.loads(shown)), json.dumps(answer, indent=2)[:3000]


def holds(answer: Any, shown: Any) -> bool:
    """Whether what is shown is part of the answer, to the digits shown."""
    if isinstance(shown, dict):
        return all(key in answer and holds(answer[key], value) for key, value in shown.items())
    if isinstance(shown, list):
        return len(shown) == len(answer) and all(map(holds, answer, shown))
    if isinstance(shown, float):
        digits = len(repr(shown).partition(".")[2])
        return round(answer, digits) == shown
    return bool(answer == shown)


def test_the_library_example_runs_and_prints_what_it_says(capsys):
    (example,) = blocks("python")
    exec(compile(example, "README.md", "exec"), {})
    printed = capsys.readouterr().out.split()
    promised = re.search(r"^prints (\S+) and (\S+):", TEXT, re.MULTILINE)
    assert promised is not None
    assert printed == [promised[1], promised[2]]


def test_every_module_stands_in_the_map():
    text = (contract_tool.ROOT / "DEVELOPERS.md").read_text()
    known = text.split("## The map")[1].split("## ")[0].split()
    missing = [
        module.name
        for folder in ("core/outfeed", "api/outfeed_api")
        for module in (contract_tool.ROOT / folder).glob("*.py")
        if module.stem != "__init__" and not any(fnmatch(module.name, name) for name in known)
    ]
    assert missing == []


def test_a_misspelt_command_fails_and_shows_those_there_are():
    run = subprocess.run(
        [contract_tool.ROOT / "task", "tets"], capture_output=True, text=True, check=False
    )
    assert run.returncode == 2
    assert "no command tets" in run.stderr
    assert "./task test" in run.stderr


def test_both_commands_are_in_the_task_script():
    script = (contract_tool.ROOT / "task").read_text()
    for command in ("serve", "test"):
        assert f"./task {command}" in TEXT
        assert f"    {command}) " in script
