"""Spoken words of switches, and of whole libraries: nothing that is misheard, and figures that are said with care."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import pytest

from pitwall.app.resources import demo_event
from pitwall.checks.around import Around
from pitwall.checks.codes import CODES
from pitwall.checks.library import check_procedure
from pitwall.checks.spoken import check_switch_words, said_with_care
from pitwall.cli.main import main
from pitwall.errors import Finding
from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import car_file, plan, shipped

ROTARY: dict[str, Any] = {"switch": "one", "kind": "rotary", "word": "torque", "positions": [1, 2], "default": 1}


def of(*switches: dict[str, Any]) -> Sequence[Finding]:
    """What is found in a car with these switches."""
    made = [ROTARY | switch for switch in switches]
    return tuple(check_switch_words(car_file(switches=made, forbidden_on_timed=[])))


def test_the_words_of_the_shipped_switches_are_not_misheard() -> None:
    """No finding for any change of any switch of the shipped cars, each word being of one switch only."""
    assert [found for car in shipped().cars.values() for found in check_switch_words(car)] == []


@pytest.mark.parametrize(
    ("switch", "code", "words"),
    [
        ({"word": "box light"}, "PW140", "'box' is an order of the box calls"),
        ({"word": "map for"}, "PW140", "'for' sounds like 'four'"),
        ({"word": "mode", "positions": ["push", "cool down"], "default": "push"}, None, ""),
        ({"word": "push", "positions": ["cool down", "on"], "default": "on"}, "PW140", "opposite orders"),
        ({"word": "radio", "positions": ["on", "stay out"], "default": "on"}, "PW140", "'stay out'"),
        ({"word": "map", "positions": [1, "no push"], "default": 1}, "PW140", "through noise only 'push' is heard"),
    ],
)
def test_a_switch_word_that_is_misheard_is_told_at_its_place(
    switch: dict[str, Any], code: str | None, words: str
) -> None:
    """An order's word, a word like a figure, two opposite orders, a denied action: with its path and a remedy."""
    found = of({"switch": "first", "word": "bias"}, switch)
    assert [(one.code, one.path) for one in found] == ([(code, ("switches", 1, "word"))] if code else [])
    if code:
        assert words in found[0].found
        assert found[0].expected


def test_two_switches_never_have_one_word() -> None:
    """The second of the two is told, however it is written; a longer word that holds the other is fine."""
    (found,) = of({"switch": "first", "word": "Engine"}, {"switch": "second", "word": "engine"},
                  {"switch": "third", "word": "engine braking"})  # fmt: skip
    assert (found.code, found.path) == ("PW141", ("switches", 1, "word"))
    assert found.found == "'engine' for 'second' and for 'first'"


def test_the_words_that_end_a_procedure_are_judged_like_its_steps() -> None:
    """What breaks it off, and what ends its hold, may not be heard as another order."""
    base = shipped().procedures["constant_speed_hold"].model_dump(mode="json", exclude_none=True)
    assert base["hold"]["end"]
    base["hold"]["end"]["say"] = "Box mode, done."
    base["early_end"] = {"say": "Stop pushing, break off.", "short": "Break off"}
    found = check_procedure(Procedure.model_validate(base), ())
    assert [(one.code, one.path) for one in found] == [
        ("PW135", ("hold", "end", "say")), ("PW135", ("early_end", "say"))]  # fmt: skip


def test_figures_that_sound_alike_are_advice_and_no_finding() -> None:
    """Where 15 or 50 may be said, the line says how; a plan without such figures says nothing."""
    car = car_file(switches=[ROTARY | {"word": "preload", "positions": [15, 50], "default": 15}], forbidden_on_timed=[])
    assert said_with_care(plan(), Around(car=car)) == [
        "said with care [PW142], 1 of them:",
        "  switch one: 15 or 50 sound alike: say the digits singly: 'one five' and 'five zero'",
    ]
    plain = car_file(switches=[ROTARY], forbidden_on_timed=[])
    assert said_with_care(plan(), Around(car=plain)) == []
    assert CODES["PW142"].severity == "information"


def test_check_tells_them_beside_its_findings(capsys: pytest.CaptureFixture[str]) -> None:
    """``check`` of the shipped event has no finding for them, in text and as JSON."""
    assert main(["check", str(demo_event()), "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["findings"] == []
    assert any("diff_preload" in line for line in answer["plans"]["41"]["said_with_care"])
    assert main(["check", "--explain", "pw140"]) == 0
    assert "mend: Give the switch another word" in capsys.readouterr().out
