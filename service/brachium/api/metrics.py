"""Figures for Prometheus: requests, exams, the store and the clock; none about a patient.

Each application has a registry of its own, so that two in one process do not add up.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Annotated

from fastapi import Query
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram
from prometheus_client.exposition import CONTENT_TYPE_LATEST, generate_latest
from starlette.requests import Request
from starlette.responses import Response

from brachium.api.exams import NoQuery
from brachium.store.jobs import JobState
from brachium.store.port import StoreUnavailable

if TYPE_CHECKING:
    from brachium.api.service import Service
    from brachium.store.jobs import JobBook
    from brachium.store.port import Figures, Store

# a method is a word of the client's, and a label must not be
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})
_BUCKETS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10)


class Metrics:
    """What is counted while requests are answered."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self._requests = Counter(
            "brachium_requests",
            "Requests by method, form of the address and status.",
            ("method", "route", "status"),
            registry=self.registry,
        )
        self._seconds = Histogram(
            "brachium_request_seconds",
            "Time from request to the end of its answer.",
            ("route",),
            buckets=_BUCKETS,
            registry=self.registry,
        )
        self._exams = Counter(
            "brachium_exams",
            "Exams that came in or were changed, by what became of them.",
            ("outcome",),
            registry=self.registry,
        )
        self._jobs = Gauge(
            "brachium_export_jobs",
            "Bulk exports that are kept, by where they stand.",
            ("state",),
            registry=self.registry,
        )
        self._gauges = {name: self._gauge(name, words) for name, words in _GAUGES.items()}
        self._wall, self._steady = time.time(), time.monotonic()

    def _gauge(self, name: str, words: str) -> Gauge:
        return Gauge(f"brachium_{name}", words, registry=self.registry)

    def request(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count a request; ``route`` is the form of the address, never the address."""
        named = method if method in _METHODS else "other"
        self._requests.labels(named, route, str(status)).inc()
        self._seconds.labels(route).observe(seconds)

    def exam(self, outcome: str) -> None:
        """Count what became of an exam."""
        self._exams.labels(outcome).inc()

    def drift(self) -> float:
        """Return by how many seconds the clock was set forward or back since the start."""
        return (time.time() - self._wall) - (time.monotonic() - self._steady)

    def text(self, store: Store, jobs: JobBook) -> bytes:
        """Return everything in the text format of Prometheus."""
        try:
            self._take(store.figures())
            self._count(jobs)
        except StoreUnavailable:
            self._gauges["store_up"].set(0)
        self._gauges["clock_drift_seconds"].set(self.drift())
        return generate_latest(self.registry)

    def _take(self, figures: Figures) -> None:
        found = {
            "store_up": 1,
            "store_bytes": figures.bytes,
            "stored_exams": figures.exams,
            "stored_exam_versions": figures.exam_versions,
            "stored_resource_versions": figures.resource_versions,
            "index_waiting": figures.waiting,
        }
        for name, value in found.items():
            self._gauges[name].set(value)

    def _count(self, jobs: JobBook) -> None:
        states = [job.state for job in jobs.all()]
        for state in JobState:
            self._jobs.labels(state.value).set(states.count(state))


_GAUGES = {
    "store_up": "Whether the database could be read just now.",
    "store_bytes": "Size of the database on the disk, with its write-ahead log.",
    "stored_exams": "Exams in the database.",
    "stored_exam_versions": "Versions of exams in the database.",
    "stored_resource_versions": "Versions of resources in the database.",
    "index_waiting": "Versions of resources that are stored but not yet entered in the indexes.",
    "clock_drift_seconds": "By how much the clock was set forward or back since the start.",
}


class MetricsPage:
    """The operation that hands the figures out."""

    def __init__(self, service: Service) -> None:
        self._service = service

    async def metrics(self, _request: Request, _query: Annotated[NoQuery, Query()]) -> Response:
        """Return counters and gauges in the text format of Prometheus."""
        service = self._service
        parts, metrics = service.parts, service.metrics
        text = await service.work.run(lambda: metrics.text(parts.store, parts.jobs))
        return Response(text, headers={"Content-Type": CONTENT_TYPE_LATEST})
