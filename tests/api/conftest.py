"""A client for the real application, without a network."""

from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient

from outfeed_api.app import create_app
from outfeed_api.settings import Settings


@pytest.fixture(scope="session")
def client() -> Iterator[TestClient]:
    with TestClient(create_app(Settings()), raise_server_exceptions=False) as client:
        yield client
