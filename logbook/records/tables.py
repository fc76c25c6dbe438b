"""Every table, imported once so that the metadata is complete."""

from logbook.records import (
    arrivals,
    audit,
    batches,
    files,
    floor,
    forecasts,
    keeping,
    leaks,
    lotpapers,
    machines,
    materials,
    orders,
    people,
    pitch,
    places,
    prooflinks,
    quotes,
)
from logbook.records.base import Base

__all__ = [
    "Base", "arrivals", "audit", "batches", "files", "floor", "forecasts", "keeping", "leaks", "lotpapers", "machines",
    "materials", "orders", "people", "pitch", "places", "prooflinks", "quotes",
]  # fmt: skip
