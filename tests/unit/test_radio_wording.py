"""The words of a call: templates filled as they are spoken."""

from __future__ import annotations

import pytest

from pitwall.errors import UserError
from pitwall.model.car import Switch
from pitwall.model.plan import Scalar
from pitwall.radio.wording import count_word, fill, lap_time_words, laps_phrase, switch_words
from tests.unit.engine_stage import shipped

BIAS = Switch.model_validate({"switch": "brake_bias", "kind": "bias", "word": "bias", "low": 50, "high": 60,
                              "step": 0.5, "default": 55})  # fmt: skip
MAP = Switch.model_validate({"switch": "map", "kind": "rotary", "word": "torque", "positions": [1, 2, 3],
                             "default": 1})  # fmt: skip


def test_small_counts_are_words() -> None:
    """A digit alone is easily lost: counts up to twelve are words, more are figures, and so is what is no count."""
    assert [count_word(number) for number in (0, 1, 12, 13, -1)] == ["no", "one", "twelve", "13", "-1"]


def test_laps_are_counted_with_their_noun() -> None:
    """One lap is singular, any other number plural."""
    assert laps_phrase(1) == "one timed lap"
    assert laps_phrase(3) == "three timed laps"
    assert laps_phrase(0, "cool-down lap") == "no cool-down laps"


@pytest.mark.parametrize(("template", "values", "text"), [
    ("{after}: hold gear {gear}", {"after": "turn 4", "gear": 5}, "Turn 4: hold gear five"),
    ("bias {by}", {"by": -2.0}, "Bias -2"),
    ("flap {flap}", {"flap": "open"}, "Flap open"),
    ("limiter {on}", {"on": True}, "Limiter on"),
    ("map {map}", {"map": 14}, "Map 14"),
    ("speed {v}", {"v": 55.5}, "Speed 55.5"),
])  # fmt: skip
def test_templates_are_filled_as_spoken(template: str, values: dict[str, str | int | float | bool], text: str) -> None:
    """Whole numbers as words, truth values as on and off, no needless decimals, a capital to begin with."""
    assert fill(template, values) == text


@pytest.mark.parametrize("template", ["after {place}", "{0}", "{", "{gear!q}", "{gear.teeth}", "{gear[teeth]}"])
def test_a_template_nobody_can_fill_is_refused_in_words(template: str) -> None:
    """An unknown word or a broken brace is named together with the words that are known."""
    with pytest.raises(UserError, match=r"cannot fill .*known words: gear"):
        fill(template, {"gear": 5})


def test_every_shipped_template_is_filled() -> None:
    """The library's texts with every argument given leave no brace behind."""
    for procedure in shipped().procedures.values():
        values: dict[str, Scalar] = {**dict.fromkeys(procedure.arguments, 3), "after": "turn 4", "at": "grid"}
        for one in procedure.steps:
            for template in (one.say, one.short):
                assert "{" not in fill(template, {**values, "place": "turn 4"})


def test_a_bias_is_said_in_steps() -> None:
    """From a believed position a bias is a number of steps up or down, with the position they lead to."""
    assert switch_words(BIAS, 54.0, 55.0) == ("bias two down, makes 54", "bias two down")
    assert switch_words(BIAS, 55.5, 55.0) == ("bias one up, makes 55.5", "bias one up")


@pytest.mark.parametrize("believed", [None, 55.0, 60.0])
def test_without_few_steps_the_position_alone_is_said(believed: float | None) -> None:
    """Unknown, unchanged or more than six steps away: the position is named."""
    position = 55.0 if believed != 60.0 else 51.0
    assert switch_words(BIAS, position, believed) == (f"bias {position:g}", f"bias {position:g}")


def test_other_switches_are_said_by_position() -> None:
    """A rotary has no steps to count, and no "to" stands before a figure; before a word it does, save for a toggle."""
    assert switch_words(MAP, 3, 1) == ("torque 3", "torque 3")
    flap = Switch.model_validate({"switch": "flap", "kind": "toggle", "word": "flap", "positions": ["closed", "open"],
                                  "default": "closed"})  # fmt: skip
    assert switch_words(flap, "open", "closed") == ("flap open", "flap open")
    deploy = flap.model_copy(update={"kind": "rotary", "word": "deploy"})
    assert switch_words(deploy, "open", "closed") == ("deploy to open", "deploy open")


@pytest.mark.parametrize(("seconds", "text"), [
    (87.4, "1:27.4"), (60.0, "1:00.0"), (59.96, "1:00.0"), (125.04, "2:05.0"), (9.5, "0:09.5"),
])  # fmt: skip
def test_lap_times_are_written_as_on_a_board(seconds: float, text: str) -> None:
    """Minutes, two digits of seconds, tenths, rounded as a whole: never 1:60.0."""
    assert lap_time_words(seconds) == text
