"""The base of every model: frozen, closed to unknown fields, no infinities or not-a-numbers."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, StringConstraints, ValidationInfo

from pitwall.errors import FilePath

SLUG_PATTERN = r"^[a-z0-9-]{1,32}$"
NAME_PATTERN = r"^[a-z][a-z0-9_]{0,47}$"


class Frozen(BaseModel):
    """Immutable value: equal by content, refuses unknown fields and non-finite numbers."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True)


STORED = {"stored": True}
"""The context in which what a journal holds is validated. It was taken when it was stored: a rule about what a person
should write that came later must not refuse it, for a journal that cannot be read cannot be gone over."""


def is_stored(info: ValidationInfo) -> bool:
    """Guard: this comes out of a journal, not out of anybody's file."""
    return info.context is not None and bool(info.context.get("stored"))


class Refused(ValueError):
    """What a model refuses, with the words of a finding and the place below the model that was refused.

    Attributes:
        found, expected, suggestion: as in :class:`pitwall.errors.Finding`.
        at: the path from the mapping of the model that raises this to the value that is wrong.
        needs: keys of that mapping on which the refusal rests; without them it may be unfounded.
        first: the path from there to another value that it disagrees with, for a message that names both lines.
        code: the code of the finding.
    """

    def __init__(
        self, found: str, expected: str, *, at: FilePath = (), suggestion: str | None = None,
        needs: tuple[str, ...] = (), first: FilePath | None = None, code: str = "PW016",
    ) -> None:
        self.found, self.expected, self.suggestion, self.at, self.first = found, expected, suggestion, at, first
        self.needs, self.code = needs, code
        super().__init__(f"found {found}, expected {expected}{f': {suggestion}' if suggestion else ''}")


def number_to_text(value: object) -> object:
    """Read a whole number as text: YAML reads ``car: 41`` as a number; the wire and the topics want text."""
    if isinstance(value, int) and not isinstance(value, bool):
        return str(value)
    return value


Slug = Annotated[str, StringConstraints(pattern=SLUG_PATTERN), BeforeValidator(number_to_text)]
"""A session or car id, safe as one MQTT topic level: lower-case letters, digits, hyphen, at most 32."""

Name = Annotated[str, StringConstraints(pattern=NAME_PATTERN)]
"""The name of a procedure, switch or argument: snake_case."""

Label = Annotated[str, StringConstraints(min_length=1, max_length=48), BeforeValidator(number_to_text)]
"""A loop, tyre set, run, group or marshal-sector label as the team writes it."""
