"""The wording check: each rule on its own, then the whole library and everything that the engine's rules say."""

from __future__ import annotations

import pytest

from pitwall.app import wiring
from pitwall.app.scenarios import load_rehearsal
from pitwall.engine.call import CallSpec
from pitwall.engine.calls import CallBook
from pitwall.engine.rules.session import _WORDS
from pitwall.model.car import Switch
from pitwall.model.procedure import Procedure
from pitwall.radio.library import library_misheard, procedure_phrases, switch_choice, switch_phrases, switch_positions
from pitwall.radio.soundalike import OPPOSITES, RESERVED, Choice, Misheard, Phrase, misheard
from tests.unit.engine_stage import shipped


def rules_broken(text: str, kind: str = "procedure", place: str | None = None) -> list[str]:
    """The rules that a text breaks."""
    return [one.rule for one in misheard([Phrase("here", text, kind, place)])]  # type: ignore[arg-type]  # a call class


@pytest.mark.parametrize("text", ["Don't box.", "Do not box this lap.", "Not box, not now.", "No push this lap.",
                                  "Never stay out.", "Without pushing.", "Avoid the box.", "You cannot wait.",
                                  "Not to push.", "No more push."])  # fmt: skip
def test_an_action_word_is_never_denied(text: str) -> None:
    """A denial is lost in the noise: then the driver hears the opposite order."""
    found = misheard([Phrase("here", text, "box")])
    assert [one.rule for one in found] == ["negation"]
    assert found[0].fault
    assert "its own word" in found[0].remedy


@pytest.mark.parametrize(("text", "remedy"), [
    ("Never lift.", "'flat'"), ("No lifting.", "'flat'"), ("Without braking.", "'roll'"),
    ("Don't overtake.", "'hold station'"), ("No overtaking.", "'hold station'"), ("Avoid coasting.", "'power on'"),
])  # fmt: skip
def test_an_action_without_an_opposite_is_not_denied_either(text: str, remedy: str) -> None:
    """'Never lift' with the first word lost is the order to lift: what is wanted has a word of its own."""
    (found,) = misheard([Phrase("here", text, "procedure")])
    assert (found.rule, found.fault) == ("negation", True)
    assert remedy in found.remedy


@pytest.mark.parametrize("text", ["Lift and coast, turn 5.", "No, lift later.", "Nobody behind: lift.",
                                  "Two stops, braking late.", "No brake temperature yet."])  # fmt: skip
def test_such_an_action_is_fine_where_nothing_denies_it(text: str) -> None:
    """Alone, behind a comma, or part of another word."""
    assert rules_broken(text) == []


def test_the_remedy_names_the_other_word() -> None:
    """Who wrote "don't box" is told "stay out"."""
    assert "'stay out'" in misheard([Phrase("here", "Don't box.", "box")])[0].remedy


@pytest.mark.parametrize("text", ["No locking.", "No sliding, load both sides.", "Stay out, stay out.", "Box this lap.",
                                  "Push now.", "No kerbs."])  # fmt: skip
def test_other_denials_are_fine(text: str) -> None:
    """What is not an order of its own may be denied, and the opposite order in its own words is what is wanted."""
    assert rules_broken(text, "box") == []


def test_one_call_holds_one_of_two_opposite_orders() -> None:
    """Push and cool down in one sentence: half of it heard is the wrong half."""
    assert rules_broken("Cool down, then push.", "run") == ["opposites"]
    assert rules_broken("Box, box, or stay out.", "box") == ["opposites"]


@pytest.mark.parametrize("text", ["Stay out of the way.", "Flat to the box."])
def test_the_words_of_the_box_calls_belong_to_them(text: str) -> None:
    """Box and stay out are heard as orders wherever they stand."""
    assert rules_broken(text) == ["opposites"]
    assert rules_broken(text, "box") == []


def test_opposite_orders_share_no_word() -> None:
    """The table itself: no action word, and no single word of one, is on both sides of a pair."""
    for one, other in OPPOSITES:
        assert {word for words in one for word in words.split()}.isdisjoint(
            word for words in other for word in words.split())
    assert set(RESERVED) == {words for side in OPPOSITES[0] for words in side}


@pytest.mark.parametrize(("text", "broken"), [
    ("After turn four: hold gear five.", []),
    ("Turn four: hold gear five.", []),
    ("Hold gear five after turn four.", ["place"]),
    ("Hold gear five.", ["place"]),
])  # fmt: skip
def test_the_place_comes_before_the_action(text: str, broken: list[str]) -> None:
    """A call for a place begins with it."""
    assert rules_broken(text, place="turn four") == broken


def test_a_call_for_now_begins_with_its_action() -> None:
    """A box call may name the pit entry after the action: the action is what counts."""
    assert rules_broken("Box, box. Pit entry this lap.", "box", "pit entry") == []


@pytest.mark.parametrize("text", ["Torque to 2.", "Torque to two.", "Bias 55 for two laps.", "Gear two too.", "Won 1.",
                                  "The tyre ate 8.", "Gear 5, for the lap.", "Turn 4: to the right."])  # fmt: skip
def test_no_word_that_sounds_like_a_figure_stands_beside_one(text: str) -> None:
    """To is heard as two, for as four."""
    assert rules_broken(text) == ["figures"]


