"""Settings for the whole suite: repeatable property tests."""

from hypothesis import HealthCheck, settings

settings.register_profile(
    "repeatable",
    derandomize=True,
    deadline=None,
    max_examples=60,
    print_blob=False,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("repeatable")
