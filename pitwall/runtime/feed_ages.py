"""When each feed was last heard: what is old must look old, and each is old for itself."""

from __future__ import annotations

from typing import Final

KIND: Final = {
    "car_crossed": "timing", "car_pitted": "timing", "status_changed": "timing", "clock_reported": "timing",
    "car_positioned": "positions", "car_sighted": "positions", "weather_reported": "weather",
    "switch_reported": "switches", "tyre_reported": "tyres", "channel_reported": "radio",
}  # fmt: skip
"""Which feed a fact is of. Positions come with the timing and count for it as well."""
TIMING: Final = ("timing", "positions")


class FeedAges:
    """Session seconds since each feed was heard."""

    def __init__(self) -> None:
        self._heard_t: dict[str, float] = {}

    def heard(self, event_type: str, now: float) -> None:
        """A fact came in; those that are of no feed change nothing."""
        kind = KIND.get(event_type)
        if kind is not None:
            self._heard_t[kind] = now

    def ages(self, now: float) -> dict[str, float]:
        """Of every feed that has ever spoken, by its name; never below zero."""
        return {kind: max(0.0, now - t) for kind, t in sorted(self._heard_t.items())}

    def timing(self, now: float) -> float | None:
        """Of the timing, positions included; None before its first word."""
        return min((age for kind, age in self.ages(now).items() if kind in TIMING), default=None)
