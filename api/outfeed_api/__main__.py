"""Run the service: ``python -m outfeed_api``."""

from __future__ import annotations

import gc
import sys

from outfeed_api.server import serve
from outfeed_api.settings import load_settings

COLLECT_AFTER = (50_000, 20, 20)  # the rows of a bulk answer live until it is sent; measured

NO_ARGUMENTS = (
    "The service takes no arguments. Set another port by the environment, as in "
    "OUTFEED_PORT=8001 ./task serve; every setting stands in DEVELOPERS.md."
)

if __name__ == "__main__":
    if {"-h", "--help"} & set(sys.argv[1:]):
        sys.stdout.write(f"{NO_ARGUMENTS}\n")
        sys.exit(0)
    if sys.argv[1:]:
        sys.exit(f"{sys.argv[1]}: {NO_ARGUMENTS}")
    try:
        settings = load_settings()
    except ValueError as error:
        sys.exit(str(error))
    gc.freeze()
    gc.set_threshold(*COLLECT_AFTER)
    serve(settings)
