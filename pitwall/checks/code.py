"""One kind of finding: its code, why it matters and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning", "information"]


@dataclass(frozen=True, slots=True)
class Code:
    """One kind of finding."""

    code: str
    title: str
    why: str
    mend: str
    severity: Severity = "error"
