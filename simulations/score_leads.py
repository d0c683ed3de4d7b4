"""How early prompts stand there on recorded sessions, what is left before the driver must act, and texts to read aloud.

    python simulations/score_leads.py FOLDER... [--cars 5] [--seed 1] [--json]
    python simulations/score_leads.py FOLDER... --read 60

Each recording is played through the real feed path, codec, host and engine on virtual time (as ``score_follow.py``
does), with night-before plans (``plan_from_session.py``) for the cars that drove most. Of every call that was shown:

* **lead to say_from**: from the first prompt to the moment from which it may be said, as it stood when the call was
  due, or last before it ended. Negative: it was shown after that moment, in the middle of its window.
* **lead to say_by**: the same to the moment by which it must be begun.
* **margin**: from say_by and the sentence to the last moment to act. Negative: the driver acts while it is still said.
  Release calls have none: they stand until the car has gone.

*Late* are calls that came with less than their lead: the lead of the settings before say_from, for a box call so long
before the pit entry as the settings say, for a lap time five seconds; session calls are said at once and have none.
Of these, *at once* are those that stood there within 1.5 s of the message before which nobody could know of them: the
feed's first word, the car at the pit entry or exit, a change of the session's status. More lead than that no desk can
give; the rest came late although it could have been foreseen.
*Never shown* became known too late to be said at all. Everything is by session, by kind, and in
all; quantiles are p5 and the median, seconds. The recording's answer key makes the plans and is used for nothing else.

``--read N`` prints N different texts instead, in the order of a lap, as an engineer would read them aloud.
"""

from __future__ import annotations

import argparse
import asyncio
import csv
import json
import sys
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.app.loading import load_setup
from pitwall.errors import FileProblem
from pitwall.model.outputs import LapJudged, Prompt
from pitwall.model.setup import CallTiming
from simulations.plan_from_session import write_event
from simulations.score_follow import busiest
from simulations.score_follow_rows import BEGIN_S, follow

AT_ONCE = ("session", "safety", "stop")
OWN_LEAD_S = {"pace": 5.0, "answer": 6.0}
SLACK_S = 1.0
AT_ONCE_S = 1.5
OPEN = ("shown", "due")
LAPS = ("garage", "out-lap", "installation lap", "timed lap", "cool-down lap", "in-lap", "")


@dataclass
class Told:
    """One call: its prompts in the order in which they were published."""

    prompts: list[Prompt] = field(default_factory=list)
    lap_start_s: float | None = None
    at_once: bool = False

    @property
    def last(self) -> Prompt:
        """As it stood when it was due, or last before it ended."""
        return next((one for one in reversed(self.prompts) if one.state in OPEN), self.prompts[-1])

    @property
    def shown_s(self) -> float | None:
        """When its first prompt stood there; None when it never did."""
        return next((one.t for one in self.prompts if one.state in OPEN), None)


@dataclass
class Calls:
    """Every call of one session, by its name; a sink of the daemon."""

    told: dict[str, Told] = field(default_factory=dict)
    _lap_start: dict[str, float] = field(default_factory=dict)

    def take(self, outputs: Iterable[Any]) -> None:
        """Note prompts, and where laps begin; other outputs pass."""
        for output in outputs:
            if isinstance(output, LapJudged) and output.at == "line" and output.start_s is not None:
                self._lap_start[output.car] = output.start_s + (output.lap_time_s or 0.0)
            elif isinstance(output, Prompt):
                told = self.told.setdefault(output.call, Told())
                told.prompts.append(output)
                if output.state in OPEN:
                    told.lap_start_s = self._lap_start.get(output.car)

    restate = take


def followed(folder: Path, cars: int, seed: int) -> tuple[list[Told], CallTiming]:
    """Every call on one recording, and how the settings time calls."""
    calls = Calls()
    with tempfile.TemporaryDirectory() as out:
        setup = load_setup(write_event(folder, busiest(folder, cars), seed, Path(out)))
        asyncio.run(follow(folder, setup, calls))
    return with_news(list(calls.told.values()), news(folder)), setup.calls


def news(folder: Path) -> dict[str, list[float]]:
    """When the recording told what nobody can foresee, session seconds by car; of the whole session under no name."""
    zero = float(json.loads((folder / "meta.json").read_text(encoding="utf-8"))["start_t_s"])
    found: dict[str, list[float]] = {"": [BEGIN_S]}
    with (folder / "status.csv").open(encoding="utf-8") as rows:
        found[""] += [float(row["t_s"]) - zero for row in csv.DictReader(rows)]
    with (folder / "events.csv").open(encoding="utf-8") as rows:
        for row in csv.DictReader(rows):
            if row["kind"] in ("pit_in", "pit_out"):
                found.setdefault(row["car"], []).append(float(row["t_msg_s"]) - zero)
    return found


def with_news(calls: list[Told], told: dict[str, list[float]]) -> list[Told]:
    """The same calls, each with whether it was shown at once after something was told of its car or of the session."""
    for call in calls:
        shown = call.shown_s
        times = [*told.get("", ()), *told.get(call.last.car, ())]
        call.at_once = shown is not None and any(0.0 <= shown - t <= AT_ONCE_S for t in times)
    return calls


