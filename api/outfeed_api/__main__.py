"""Run the service: ``python -m outfeed_api``."""

from __future__ import annotations

import gc

from outfeed_api.server import serve
from outfeed_api.settings import load_settings

COLLECT_AFTER = (50_000, 20, 20)  # the rows of a bulk answer live until it is sent; measured

if __name__ == "__main__":
    settings = load_settings()
    gc.freeze()
    gc.set_threshold(*COLLECT_AFTER)
    serve(settings)
