"""What an engineer has in mind about one call: its prompt, what is spoken first, and from when on it is too late."""

from __future__ import annotations

from dataclasses import dataclass

from pitwall.model.outputs import Prompt

GRACE_S = 15.0            # a call that hangs on no place may still be said so long after its window
LATE_S = 2.0              # a switch or procedure call, if the driver can still act on it
ACTS_S = 1.0


@dataclass
class Card:
    """What the engineer has in mind about one call."""

    prompt: Prompt
    reaction_s: float
    forgotten: bool
    ready_s: float
    seen_s: float = float("-inf")
    times_spoken: int = 0
    begun: bool = False
    corrected: bool = False
    parts_said: int = 0


def rank(prompt: Prompt) -> tuple[int, float, str]:
    """What is spoken first: the higher priority, then the earlier deadline."""
    return -prompt.priority, prompt.say_by_s, prompt.call


def last_moment(prompt: Prompt) -> float:
    """When it is too late to begin this call. A box call past its window is dangerous; small talk can wait a little."""
    if prompt.kind == "box":
        return prompt.say_by_s
    if prompt.kind not in ("switch", "procedure"):
        return prompt.say_by_s + GRACE_S
    if prompt.act_at_s is None:
        return prompt.say_by_s
    return max(prompt.say_by_s, min(prompt.say_by_s + LATE_S, prompt.act_at_s - prompt.spoken_s - ACTS_S))
