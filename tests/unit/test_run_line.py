"""A run in one line: written and read back to the same run, and refused in words."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from pitwall.app.loading import load_setup
from pitwall.app.resources import demo_event
from pitwall.model.changes import InsertRun, PlanChange
from pitwall.model.plan import Run
from pitwall.model.run_line import brief_run, parse_run, write_run

SLUG = st.from_regex(r"[a-z0-9-]{1,12}", fullmatch=True)
NAME = st.from_regex(r"[a-z][a-z0-9_]{0,12}", fullmatch=True)
LABEL = st.text(min_size=1, max_size=12)
SECONDS = st.floats(-4000, 400_000, allow_nan=False)
LONG = st.floats(0, 5000, allow_nan=False)
SCALAR = st.one_of(st.text(max_size=8), st.integers(-1000, 1000), st.floats(-1e6, 1e6), st.booleans())
VALUES = st.dictionaries(LABEL, SCALAR, max_size=3)
BODY = st.lists(st.sampled_from(["timed", "cool"]), max_size=6)
WANT = st.sampled_from(["must", "should", "could"])
CHOICE = st.fixed_dictionaries(
    {
        "kind": st.sampled_from(["out", "timed", "cool", "in", "installation"]),
        "numbers": st.lists(st.integers(1, 20), max_size=3).map(tuple),
    }
)
PLACE = st.one_of(st.just({}), st.fixed_dictionaries({"after": LABEL}), st.fixed_dictionaries({"at": LABEL}))
ITEM = st.builds(
    lambda fixed, place, put_back: fixed | place | put_back,
    st.fixed_dictionaries(
        {"do": NAME, "on": st.lists(CHOICE, max_size=3), "with": VALUES, "want": WANT, "times": st.integers(1, 20)}
    ),
    st.one_of(PLACE, st.fixed_dictionaries({"on": st.lists(CHOICE, min_size=1, max_size=3), "when": st.one_of(
        st.fixed_dictionaries({"not_before": SECONDS}),
        st.fixed_dictionaries({"after_item": NAME}, optional={"not_before": SECONDS}),
    )})),
    st.one_of(st.just({}), st.fixed_dictionaries({"put_back": st.booleans(), "why": LABEL})),
)


@st.composite
def runs(draw: st.DrawFn) -> Run:
    """Any run that the model takes."""
    body = draw(BODY)
    optional: dict[str, st.SearchStrategy[Any]] = {
        "tyres": LABEL, "fuel_kg": st.floats(0, 500), "driver": NAME, "value": st.floats(0, 1000),
        "crew": st.lists(LABEL), "switches": VALUES, "before": st.lists(SLUG, max_size=3), "same_as": SLUG,
        "group": LABEL, "dry_only": st.booleans(), "after_flag": st.sampled_from(["allowed", "only"]),
        "also_on": st.lists(SLUG, max_size=3), "window": LABEL, "cut_by_flag": st.sampled_from(["resume", "give_up"]),
        "feedback": st.lists(st.sampled_from(["tyres", "balance", "grip"]), max_size=3),
        "purpose": st.text(max_size=20), "after_garage_s": st.lists(LONG, min_size=3, max_size=3).map(sorted),
        "items": st.lists(ITEM, max_size=3),
        "release": st.fixed_dictionaries({}, optional={"not_before": SECONDS, "gap_ahead_s": LONG}),
    }  # fmt: skip
    values = draw(st.fixed_dictionaries({"run": SLUG, "want": WANT}, optional=optional))
    values["laps"] = ["out", *body, "in"]
    if "timed" in body and draw(st.booleans()):
        values["shorten_to"] = draw(st.integers(1, body.count("timed")))
    return Run.model_validate(values)


@given(runs())
@settings(max_examples=400, deadline=None)
def test_a_run_written_in_one_line_reads_back_to_the_same_run(run: Run) -> None:
    """Whatever a run holds stands in its line, and nothing else does."""
    line = write_run(run)
    assert "\n" not in line
    assert parse_run(line) == run


def test_every_run_of_the_demo_event_reads_back() -> None:
    """The shipped plans and their alternates, block of starts included."""
    setup = load_setup(demo_event())
    plans = [*setup.plans.values(), *(plan for kinds in setup.alternates.values() for plan in kinds.values())]
    for run in (run for plan in plans for run in plan.runs):
        assert parse_run(write_run(run)) == run


def test_a_line_as_the_desk_writes_it() -> None:
    """The short form: laps, tyres, fuel and class in any order, with any of the separators."""
    wanted = Run.model_validate(
        {"run": "long", "laps": "out, 8 timed, in", "tyres": "B2", "fuel_kg": 40, "want": "should"}
    )
    assert parse_run("long: out, 8 timed, in · B2 · 40 kg · should") == wanted
    assert parse_run("long:should;40 kg | b2 ; out,8 timed,in").model_copy(update={"tyres": "B2"}) == wanted
    assert write_run(wanted) == "long: out, 8 timed, in · B2 · 40 kg · should"
    assert brief_run(wanted) == "out, 8 timed, in · B2 · 40 kg · should"


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("long out, 8 timed, in", "begins with its name"),
        ("long: out, 8 timed, in · B2", "say must, should or could"),
        ("long: out, 8 timde, in · must", "'8 timde' in laps"),
        ("long: out, 8 timed, in · must · 40", "fuel is '40 kg'"),
        ("long: out, 8 timed, in · must · on wheels", "'on wheels' in a run's line is not known"),
        ("long: out, 8 timed, in · must · do hold under bridge", "'under' is not known there"),
        ("long: out, 8 timed, in · must · not before noon", "expected seconds, or a time"),
        ("long: out, 8 timed, in · must · switches flap", "expected flap=..."),
        ("long: out, 8 timed, in · must · do", "'do' in a run's line"),
    ],
)
def test_a_line_that_cannot_be_read_is_refused_in_words(line: str, words: str) -> None:
    """The refusal names the part that is wrong."""
    with pytest.raises(ValueError, match=r".") as refused:
        parse_run(line)
    assert words in str(refused.value)


def test_insert_run_takes_a_line() -> None:
    """On the wire a run to be inserted may come as one line; what is stored is the run."""
    change: Any = TypeAdapter(PlanChange).validate_python(
        {"do": "insert_run", "run": "long: out, 8 timed, in · B2 · 40 kg · should", "after": "compare"}
    )
    assert isinstance(change, InsertRun)
    assert change.run.laps.count("timed") == 8
    assert InsertRun.model_validate_json(change.model_dump_json(by_alias=True)) == change
    with pytest.raises(ValidationError, match="say must, should or could"):
        TypeAdapter(PlanChange).validate_python({"do": "insert_run", "run": "long: out, 8 timed, in"})


def test_every_slip_of_a_line_is_told_at_once() -> None:
    """A unit, a class and a figure: three slips, one answer. A further word is no second tyre set."""
    with pytest.raises(ValueError, match="line") as found:
        parse_run("long: out, 8 timed, in · B2 · 40 kgs · shoud · 7")
    told = str(found.value)
    assert "'40 kgs' in a run's line: a number alone says nothing; fuel is '40 kg'" in told
    assert "'shoud' in a run's line is not known; did you mean 'should'?" in told
    assert "'7' in a run's line" in told
    assert "say must, should or could" not in told
    with pytest.raises(ValueError, match="its tyres are B2 already"):
        parse_run("long: out, 8 timed, in · B2 · C1 · should")
