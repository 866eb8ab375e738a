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
    """The contract with every recorded example merged in, each under its media type."""
    document = json.loads(json.dumps(document))
    where = operations(document)
    for case in cases():
        example = json.loads(case.read_text())
        path, method = where[case.parent.name]
        operation = document["paths"][path][method.lower()]
        summary = example["summary"]
        if "query" in example and method == "POST":
            summary += f"; asked with {example['query']}"
        if "request" in example:
            body = operation["requestBody"]["content"]
            media_type = example.get("content_type", "application/json")
            _add(body[media_type], case, summary, example["request"])
        answers = operation["responses"][str(example.get("status", 200))]["content"]
        media_type = example.get("accept") if isinstance(example["response"], str) else None
        _add(answers[media_type or next(iter(answers))], case, summary, example["response"])
    return document


def _add(content: dict[str, Any], case: Path, summary: str, value: Any) -> None:
    content.setdefault("examples", {})[case.stem] = {"summary": summary, "value": value}


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
