"""Records: plain dataclasses that mypy holds firm, changed without asking for every field by name."""

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.model.record import altered, record


@record
class Note:
    """A small record."""

    name: str
    at_s: float
    tags: tuple[str, ...] = ()


NOTES = st.builds(Note, st.text(), st.floats(allow_nan=False), st.tuples(st.text()))


@given(NOTES, st.text(), st.floats(allow_nan=False))
def test_an_altered_record_is_what_the_library_would_replace(note: Note, name: str, at_s: float) -> None:
    """The quick way and ``dataclasses.replace`` give equal records, and the first one stays as it was."""
    before = dataclasses.astuple(note)
    assert altered(note, name=name, at_s=at_s) == dataclasses.replace(note, name=name, at_s=at_s)
    assert dataclasses.astuple(note) == before


@given(NOTES)
def test_records_are_values(note: Note) -> None:
    """Two records with the same fields are equal and hash alike; unchanged they are equal, not the same."""
    copy = altered(note)
    assert copy == note
    assert hash(copy) == hash(note)
    assert copy is not note


def test_a_field_that_a_record_has_not_is_refused() -> None:
    """A slip in a field's name is told, as the library would."""
    with pytest.raises(TypeError, match="Note has no field when_s"):
        altered(Note("a", 1.0), when_s=2.0)  # type: ignore[call-arg]  # the slip is the point
