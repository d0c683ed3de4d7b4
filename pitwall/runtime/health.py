"""The host in figures: for ``health`` on the wire, and for logs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class HostHealth:
    """The host in figures. Counts since start; ages in session seconds.

    ``lag_s`` is how long an event waits to be decided: the last one that was, or the oldest that still waits when that
    is longer (a store that fails or hangs lets none through). ``store`` is "ok" or says why nothing can be written.
    """

    t: float
    queue_depth: int
    lag_s: float
    feed_age_s: float | None
    feed_ages_s: dict[str, float]
    store: str
    journaled: int
    batches: int
    accepted: int
    duplicates: int
    thinned: int
    dropped: int
    over_limit: int
    poisoned: int
    sink_failures: int
    forecast_failures: int
    store_failures: int
    wakeups_armed: int
