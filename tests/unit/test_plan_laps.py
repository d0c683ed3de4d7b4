"""The shorthand of laps and the forms of ``on``: what they mean, that they survive a round trip, what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from pitwall.model.plan import Item, LapChoice, LapKind, Plan, Run, ThreePoint, parse_laps, write_laps

BETWEEN = st.lists(st.sampled_from(["timed", "cool"]), max_size=40)


@given(BETWEEN)
def test_laps_survive_the_round_trip(between: list[LapKind]) -> None:
    """Whatever a run's laps are, writing and reading them gives the same."""
    laps: tuple[LapKind, ...] = ("out", *between, "in")
    assert parse_laps(write_laps(laps)) == laps


@pytest.mark.parametrize(("text", "laps"), [
    ("out-in", ("out", "in")),
    ("installation", ("out", "in")),
    ("out, 2 timed, in", ("out", "timed", "timed", "in")),
    ("OUT , 2x timed laps,cool lap,  in", ("out", "timed", "timed", "cool", "in")),
    ("out, timed, in", ("out", "timed", "in")),
])  # fmt: skip
def test_the_shorthand_reads_as_people_write_it(text: str, laps: tuple[LapKind, ...]) -> None:
    """Case, spaces and the word lap do not matter."""
    assert parse_laps(text) == laps


@pytest.mark.parametrize(("text", "words"), [
    ("", "in laps"), ("out, tmed, in", "'tmed' in laps"), ("3 timed", "starts with an 'out' lap"),
    ("out, 2 timed", "ends with an 'in' lap"), ("out, in, out, in", "second run"), ("out-in, 2 timed", "stands alone"),
    ("2 out-in", "stands alone"), ("out, 0 timed, in", "must be 1 to"), ("out, 999 timed, in", "must be 1 to"),
    ("out, ٣ timed, in", "in laps"), ("out, 1000 timed, in", "in laps"),
])  # fmt: skip
def test_laps_that_make_no_run_are_refused_in_words(text: str, words: str) -> None:
    """The message names the part that cannot be read, or the rule that is broken."""
    with pytest.raises(ValueError, match=words):
        parse_laps(text)


def test_the_long_form_means_the_same() -> None:
    """A list of kinds and of kind with times gives what the shorthand gives."""
    long = Run.model_validate({"run": "a", "want": "must",
                               "laps": [{"kind": "out"}, {"kind": "timed", "times": 3}, "cool", {"kind": "in"}]})
    short = Run.model_validate({"run": "a", "want": "must", "laps": "out, 3 timed, cool, in"})
    assert long == short


@pytest.mark.parametrize("laps", [
    [{"kind": "out", "tims": 2}], [{"times": 2}], ["out", {"kind": "timed", "times": 0}, "in"],
    ["out", {"kind": "timed", "times": True}, "in"], ["out", *[{"kind": "timed", "times": 400}] * 9, "in"],
    ["out", "fast", "in"], ["out", ["timed"], "in"], 3, {"out": 1}, ["in", "out"],
])  # fmt: skip
def test_a_long_form_that_makes_no_sense_is_refused(laps: object) -> None:
    """Unknown keys, no kind, no number of times, too many laps, another order: all refused, none by a crash."""
    with pytest.raises(ValidationError):
        Run.model_validate({"run": "a", "want": "must", "laps": laps})


@pytest.mark.parametrize(("on", "choices"), [
    ("out", (LapChoice(kind="out"),)),
    (["out", "in"], (LapChoice(kind="out"), LapChoice(kind="in"))),
    ({"timed": 2}, (LapChoice(kind="timed", numbers=(2,)),)),
    ({"timed": [1, 3]}, (LapChoice(kind="timed", numbers=(1, 3)),)),
    ([{"timed": 1}, "cool"], (LapChoice(kind="timed", numbers=(1,)), LapChoice(kind="cool"))),
    ({"kind": "timed", "numbers": [2]}, (LapChoice(kind="timed", numbers=(2,)),)),
    ([{"kind": "timed"}], (LapChoice(kind="timed"),)),
])  # fmt: skip
def test_on_takes_its_forms(on: object, choices: tuple[LapChoice, ...]) -> None:
    """A kind, a list of kinds, a kind with a number, a kind with numbers, and what the model itself writes."""
    assert Item.model_validate({"do": "x", "on": on}).on == choices


@pytest.mark.parametrize("on", [
    {"timed": 0}, {"timed": []}, {"timed": "2"}, {"timed": [1, True]}, {"tmed": 1}, "fast", 3, [3], {"timed": [401]},
])  # fmt: skip
def test_an_on_that_names_no_lap_is_refused(on: object) -> None:
    """Lap numbers are whole and start at one; kinds are the known ones."""
    with pytest.raises(ValidationError):
        Item.model_validate({"do": "x", "on": on})


def test_three_points_take_a_list_or_one_number() -> None:
    """One number stands for all three; the order is quick, likely, slow."""
    run = Run.model_validate({"run": "a", "want": "must", "laps": "out-in", "after_garage_s": 300})
    assert run.after_garage_s == ThreePoint(low_s=300, likely_s=300, high_s=300)
    for bad in ([1, 2], [3, 2, 1], ["a", 2, 3], "soon", True):
        with pytest.raises(ValidationError):
            Run.model_validate({"run": "a", "want": "must", "laps": "out-in", "after_garage_s": bad})


def test_a_plan_keeps_its_meaning_through_json() -> None:
    """What the journal stores reads back as the same plan, ``with`` and all."""
    plan = Plan.model_validate({
        "plan": 1, "car": 41, "driver": "ines", "session": "practice-1", "runs": [
            {"run": "a", "want": "must", "laps": "out, 2 timed, in", "release": {"not_before": "+00:08:00"},
             "items": [{"do": "x", "on": {"timed": [1, 2]}, "with": {"gear": 5}}]}]})
    assert Plan.model_validate_json(plan.model_dump_json()) == plan
    assert Plan.model_validate_json(plan.model_dump_json(by_alias=True)) == plan
    assert plan.runs[0].release.not_before == 480.0


def test_the_quiet_rule_lets_session_and_safety_through() -> None:
    """On a timed lap silence is the rule; session, safety and stop calls are above it."""
    plan = Plan.model_validate({"plan": 1, "car": 41, "driver": "ines", "session": "p", "runs": []})
    assert not plan.may_say("pace", "timed")
    assert plan.may_say("box", "timed")
    assert plan.may_say("pace", "cool")
    quiet = plan.model_copy(update={"quiet": {"timed": ()}})
    assert [quiet.may_say(call, "timed") for call in ("session", "safety", "stop", "box")] == [True, True, True, False]


def test_put_back_false_needs_a_reason() -> None:
    """A switch that stays changed on purpose says why."""
    with pytest.raises(ValidationError, match="the reason, which it needs in 'why'"):
        Item.model_validate({"do": "x", "put_back": False})
    assert Item.model_validate({"do": "x", "put_back": False, "why": "last lap"}).put_back is False


def test_a_run_cannot_be_shortened_to_more_than_it_has() -> None:
    """shorten_to is the fewest timed laps that still count."""
    with pytest.raises(ValidationError, match="found 3 for run 'a', expected 1 to 2"):
        Run.model_validate({"run": "a", "want": "must", "laps": "out, 2 timed, in", "shorten_to": 3})
