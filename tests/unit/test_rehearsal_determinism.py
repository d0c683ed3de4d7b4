"""One scenario and one seed are one session, in every process."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

from pitwall.rehearsal.scenario import Scenario
from tests.unit.rehearsal_stage import Stage, setup

DAY = {"scenario": 1, "name": "day", "event": "event.yaml",
       "flags": {"red_per_hour": 2, "slow_per_hour": 2, "yellow_per_hour": 5}}  # fmt: skip


def fingerprint(seed: int) -> str:
    """A hash of every fact as sent, with when, and of the truth, for a day with people and prompts."""
    stage = Stage(Scenario.model_validate(DAY), setup(25), seed)
    stage.release(60)
    for number in range(30):
        stage.say_at(100 + 12 * number, f"switch-{number}", "check_switches",
                     positions={"torque_map": 1 + number % 4, "flap": "open", "brake_bias": 55 + number % 3})
    stage.on_line(4, lambda now: stage.prompt("box", "box", now, wait=2))
    stage.run()
    digest = hashlib.sha256()
    for at, fact in stage.facts:
        digest.update(f"{at!r} {fact.model_dump_json()}\n".encode())
    digest.update(stage.world.outcome().model_dump_json().encode())
    return digest.hexdigest()


def test_the_same_seed_twice_is_the_same_session() -> None:
    """Fact for fact, id for id, moment for moment, and the same truth."""
    assert fingerprint(7) == fingerprint(7)


def test_other_seeds_are_other_sessions() -> None:
    """No two of six seeds agree."""
    assert len({fingerprint(seed) for seed in range(6)}) == 6


def test_the_hash_seed_of_the_process_does_not_matter() -> None:
    """Two processes with different hash seeds give the same session: no set or hash decides anything."""
    root = Path(__file__).parents[2]
    code = "from tests.unit.test_rehearsal_determinism import fingerprint; print(fingerprint(3))"
    found = [
        subprocess.run([sys.executable, "-c", code], cwd=root, env=os.environ | {"PYTHONHASHSEED": number}, text=True,
                       capture_output=True, check=True, timeout=300).stdout
        for number in ("1", "4242")
    ]
    assert found[0] == found[1] == fingerprint(3) + "\n"
