"""Values that a rehearsal makes by the hundred thousand: as firm as frozen dataclasses to mypy, as cheap as plain ones.

A frozen dataclass sets each field through a call, and ``dataclasses.replace`` asks for every field by name. For a
record of thirty fields that is ten times what the values themselves cost, and was a tenth of a rehearsal. That nobody
assigns to a field of a record is held by mypy alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar, dataclass_transform

__all__ = ["altered", "record"]

T = TypeVar("T")


@dataclass_transform(frozen_default=True)
def record(cls: type[T]) -> type[T]:
    """A dataclass whose fields are set once, as it is made; equal and hashed by value."""
    return dataclass(unsafe_hash=True)(cls)


if TYPE_CHECKING:
    from dataclasses import replace as altered
else:

    def altered(made: T, /, **changes: object) -> T:
        """A record with some fields changed; its ``__post_init__``, if any, is not run anew.

        Raises:
            TypeError: when the record has no such field.
        """
        other = object.__new__(type(made))
        fields = other.__dict__
        fields.update(made.__dict__)
        known = len(fields)
        fields.update(changes)
        if len(fields) != known:
            strange = ", ".join(sorted(changes.keys() - made.__dict__.keys()))
            raise TypeError(f"{type(made).__name__} has no field {strange}")
        return other
