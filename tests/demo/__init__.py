"""One invented season through the running service: ``./task demo``."""
