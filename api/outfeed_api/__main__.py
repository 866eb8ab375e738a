"""Run the service: ``python -m outfeed_api``."""

from __future__ import annotations

import gc

from outfeed_api.server import serve
from outfeed_api.settings import load_settings

if __name__ == "__main__":
    settings = load_settings()
    gc.freeze()
    serve(settings)
