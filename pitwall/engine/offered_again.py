"""When a call that is over is offered once more: withdrawn and wanted again, never said, not done, or not answered."""

from __future__ import annotations

from pitwall.engine.call import Call, CallSpec
from pitwall.model.car import same_position

FEW_KEYS = 3  # after so many "said" this engineer is one who presses keys
AGAIN_S = 4.0
NOT_YET_S = 12.0  # reaction, telemetry and its delay: earlier than this a change may still be on its way
WORD_S = 1.0  # a switch and its position, in short
ANSWERS_S = 8.0  # from the key to a read-back; no driver takes longer (common practice, no source)
LAID_OUT_S = 5.0  # so long after an answer could have come at the most, the plan is laid out anew
HEARD = ("said", "done", "late", "unconfirmed")


def wanted_again(call: Call, spec: CallSpec, calls: dict[str, Call], keys: int, now: float) -> bool:
    """Guard: it was withdrawn and is wanted again; or it can still be acted on, and nobody said it though keys are
    pressed here, or the driver was told and telemetry shows that nothing was done: then it is offered once more."""
    if call.state == "withdrawn":
        heard = call.said_t is not None and spec.ask.action == "procedure"  # it was on the air as it was taken back
        return call.because is None and spec.say_by_s > now and not heard
    if call.unfounded or (call.state in HEARD and _untold(spec, calls)):
        return max(spec.say_by_s, spec.latest_s or spec.say_by_s) > now
    if call.state in ("said", "done") and spec.not_done and spec.latest_s is not None and not call.again:
        # Told, perhaps even read back, and not done: the driver forgot. Time enough for that must have gone by.
        told = call.said_t if call.said_t is not None else (call.ended_t or now)
        if told + spec.spoken_s + NOT_YET_S < now < spec.latest_s - AGAIN_S:
            return True
    if call.state == "said" and spec.unanswered and spec.latest_s is not None and not call.again:
        # Nothing measures it: without the driver's word nobody knows, so it is asked once more.
        return (call.said_t or now) + ANSWERS_S < now < spec.latest_s - AGAIN_S
    if call.state not in ("unconfirmed", "late") or call.again:
        return False
    if spec.latest_s is None or spec.latest_s <= now + AGAIN_S:
        return False
    if call.state == "unconfirmed" and keys >= FEW_KEYS:
        return True
    # Whether it was said nobody knows, or it came late; telemetry shows that it was not done for the lap to come.
    return spec.not_done and spec.place == "line" and now > acted_by(call) and _finds_an_ear(spec, now)


def acted_by(call: Call) -> float:
    """Session second by which telemetry would show what a call asked for, had it been said and heard; a call that
    nobody confirmed may have been begun until its moment was over."""
    told = call.said_t
    if told is None:
        told = min(call.spec.last_moment_s, call.ended_t if call.ended_t is not None else float("inf"))
    return told + call.spec.spoken_s + NOT_YET_S


def _finds_an_ear(spec: CallSpec, now: float) -> bool:
    """Guard: somewhere in what is left of its room the driver can listen to one word; where no circuit file says where,
    anywhere."""
    return spec.room is not None and any(end > now for _, end in spec.room.starts(WORD_S))


def to_be_asked_again(call: Call, now: float) -> bool:
    """Guard: the driver has not answered, and as soon as the plan is laid out anew he may be asked once more."""
    told, latest = call.said_t, call.spec.latest_s
    if call.state != "said" or call.again or told is None or latest is None:
        return False
    return now < min(told + ANSWERS_S + LAID_OUT_S, latest - AGAIN_S)


def _untold(spec: CallSpec, calls: dict[str, Call]) -> bool:
    """Guard: one of these switches was told before the same line to go elsewhere (what that was for is no longer in
    the plan), or was not told at all, and no open call does it."""
    if spec.ask.action != "set_switch":
        return False
    left, lap = spec.asked, spec.key.rpartition("-")[0]
    for call in reversed(calls.values()):
        if not call.spec.key.startswith(lap):
            continue  # most are of another lap: the short way to that
        if call.spec.key.rpartition("-")[0] != lap or not (call.open or call.state in HEARD):
            continue
        for name, told in call.spec.asked.items():
            if name in left and not same_position(told, left.pop(name)):
                return True
    return bool(left)
