"""Counters in the Prometheus text format: requests by route and status, and their duration."""

from __future__ import annotations

from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest

BUCKETS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)  # s


class Metrics:
    """The service's own registry, so that two apps in one process do not mix."""

    def __init__(self) -> None:
        self._registry = CollectorRegistry()
        self._requests = Counter(
            "outfeed_requests", "Requests answered", ("method", "route", "status"),
            registry=self._registry,
        )  # fmt: skip
        self._duration = Histogram(
            "outfeed_request_duration_seconds", "Time to answer", ("route",),
            registry=self._registry, buckets=BUCKETS,
        )  # fmt: skip

    def observe(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count one answered request; methods outside HTTP's own count as OTHER."""
        known = method if method in {"GET", "POST", "HEAD", "OPTIONS", "PUT", "DELETE"} else "OTHER"
        self._requests.labels(known, route, str(status)).inc()
        self._duration.labels(route).observe(seconds)

    def text(self) -> bytes:
        """Everything counted so far, in the exposition format."""
        return generate_latest(self._registry)