def figures(calls: Sequence[Told], timing: CallTiming) -> dict[str, Any]:
    """All figures of these calls, in all and by kind."""
    kinds = sorted({told.last.kind for told in calls})
    return {"in all": _of(calls, timing)} | {kind: _of([one for one in calls if one.last.kind == kind], timing)
                                             for kind in kinds}


def _of(calls: Sequence[Told], timing: CallTiming) -> dict[str, Any]:
    shown = [(told.last, told.shown_s) for told in calls if told.shown_s is not None]
    to_from = [last.say_from_s - first for last, first in shown if first is not None]
    to_by = [last.say_by_s - first for last, first in shown if first is not None]
    margin = [last.act_at_s - last.say_by_s - last.spoken_s for last, _ in shown
              if last.act_at_s is not None and last.kind != "release"]
    late = [told for told in calls if told.shown_s is not None and _late(told.last, told.shown_s, timing)]
    never = [told for told in calls if told.shown_s is None and told.prompts[-1].state == "missed"]
    return {
        "shown": len(shown), "lead_to_say_from_s": _quantiles(to_from), "lead_to_say_by_s": _quantiles(to_by),
        "margin_s": _quantiles(margin), "late": len(late),
        "at_once": sum(told.at_once for told in late), "never_shown": len(never),
    }


def _late(last: Prompt, first_s: float, timing: CallTiming) -> bool:
    if last.kind in AT_ONCE:
        return False
    if last.kind == "box" and last.act_at_s is not None:
        return last.act_at_s - first_s < timing.box_shown_before_s - SLACK_S
    return last.say_from_s - first_s < OWN_LEAD_S.get(last.kind, timing.lead_s) - SLACK_S


def _quantiles(values: Sequence[float]) -> dict[str, float] | None:
    if not values:
        return None
    low, middle = np.quantile(values, [0.05, 0.5])
    return {"p5": round(float(low), 1), "median": round(float(middle), 1)}


def page(title: str, found: dict[str, Any]) -> str:
    """The figures as a table."""
    lines = [title, f"  {'kind':<10}{'shown':>6}{'lead to from':>16}{'lead to by':>16}{'margin':>16}{'late':>6}"
                    f"{'at once':>9}{'never shown':>13}   (p5 / median, s)"]
    for kind, one in found.items():
        cells = "".join(f"{_cell(one[name]):>16}" for name in ("lead_to_say_from_s", "lead_to_say_by_s", "margin_s"))
        lines.append(f"  {kind:<10}{one['shown']:>6}{cells}{one['late']:>6}{one['at_once']:>9}{one['never_shown']:>13}")
    return "\n".join(lines)


def _cell(quantiles: dict[str, float] | None) -> str:
    return "-" if quantiles is None else f"{quantiles['p5']:.1f} / {quantiles['median']:.1f}"


def texts(calls: Iterable[Told], most: int) -> list[str]:
    """So many different texts in the order of a lap, each with when on the lap it is said and what stands with it."""
    first: dict[str, Told] = {}
    for told in calls:
        if told.shown_s is not None:
            first.setdefault(told.last.text, told)
    ordered = sorted(first.values(), key=lambda told: (_lap_rank(told.last), _in_lap(told), told.last.text))
    step = max(1.0, len(ordered) / most) if most else 1.0
    chosen = [ordered[int(at * step)] for at in range(min(most, len(ordered)))]
    return [_line(told) for told in chosen]


def _lap_rank(prompt: Prompt) -> int:
    words = prompt.lap or ""
    return next(rank for rank, lap in enumerate(LAPS) if words.startswith(lap))


def _in_lap(told: Told) -> float:
    begin = told.lap_start_s
    return told.last.say_from_s - begin if begin is not None else float("-inf")


def _line(told: Told) -> str:
    last, since = told.last, _in_lap(told)
    where = f"{last.lap or 'on track'}" + (f" {since:+.0f} s" if 0 <= since < 1000 else "")
    notes = "".join(f"\n{'':<34}{name}: {text}" for name, text in
                    (("caution", last.caution), ("better not", last.against)) if text)
    return f"{where:<24}{last.kind:<10}{last.text}  [{last.short}; {last.spoken_s:.1f} s]{notes}"


def main() -> int:
    """Command line: 0, or 1 when a recording has problems."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--cars", type=int, default=5, help="how many cars have a plan (default 5)")
    parser.add_argument("--seed", type=int, default=1, help="of the night-before plans (default 1)")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--read", type=int, metavar="N", help="print N texts in the order of a lap instead")
    args = parser.parse_args()
    everything, timing, found = list[Told](), CallTiming(), dict[str, Any]()
    try:
        for folder in args.folders:
            calls, timing = followed(folder, args.cars, args.seed)
            everything += calls
            found[folder.name] = figures(calls, timing)
    except FileProblem as problem:
        print(problem, file=sys.stderr)
        return 1
    if args.read is not None:
        print("\n".join(texts(everything, args.read)))
        return 0
    found["in all"] = figures(everything, timing)
    print(json.dumps(found, indent=1) if args.json else "\n".join(page(f"{name}:", one) for name, one in found.items()))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
