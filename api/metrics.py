"""What the service counts, in the text format of Prometheus.

With several server processes the counts live in files of a folder that the environment names, and whichever
process is asked adds them up.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping

from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

FOLDER_VARIABLE = "PROMETHEUS_MULTIPROC_DIR"
MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8"
_SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0, 60.0)

States = Callable[[], Mapping[str, int]]


class Metrics:
    """Requests by route, method and status, their duration; jobs by state when asked."""

    def __init__(self, states: States) -> None:
        self._own = CollectorRegistry()
        self._states = states
        labels = ("method", "route", "status")
        self._requests = Counter("motorfit_http_requests", "Requests answered.", labels, registry=self._own)
        self._seconds = Histogram(
            "motorfit_http_request_seconds", "Time to the end of the answer.", ("route",), buckets=_SECONDS,
            registry=self._own,
        )  # fmt: skip

    def count(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count one request that has been answered."""
        self._requests.labels(method, route, str(status)).inc()
        self._seconds.labels(route).observe(seconds)

    def text(self) -> bytes:
        """Return everything in the text format."""
        registry = self._own
        if os.environ.get(FOLDER_VARIABLE):
            registry = CollectorRegistry()
            MultiProcessCollector(registry)  # type: ignore[no-untyped-call]
        jobs = CollectorRegistry()
        jobs.register(_Jobs(self._states))
        return generate_latest(registry) + generate_latest(jobs)


class _Jobs(Collector):
    def __init__(self, states: States) -> None:
        self._states = states

    def collect(self) -> Iterator[GaugeMetricFamily]:
        family = GaugeMetricFamily("motorfit_jobs", "Jobs by state.", labels=["state"])
        for state, number in self._states().items():
            family.add_metric([state], number)
        yield family
