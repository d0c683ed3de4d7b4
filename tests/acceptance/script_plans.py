"""Plans that the scripts play, and the opening of a session that most of them share."""

from __future__ import annotations

from typing import Any

from tests.acceptance.script import Script, saltmarsh
from tests.acceptance.script_patterns import command, prompt, status

HOLD = {"do": "constant_speed_hold", "after": "turn 4", "with": {"gear": 5, "seconds": 5}}
TYRES = {"A1": {"compound": "hard"}, "B1": {"compound": "medium"}}
STOP = [60, 120, 180]

CHECKS: dict[str, Any] = {
    "run": "checks",
    "want": "must",
    "laps": "out-in",
    "after_garage_s": STOP,
    "items": [{"do": "radio_check", "on": "out", "want": "must"}, {"do": "systems_check", "on": "in"}],
}
WORK: dict[str, Any] = {
    "run": "work",
    "want": "must",
    "laps": "out, 2 timed, cool, 1 timed, in",
    "shorten_to": 2,
    "after_garage_s": STOP,
    "items": [
        HOLD | {"on": "out", "want": "must"},
        {"do": "driver_comment", "on": "cool", "with": {"topic": "balance"}},
        {"do": "switch_compare", "on": {"timed": 3}, "with": {"switch": "brake_bias", "by": -2.0}},
    ],
}
MORE: dict[str, Any] = {"run": "more", "want": "could", "laps": "out, 2 timed, in", "after_garage_s": STOP}


def plan(*runs: dict[str, Any]) -> dict[str, Any]:
    """A plan of these runs."""
    return {"tyre_sets": TYRES, "runs": list(runs)}


def session(*runs: dict[str, Any], duration_s: float = 3600.0, **more: Any) -> Script:
    """A session with these runs that turns green at zero, and a driver who moves switches as he is told.

    Args:
        runs: of car 41.
        duration_s: scheduled length.
        more: arguments of the script (``starts_at``, ``forecast``).
    """
    play = Script(saltmarsh(plan(*runs), duration_s), **more)
    play.at(0).push(status("green", pit_exit="open"))
    return play.telemetry_follows()


def press_every_key(play: Script, delay_s: float = 1.5) -> None:
    """An engineer who says each call as it comes due, and tells the desk."""
    play.whenever(prompt(state="due"), delay_s, lambda heard: [command("said", call=heard.call, by="engineer")])
