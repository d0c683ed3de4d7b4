"""Work for an adviser's process, told by the question itself what becomes of it: it is found there by its name."""

from __future__ import annotations

import os
import time
from pathlib import Path

from pitwall.model.advice import Advice, AdviceAnswer, AdviceQuestion
from pitwall.model.outlook import ForecastSnapshot
from pitwall.model.outputs import AdviceWanted
from pitwall.model.rules import Interruptions

RAISES, DIES, WAITS = 1_000_000, 2_000_000, 3_000_000
"""Added to a revision: what becomes of the work."""
GATE = "TEST_ADVICE_GATE"
"""Names the file that lets waiting work end."""
MOST_S = 20.0
LOOKS_EVERY_S = 0.01


def wanted(revision: int, t: float, fate: int = 0) -> AdviceWanted:
    """A question that says whose it is, and what becomes of the work."""
    snapshot = ForecastSnapshot(
        t=t, remaining_s=60.0, clock_running=True, status="green", red_clock="runs", finish_started_lap=True,
        interruptions=Interruptions(), futures=50, confidence=0.9, cars=(),
    )
    question = AdviceQuestion(snapshot=snapshot, choices=(), confidence=0.9, seed=revision + fate)
    return AdviceWanted(t=t, revision=revision, question=question)


def work(question: AdviceQuestion) -> AdviceAnswer:
    """Answer whose question it was, and which process worked; or wait, fail or die, as the question says."""
    fate = question.seed // RAISES * RAISES
    ends = time.monotonic() + MOST_S
    while fate == WAITS and not Path(os.environ[GATE]).exists() and time.monotonic() < ends:
        time.sleep(LOOKS_EVERY_S)
    if fate == RAISES:
        raise ZeroDivisionError(f"no advice {question.seed}")
    if fate == DIES:
        os._exit(3)
    plan = Advice(cars=(), musts_chance=1.0, worth=float(question.seed % RAISES), sentence="Leave it.")
    return AdviceAnswer(as_planned=plan, best=(), exact=True, bound=0.0, problem=str(os.getpid()))
