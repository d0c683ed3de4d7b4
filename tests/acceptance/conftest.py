"""Fixtures of the acceptance tests."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.acceptance.processes import Processes


@pytest.fixture
def processes(tmp_path: Path) -> Iterator[Processes]:
    """Processes of one test in a folder of its own."""
    started = Processes(tmp_path)
    yield started
    started.end()
