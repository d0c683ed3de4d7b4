"""Of what a driver can comment: the subjects of remarks, and of the feedback that a run or a procedure is for."""

from __future__ import annotations

from typing import Literal

Subject = Literal["balance", "traction", "braking", "ride", "tyres", "engine", "grip", "steering"]
