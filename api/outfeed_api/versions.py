"""What computed an answer: the package's version and a fingerprint of its tables."""

from __future__ import annotations

import hashlib
from importlib import resources

from outfeed import __version__
from outfeed_api.models import Versions


def _fingerprint() -> str:
    """SHA-256 over the data files, in name order, first twelve hex digits."""
    digest = hashlib.sha256()
    catalogue = (resources.files("outfeed.grains") / "data").iterdir()
    charts = resources.files("outfeed") / "storage_charts.toml"
    for entry in sorted((*catalogue, charts), key=lambda item: item.name):
        digest.update(entry.name.encode())
        digest.update(entry.read_bytes())
    return digest.hexdigest()[:12]


VERSIONS = Versions(service=__version__, tables=_fingerprint())