@pytest.mark.parametrize("text", ["Torque 2.", "Flap to open.", "Two laps, then in.", "Ready for the line."])
def test_such_a_word_is_fine_elsewhere(text: str) -> None:
    """Away from a figure nobody takes it for one."""
    assert rules_broken(text) == []


@pytest.mark.parametrize(("figures", "text"), [
    ((1, 5, 9), "5 or 9"), ((13, 30), "13 or 30"), ((15.0, 50.0, 60.0), "15 or 50"), ((19, 90), "19 or 90"),
])  # fmt: skip
def test_figures_that_sound_alike_are_told_apart(figures: tuple[float, ...], text: str) -> None:
    """Where both may be chosen, the advice is how to say them; it is no fault of anybody's."""
    found = misheard([], [Choice("here", figures)])
    assert [(one.rule, one.text, one.fault) for one in found] == [("choices", text, False)]
    assert "say" in found[0].remedy


def test_figures_that_differ_need_no_advice() -> None:
    """Six settings of a dial: none is taken for another."""
    assert misheard([], [Choice("here", (1, 2, 3, 4, 5, 6))]) == ()


def test_the_same_finding_is_told_once() -> None:
    """A text that comes up twice is one fault."""
    twice = Phrase("here", "Don't box.", "box")
    assert len(misheard([twice, twice])) == 1


BAD = Procedure.model_validate({
    "procedure": 1, "name": "bad", "purpose": "test", "place": "needed",
    "arguments": {"laps": {"type": "whole", "low": 4, "high": 9}},
    "steps": [{"say": "Hold it for {laps} laps {after}.", "short": "{missing}", "where": "place"}],
})  # fmt: skip


def test_a_library_is_checked_through_all_its_values() -> None:
    """Both ends of a range are filled in, the place is looked for, figures to choose from are compared."""
    found = library_misheard([BAD], [])
    assert sorted({one.rule for one in found}) == ["choices", "figures", "place"]
    assert {one.source for one in found} == {"procedure bad, step 1, say", "procedure bad, laps"}
    assert [phrase.text for phrase in procedure_phrases(BAD)] == [
        "Hold it for four laps turn four.", "Hold it for nine laps turn four."]


def test_every_change_of_a_switch_is_a_phrase() -> None:
    """A bias of three positions: each as a position, and in steps from each other one."""
    bias = Switch.model_validate({"switch": "bias", "kind": "bias", "word": "bias", "low": 50, "high": 51, "step": 0.5,
                                  "default": 50})  # fmt: skip
    assert switch_positions(bias) == (50, 50.5, 51)
    assert {phrase.text for phrase in switch_phrases(bias) if phrase.source.endswith("text")} == {
        "bias 50", "bias 50.5", "bias 51", "bias one up, makes 50.5", "bias two up, makes 51", "bias one up, makes 51",
        "bias one down, makes 50", "bias two down, makes 50", "bias one down, makes 50.5"}  # fmt: skip
    assert switch_choice(bias) == Choice("switch bias", (50, 50.5, 51))
    flap = Switch.model_validate({"switch": "flap", "kind": "toggle", "word": "flap", "positions": ["closed", "open"],
                                  "default": "closed"})  # fmt: skip
    assert switch_choice(flap) is None


def test_the_shipped_library_has_no_fault() -> None:
    """Every text of every procedure, every change of every switch: none is misheard; the advice is known."""
    found = library_misheard(
        shipped().procedures.values(), [switch for car in shipped().cars.values() for switch in car.switches]
    )
    assert [one for one in found if one.fault] == []
    assert {(one.source, one.text) for one in found} == {
        ("procedure brake_bedding, stops", "5 or 9"),
        ("procedure steering_symmetry, degrees", "5 or 9"),
        ("switch diff_preload", "15 or 50"),
    }


def test_every_session_call_has_no_fault() -> None:
    """All texts about flags and the session clock."""
    phrases = [Phrase(f"session {name}", text, "session") for name, words in _WORDS.items() for text in words[:2]]
    assert misheard(phrases) == ()


@pytest.mark.parametrize("scenario", ["short_demo"])
async def test_nothing_that_the_rules_say_in_a_rehearsal_has_a_fault(
    scenario: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every call that any rule asks for in a whole rehearsal, also those that are never made, in full and in short."""
    texts: dict[tuple[str, str], Phrase] = {}
    real = CallBook.reconcile

    def listening(book: CallBook, specs: list[CallSpec], *rest: object, **more: object) -> None:
        specs = list(specs)
        for spec in specs:
            place = spec.place if spec.kind == "procedure" and (spec.place or "").startswith("turn") else None
            texts[spec.kind, spec.text] = Phrase(spec.key, spec.text, spec.kind, place)
            texts[spec.kind, spec.short] = Phrase(spec.key, spec.short, spec.kind)
        real(book, specs, *rest, **more)  # type: ignore[arg-type]  # handed on as it came

    monkeypatch.setattr(CallBook, "reconcile", listening)
    await wiring.rehearse_instant(load_rehearsal(scenario))
    kinds = {kind for kind, _ in texts}
    assert {"box", "switch", "procedure", "run", "release", "brief", "question"} <= kinds
    assert len(texts) > 60
    assert faults(list(texts.values())) == []


def faults(phrases: list[Phrase]) -> list[Misheard]:
    """What would be misheard."""
    return [one for one in misheard(phrases) if one.fault]
