"""The route of the figures with what the OpenAPI document says about it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from brachium.api import faults
from brachium.api.described import faults as failing
from brachium.api.media import TEXT
from brachium.api.routes import Table

if TYPE_CHECKING:
    from fastapi import FastAPI

    from brachium.api.metrics import MetricsPage


def add_metrics(app: FastAPI, page: MetricsPage) -> None:
    """Add the operation that hands the figures out."""
    found = {"description": "The figures.", "content": {TEXT: {"schema": {"type": "string"}}}}
    others = failing(faults.BadParameter, faults.TooLarge, faults.Unforeseen)
    table = Table(app, "Service")
    table.add("GET", "/metrics", page.metrics, "Figures for Prometheus", {200: found, **others})
