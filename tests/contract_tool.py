"""Writes the committed contract and re-records its examples: ``./task contract``.

``openapi/openapi.json`` is the application's contract with the examples merged
in; ``openapi/examples/<operation>/<case>.json`` holds request and answer.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from fastapi.testclient import TestClient

from outfeed_api.app import create_app
from outfeed_api.settings import Settings

ROOT = Path(__file__).resolve().parent.parent
FOLDER = ROOT / "openapi"
REQUEST_ID = "example"


def cases() -> list[Path]:
    """The example files, in name order."""
    return sorted((FOLDER / "examples").glob("*/*.json"))


def new_client() -> TestClient:
    """A client of a new application."""
    return TestClient(create_app(Settings()), raise_server_exceptions=False)


def replay(client: TestClient, case: Path, example: dict[str, Any]) -> tuple[int, Any]:
    """Send an example's request; its status and answer."""
    path, method = operations(client.app.openapi())[case.parent.name]
    media_type = example.get("content_type", "application/json")
    body = example.get("request")
    content = body.encode() if isinstance(body, str) else json.dumps(body).encode()
    headers = {"content-type": media_type, "x-request-id": REQUEST_ID}
    if "accept" in example:
        headers["accept"] = example["accept"]
    arguments: dict[str, Any] = {} if method == "GET" else {"content": content}
    url = path.format(**example.get("path", {})) + example.get("query", "")
    answer = client.request(method, url, headers=headers, **arguments)
    kind = answer.headers["content-type"]
    return answer.status_code, answer.json() if "json" in kind else answer.text


def operations(document: dict[str, Any]) -> dict[str, tuple[str, str]]:
    """From operation id to path and method."""
    return {
        operation["operationId"]: (path, method.upper())
        for path, item in document["paths"].items()
        for method, operation in item.items()
    }


def with_examples(document: dict[str, Any]) -> dict[str, Any]:
    """The contract with every recorded JSON example merged in."""
    document = json.loads(json.dumps(document))
    where = operations(document)
    for case in cases():
        example = json.loads(case.read_text())
        path, method = where[case.parent.name]
        operation = document["paths"][path][method.lower()]
        entry = {"summary": example["summary"]}
        if isinstance(example.get("request"), dict):
            body = operation["requestBody"]["content"]["application/json"]
            body.setdefault("examples", {})[case.stem] = entry | {"value": example["request"]}
        if isinstance(example.get("response"), dict):
            answers = operation["responses"][str(example.get("status", 200))]["content"]
            media_type = next(iter(answers))
            answers[media_type].setdefault("examples", {})[case.stem] = entry | {
                "value": example["response"]
            }
    return document


def record(client: TestClient) -> None:
    """Re-record the answer of every example."""
    for case in cases():
        example = json.loads(case.read_text())
        status, answer = replay(client, case, example)
        if status != example.get("status", 200):
            sys.exit(f"{case.name} of {case.parent.name}: status {status}: {answer}")
        example["response"] = answer
        case.write_text(dump(example))


def dump(document: Any) -> str:
    """JSON as it is committed."""
    return json.dumps(document, indent=2, ensure_ascii=False) + "\n"


def main() -> None:
    """Record the examples and write the contract."""
    with new_client() as client:
        record(client)
        document = with_examples(client.app.openapi())
    (FOLDER / "openapi.json").write_text(dump(document))
    print(f"{len(document['paths'])} paths, {len(cases())} examples")


if __name__ == "__main__":
    main()
