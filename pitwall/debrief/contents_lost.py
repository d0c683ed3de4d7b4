"""Why a run or item that had to be done was lost: what was done though it was wanted less, and whose word that was."""

from __future__ import annotations

import re
from collections.abc import Sequence, Set

from pitwall.debrief import wording as say
from pitwall.debrief.model import CarDebrief, ChangeRow, ItemRow, RunRow

NAMES, MOST_CHANGES = re.compile(r"[\w-]+"), 3
BESIDE = re.compile(r"^(new run [\w-]+) (?:after|before) [\w-]+")
"""A new run is named by where it stands, too: that is no change of the run beside it."""
BELIEVED = "taken back: car set;"
"""Where the car is was entered and taken back: no change of the plan, though it counts as a revision of it."""
HELD_BACK = "held back"
"""As the engine has them (a test compares)."""
TAKEN_OUT = "its lap was taken out of the run"
"""As the engine has it (a test compares)."""
DONE = ("done", "probably_done", "done_badly")


def lost_to(run: RunRow, car: CarDebrief) -> str:
    """In sentences that go on behind others; nothing where the run was no must, or nothing was driven in its stead.

    Runs stand in the order of the plan in use. Of changes of the plan those count that name one of these runs.
    """
    lesser = [one for one in car.runs if one.stints and one.want != "must"] if run.want == "must" else []
    if not lesser:
        return ""
    order = [one.run for one in car.runs]
    driven = [f"{one.want} {one.run}, {_when(one)}"
              + (", planned after it" if order.index(one.run) > order.index(run.run) else "") for one in lesser]
    words = f" Wanted less and driven: {'; '.join(driven)}."
    return words + (_told({run.run, *(one.run for one in lesser)}, car) or " No change of the plan names them.")


def items_lost_to(lost: Sequence[ItemRow], car: CarDebrief) -> str:
    """The same of must items of one kind that were not done in a run that was driven: what was done on their laps
    instead, and each change of the plan that names them or their run. Nothing where neither is known. Of those whose
    lap was taken out of the run that change is told however much they were wanted."""
    if lost[0].outcome != "not_done" or (lost[0].want != "must" and not lost[0].reason.endswith(TAKEN_OUT)):
        return ""
    if lost[0].want != "must":
        return _told({name for one in lost for name in (one.item, one.do, one.run)}, car)
    laps = {(one.run, one.lap) for one in lost}
    lesser = [one for one in car.items if (one.run, one.lap) in laps and one.want != "must" and one.outcome in DONE]
    done = dict.fromkeys(f"{one.want} {say.plain(one.do)} on {one.lap}" for one in lesser)
    words = f" Wanted less and done: {', '.join(done)}." if done else ""
    if lost[0].reason.startswith(HELD_BACK):
        return words  # the track was to blame, and no change of the plan
    return words + _told({name for one in lost for name in (one.item, one.do, one.run)}, car)


def _told(named: Set[str], car: CarDebrief) -> str:
    """The last changes of the plan that name one of these and were not taken back; of a change with several parts, the
    parts that do."""
    told = []
    for one in car.changes:
        parts = [part for part in one.what.split("; ") if named & set(NAMES.findall(BESIDE.sub(r"\1", part)))]
        if one.about == "plan" and one.stands and parts and not one.what.startswith(BELIEVED):
            told.append(one.model_copy(update={"what": "; ".join(parts)}))
    return "".join(f" {sentence(_changed(one))}" for one in told[-MOST_CHANGES:])


def sentence(text: str) -> str:
    """With a capital letter and an end."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?")) else f"{text}."


def _when(run: RunRow) -> str:
    last = run.stints[-1].to_s
    return f"{say.session_clock(run.stints[0].from_s)} to {say.session_clock(last) if last is not None else 'the end'}"


def _changed(change: ChangeRow) -> str:
    who, why = f", by {change.by}" if change.by else "", f" ({change.why})" if change.why else ""
    return f"plan changed at {say.session_clock(change.t)}: {change.what}{who}{why}"
