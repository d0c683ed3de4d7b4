"""The kinds of alert: how urgent, what to do, when nobody needs it, what else explains it, and how long it holds."""

from __future__ import annotations

from typing import Literal

from pitwall.model.outputs import AlertPriority, Status

Consequence = Literal["car", "run", "lap", "comfort"]
"""What is lost if nobody acts: the car or its driver comes to harm or stops on track; a run of laps or the right to
drive them; one lap or the use of it; nothing but order, records, or an answer that
settles a doubt."""

TimeToAct = Literal["seconds", "lap", "minutes"]
"""How long something can still be done: under half a minute, about a lap, longer."""

PRIORITIES: dict[tuple[Consequence, TimeToAct], AlertPriority] = {
    ("car", "seconds"): "high", ("car", "lap"): "high", ("car", "minutes"): "medium",
    ("run", "seconds"): "high", ("run", "lap"): "medium", ("run", "minutes"): "medium",
    ("lap", "seconds"): "medium", ("lap", "lap"): "low", ("lap", "minutes"): "low",
    ("comfort", "seconds"): "low", ("comfort", "lap"): "low", ("comfort", "minutes"): "low",
}  # fmt: skip
"""Priority by consequence and time to act, as ISA-18.2 and EEMUA 191 ask for; the steps are ours (common practice)."""

JUDGED: dict[str, tuple[Consequence, TimeToAct, str]] = {
    "overrun": ("run", "minutes", "See the forecast: shorten or drop a run, or send the car earlier."),
    "switch_wrong": ("run", "seconds", "Tell the driver at the next listening stretch, or box."),
    "switch_unverified": ("comfort", "seconds", "Ask the driver to read the position back."),
    "feed_stale": ("lap", "seconds", "Check the timing feed; enter what you see by hand."),
    "car_silent": ("car", "minutes", "Look for the car: it may have stopped."),
    "clock_unknown": (
        "run", "minutes", "Enter the status and the time left by hand: status=green, clock remaining_s=..."
    ),
    "fuel_short": ("car", "lap", "Box this lap, or save fuel."),
    "fuel_to_go_on": ("run", "minutes", "Fill it and enter what is in it: set_fuel fuel_kg=...; or shorten the run."),
    "answer_owed": ("comfort", "lap", "Answer in the next free window, or skip the answer to drop it."),
    "not_as_told": (
        "lap", "minutes", "Ask the driver. Say it again where it is told again; else amend a later run, or carry it on."
    ),
    "misses_flag": ("lap", "seconds", "See the text: push to the line, box, or keep the car in."),
    "tyre_hot": ("lap", "lap", "Have the driver ease off where they slide, or drive a cool-down lap."),
    "tyre_cold": ("lap", "lap", "Have the driver warm them before the next timed lap, or box."),
    "tyre_pressure_high": ("lap", "minutes", "Have the driver cool them; set them lower at the next stop."),
    "tyre_pressure_low": ("car", "seconds", "It may be a puncture: slow down, off the racing line, box."),
    "release_overdue": ("run", "minutes", "Ask the garage how long the work still takes; keep the car in, or re-plan."),
    "in_overdue": (
        "comfort", "lap", "Enter the pit entry (key i) if the car is in, else the line (key l); or ask the driver."
    ),
    "stayed_out": ("run", "seconds", "Box it on this lap: tell the driver once more."),
    "on_another_run": (
        "run", "lap", "If it is to come in, box it; if it is on yet another run, enter that: set_car run=..."
    ),
    "pace_under_red": ("car", "seconds", "Tell the driver now: red flag, slow down, come back to the pits."),
    "timetable": ("comfort", "minutes", "Acknowledge it; it goes by itself after ten minutes."),
    "curfew": ("run", "minutes", "See that nobody works on the car after the curfew; acknowledge it."),
    "driver_laps": ("run", "minutes", "Give this driver more laps, or tell the officials."),
    "driver_limit": ("run", "minutes", "Give the rest of the runs to another driver."),
    "car_limit": ("run", "minutes", "Shorten or drop runs: the car may not do more."),
    "plan_file": ("comfort", "minutes", "Mend the file and save it; the plan in use stays as it is."),
    "many_alerts": (
        "lap", "seconds", "Deal with the urgent ones; the others come when it is calmer, if they still hold."
    ),
}
"""For each kind what is lost, how long one can act, and what to do."""

KINDS: dict[str, tuple[AlertPriority, str]] = {
    kind: (PRIORITIES[lost, time], remedy) for kind, (lost, time, remedy) in JUDGED.items()
}
IDLE_UNDER: dict[str, tuple[Status, ...]] = {
    "overrun": ("red", "finished", "closed"),
    "switch_wrong": ("red", "closed"),  # the lap that had begun as the flag fell is still driven
    "switch_unverified": ("red", "closed"),
    "feed_stale": ("waiting", "red", "closed", "finished"),  # under red cars send nothing before the pit entry
    "car_silent": ("waiting", "closed", "finished", "red"),
    "clock_unknown": ("closed", "finished"),
    "fuel_short": ("closed", "finished"),
    "fuel_to_go_on": ("closed", "finished"),  # under red there is time to fill it
    "answer_owed": ("red", "closed"),
    "not_as_told": ("closed",),
    "misses_flag": ("waiting", "red", "closed", "finished"),
    "tyre_hot": ("waiting", "red", "closed", "finished"),
    "tyre_cold": ("waiting", "slow", "red", "closed", "finished"),  # in a slow period they are bound to get cold
    "tyre_pressure_high": ("waiting", "red", "closed", "finished"),
    "tyre_pressure_low": ("waiting", "red", "closed", "finished"),
    "release_overdue": ("waiting", "red", "closed", "finished"),
    "in_overdue": ("waiting", "closed"),
    "on_another_run": ("red", "closed", "finished"),
    "stayed_out": ("red", "closed", "finished"),  # then everybody comes in, and is told so
    "driver_laps": ("waiting", "red", "closed", "finished"),
    "driver_limit": ("waiting", "closed", "finished"),
    "car_limit": ("waiting", "closed", "finished"),
    "plan_file": ("closed",),
    "many_alerts": ("closed",),
    "pace_under_red": (),
    "timetable": (),
    "curfew": (),
}
EXPLAINED_BY: dict[str, tuple[str, ...]] = {
    "release_overdue": ("feed_stale",),  # the car may have left long ago
    "overrun": ("misses_flag",),  # told for the run that is under way: nothing after it fits either
    "tyre_cold": ("tyre_pressure_low",),
}
"""While one of these is active for the same car, or for nobody in particular, the alert says nothing new."""

TOLD_ONCE = frozenset({"plan_file", "timetable", "curfew", "many_alerts"})
"""Nobody looks at these conditions again and again: held back in a flood, they would be lost."""

URGENT = frozenset({"switch_unverified"})
"""Told some seconds before the line of a timed lap, or of no use: no flood holds these back, and as several switches
may hang on one call they make none."""

ON_DELAY_S: dict[str, float] = {"release_overdue": 10.0, "clock_unknown": 20.0}
"""So long the condition must hold without a break before the alert is raised; no entry: at once."""

ASKS_AGAIN_S: dict[str, float] = {"high": 180.0, "medium": 600.0}
"""By priority: an alert that was noted and still stands after this asks to be noted again; no entry: never."""
