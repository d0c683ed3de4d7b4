"""Why a run that had to be done was lost: what was driven although it was wanted less, and whose word that was."""

from __future__ import annotations

import re

from pitwall.debrief import wording as say
from pitwall.debrief.model import CarDebrief, ChangeRow, RunRow

NAMES, MOST_CHANGES = re.compile(r"[\w-]+"), 3


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
    named = {run.run, *(one.run for one in lesser)}
    told = [one for one in car.changes if one.about == "plan" and named & set(NAMES.findall(one.what))]
    if not told:
        return f"{words} No change of the plan names them."
    return words + "".join(f" {sentence(_changed(one))}" for one in told[-MOST_CHANGES:])


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
