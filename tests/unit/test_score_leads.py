"""The score of leads: figures worked out by hand, and a small recording played through the real feed path."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from pitwall.model.outputs import Prompt
from pitwall.model.setup import CallTiming
from simulations.score_leads import Told, figures, followed, texts, with_news

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "data" / "recording_small"
TIMING = CallTiming()


def told(kind: str, *prompts: dict[str, Any], text: str = "Text.", lap: str | None = None) -> Told:
    """A call with these prompts: to be said from 100 to 110 s, two seconds long, acted on at 120 s."""
    values = {"car": "4", "call": kind, "kind": kind, "text": text, "short": "Short", "lap": lap, "say_from_s": 100,
              "say_by_s": 110, "act_at_s": 120, "spoken_s": 2.0, "priority": 50}  # fmt: skip
    made = [Prompt.model_validate(values | {"id": f"{number}", "revision": number} | prompt)
            for number, prompt in enumerate(prompts, start=1)]  # fmt: skip
    return Told(made)


def test_lead_and_margin_are_those_of_the_window_that_stood_last() -> None:
    """Shown at 70 s for a window that moved to 104 to 114 s: 34 s to its beginning, 44 s to its end, and 4 s from the
    end of the sentence to the action."""
    call = told("run", {"t": 70.0, "state": "shown"},
                {"t": 104.0, "state": "due", "say_from_s": 104.0, "say_by_s": 114.0},
                {"t": 107.0, "state": "said", "say_from_s": 90.0})  # fmt: skip
    assert figures([call], TIMING)["run"] == {
        "shown": 1, "lead_to_say_from_s": {"p5": 34.0, "median": 34.0},
        "lead_to_say_by_s": {"p5": 44.0, "median": 44.0},
        "margin_s": {"p5": 4.0, "median": 4.0}, "late": 0, "at_once": 0, "never_shown": 0,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "shown_s", "late"),
    [("run", 80.5, 0), ("run", 82.0, 1), ("pace", 95.0, 0), ("pace", 97.0, 1), ("session", 100.0, 0),
     ("box", 95.5, 0), ("box", 97.0, 1), ("release", 90.0, 1)],
)  # fmt: skip
def test_a_call_is_late_that_comes_with_less_than_its_lead(kind: str, shown_s: float, late: int) -> None:
    """Twenty seconds before its window, a box call 25 s before the pit entry, a lap time five; session calls never."""
    assert figures([told(kind, {"t": shown_s, "state": "shown"})], TIMING)[kind]["late"] == late


def test_what_stood_there_with_the_news_that_it_follows_from_is_counted_as_at_once() -> None:
    """A car comes in at 81 s: the brief that is shown a second later is late and could not come sooner; the one that is
    shown ten seconds later is late by our fault, and one that has its lead is neither."""
    calls = [told("brief", {"t": t, "state": "shown"}) for t in (70.0, 82.0, 91.0)]
    found = figures(with_news(calls, {"": [-30.0], "4": [70.0, 81.0], "5": [91.0]}), TIMING)["brief"]
    assert (found["late"], found["at_once"]) == (2, 1)


def test_what_nobody_ever_saw_is_counted_apart() -> None:
    """A call that was missed before it was shown has no lead; one that was withdrawn unseen is nothing at all."""
    calls = [told("box", {"t": 99.0, "state": "missed"}), told("box", {"t": 99.0, "state": "withdrawn"})]
    found = figures(calls, TIMING)["box"]
    assert (found["shown"], found["never_shown"], found["lead_to_say_by_s"]) == (0, 1, None)


def test_texts_come_in_the_order_of_a_lap_each_once() -> None:
    """Garage, out-lap, timed, cool-down and in-lap; the same words are read once."""
    calls = [told("run", {"t": 1.0, "state": "due"}, text=f"{lap}.", lap=lap)
             for lap in ("in-lap", "cool-down lap 1", "garage", "timed lap 2", "out-lap", "in-lap")]  # fmt: skip
    assert [line.split("run")[0].strip() for line in texts(calls, 9)] == [
        "garage", "out-lap", "timed lap 2", "cool-down lap 1", "in-lap"]  # fmt: skip
    assert len(texts(calls, 2)) == 2


def test_a_recording_is_played_through_the_feed_path() -> None:
    """The small recording with two night-before plans: box and release calls were shown, those with a moment to act end
    before it, and the same seed gives the same figures."""
    calls, timing = followed(SMALL, 2, 1)
    found = figures(calls, timing)
    assert found["box"]["shown"] >= 2
    assert found["release"]["shown"] >= 2
    assert found["box"]["margin_s"]["p5"] >= 0
    assert found == figures(followed(SMALL, 2, 1)[0], timing)


def test_it_runs_from_the_command_line() -> None:
    """``--json`` gives the figures of each recording and of all, ``--read`` texts; a folder that is none is told."""
    script = [sys.executable, str(ROOT / "simulations" / "score_leads.py")]
    made = subprocess.run([*script, str(SMALL), "--cars", "2", "--json"], capture_output=True, text=True, check=True)
    assert set(json.loads(made.stdout)) == {SMALL.name, "in all"}
    wrong = subprocess.run([*script, str(ROOT / "tests")], capture_output=True, text=True, check=False)
    assert wrong.returncode == 1
    assert wrong.stderr
