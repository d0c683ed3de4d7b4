"""The same facts are the same decisions, the same seed the same session: in another process, under another hash seed.

Whole days are compared with the same days in another process in ``tests/acceptance``; here are the stored journals.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.replay.golden_journals import RECORD

ROOT = Path(__file__).resolve().parents[2]
TELL = "from tests.replay.golden_journals import *; print([told(journal_of(name)) for name in sorted(RECORD)])"


def _started(hash_seed: str, *words: str) -> subprocess.Popen[bytes]:
    environment = os.environ | {"PYTHONHASHSEED": hash_seed}
    command = [sys.executable, *words]
    return subprocess.Popen(command, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


def _both(*words: str) -> tuple[bytes, bytes]:
    """What the command prints under two hash seeds, run side by side."""
    printed = []
    for process in [_started("1", *words), _started("4242", *words)]:
        out, errors = process.communicate(timeout=900)  # a limit for a hang, not for a busy machine
        assert process.returncode == 0, errors.decode()
        printed.append(out)
    return printed[0], printed[1]


def test_decisions_on_stored_journals_are_the_same_under_two_hash_seeds() -> None:
    """Every decision on the golden journals, down to the digest of their whole content, in two processes."""
    first, second = _both("-c", TELL)
    assert first == second
    assert first.count(b"decided ") == len(RECORD)
