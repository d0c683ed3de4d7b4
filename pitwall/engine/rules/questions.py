"""Comments that are missing for what the run was for: asked on a cool-down lap, else on the way in, once.

Never on a timed lap, and last of all that is to be said: what cannot be asked is asked in the garage. On the way in the
answer must be over before the second box call may come, or the driver would talk through its stretch.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.feedback import KEY, call_key
from pitwall.engine.rules.box import REMIND_FROM_S
from pitwall.engine.situation import Situation
from pitwall.model.outputs import Ask

ANSWER_S = 15.0  # before the box call may come again, the driver is through with it (common practice, no source)
ON_LAPS = ("cool", "in", "installation")
BEGIN_S = 20.0  # past the first corners: the driver has breathed out (common practice, no source)
LATEST_SHARE = 0.8  # of the lap: then there is time for the answer (common practice, no source)


def calls(at: Situation) -> Iterable[CallSpec]:
    """One call for all that is missing."""
    run, leg = at.run, at.legs[0] if at.legs else None
    if run is None or leg is None or not leg.running or not at.feedback or at.plan.medium != "two_way":
        return
    if leg.kind not in ON_LAPS or at.boxes_silent or not at.plan.may_say("question", leg.kind):
        return
    subjects = ", ".join(at.feedback)
    named = " and ".join([", ".join(at.feedback[:-1]), at.feedback[-1]] if at.feedback[1:] else at.feedback)
    text = f"Comment please on {named}."
    begin = leg.start_s + BEGIN_S
    end = leg.start_s + LATEST_SHARE * (leg.end_s - leg.start_s)
    if leg.kind != "cool":
        last = at.lap_map.last_chance
        act_at = min(leg.at(last), at.track.earliest(last) or leg.at(last))  # as the box call has it
        end = min(end, act_at - REMIND_FROM_S - ANSWER_S)
    if begin + at.spoken(text) > end:
        return
    yield CallSpec(
        key=call_key(run, leg.index),
        kind="question",
        text=text,
        short=f"Comment: {subjects}",
        say_from_s=begin,
        say_by_s=end - at.spoken(text),
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        room=at.room((leg,), begin, end),
        run=run.run.run,
        lap=run.lap_label(leg.index),
        leg=leg.index,
        lap_number=at.track.lap_number,
        ask=Ask(action="none", arguments={KEY: subjects}),
    )
