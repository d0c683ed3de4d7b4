"""What comments say together: by turn and phase, from run to run, against each other, and what was changed between."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.comments.changes import findings, open_complaints
from pitwall.comments.matrix import all_said, matrices
from pitwall.comments.shorthand import parse
from pitwall.model.comment_rows import CommentChange, CommentFindings, Contradiction
from pitwall.model.comments import Comment
from pitwall.model.debrief_rows import LapRow, SwitchMove

RUNS = {"first": 1000.0, "second": 2000.0, "third": 3000.0}


def comment(number: int, run: str, typed: str, after_s: float = 250.0, **more: Any) -> Comment:
    """A comment in shorthand, made on the cool-down lap of a run (its second timed lap ends 200 s into it)."""
    read = parse(typed)
    return Comment(comment=number, t=RUNS[run] + after_s, by="ann", run=run, driver=more.pop("driver", "ines"),
                   text=read.text, remarks=read.remarks, **more)  # fmt: skip


def laps(**tyres: str) -> list[LapRow]:
    """Two timed laps of each run, 100 s each; the set of each run, eight laps older and 20 kg less for each run."""
    found = []
    for at, (run, begin) in enumerate(RUNS.items()):
        for lap in (1, 2):
            start = begin + 100 * (lap - 1)
            found.append(LapRow(
                car="41", number=3 * at + lap, run=run, lap_of_run=lap + 1, kind="timed", start_s=start,
                end_s=start + 100, tyres=tyres.get(run, "B1"), compound="medium", tyre_laps=8 * at + lap,
                fuel_kg=60.0 - 20 * at - lap,
            ))  # fmt: skip
    return found


BIAS = [
    SwitchMove(t=0, switch="brake_bias", word="brake bias", position=56.0, evidence="assumed"),
    SwitchMove(t=1500, switch="brake_bias", word="brake bias", position=54.0, before=56.0, evidence="told"),
    SwitchMove(t=2215, switch="brake_bias", word="brake bias", position=57.0, before=54.0, evidence="told"),
]


def change(first: str, second: str, **more: Any) -> CommentChange:
    """The one change between what was said in two runs."""
    (found,) = findings([comment(1, "first", first), comment(2, "second", second)], **more).changes
    return found


def against(first: str, second: str) -> tuple[Contradiction, ...]:
    """Contradictions of two comments of one run."""
    return findings([comment(1, "first", first, 210), comment(2, "first", second, 400)]).contradictions


def test_the_matrix_has_a_row_for_each_place_and_a_cell_for_each_phase() -> None:
    """Turns in the order of the lap, then speed classes, then the car as a whole; entry, mid, exit, and no phase."""
    typed = "t7 exit os 2, mid us 3; t4 us; rears hot 4; fast snap; t7 exit os 3; t7 spin 1"
    said = all_said([comment(1, "first", typed)])
    (matrix,) = matrices(said)
    assert [row.place for row in matrix.rows] == ["turn 4", "turn 7", "fast corners", "the car as a whole"]
    seventh = matrix.rows[1]
    assert [cell.phase for cell in seventh.cells] == ["entry", "mid", "exit", None]
    assert [(cell.short, cell.worst) for cell in seventh.cells] == [
        ("", None), ("us 3", 3), ("os 3", 3), ("spin 1", 1),
    ]  # fmt: skip
    assert matrix.rows[3].cells[3].short == "rear hot 4"


def test_each_driver_has_a_matrix_and_each_run() -> None:
    """Over all runs first, then run by run where there are several; who said nothing in tags has none."""
    told = [comment(1, "first", "t4 us"), comment(2, "second", "t4 os"), comment(3, "second", "t4 os", driver="bryn"),
            comment(4, "third", ": nothing to say", driver="cleo")]  # fmt: skip
    assert [(one.driver, one.run) for one in matrices(all_said(told))] == [
        ("ines", None), ("ines", "first"), ("ines", "second"), ("bryn", None),
    ]  # fmt: skip


def test_turns_are_gathered_by_their_speed_class() -> None:
    """Where the classes of turns are known: with what was said of a class itself. Other turns, and what is of no
    corner, are left out; without any turn of a known class the first matrix says it all."""
    told = [comment(1, "first", "t1 mid us 3; t4 mid us 2; t7 exit os 2; slow mid us 1; rears hot; t9 snap")]
    (matrix,) = findings(told, classes={1: "slow", 4: "slow", 7: "fast"}).by_speed
    assert [(row.place, [cell.short for cell in row.cells]) for row in matrix.rows] == [
        ("slow corners", ["", "us 3", "", ""]), ("fast corners", ["", "", "os 2", ""]),
    ]  # fmt: skip
    assert len(matrix.rows[0].cells[1].said) == 3
    assert findings(told).by_speed == ()


def test_praise_is_no_complaint_in_the_matrix() -> None:
    """The worst of a cell is of complaints alone."""
    (matrix,) = matrices(all_said([comment(1, "first", "t4 mid good 5, us 2")]))
    assert [(cell.short, cell.worst) for cell in matrix.rows[0].cells][1] == ("neutral 5, us 2", 2)


@pytest.mark.parametrize(
    ("first", "second", "direction", "evidence"),
    [
        ("t4 mid us 3", "t4 mid us 2", "better", "severity"),
        ("t4 mid us 2", "t4 mid us 4", "worse", "severity"),
        ("t4 mid us 2", "t4 mid us 2", "same", "severity"),
        ("t4 mid us 2", "t4 mid neutral", "better", "finding"),
        ("t4 mid good", "t4 mid us 1", "worse", "finding"),
        ("t4 mid us 2", "t4 mid os 2", "other", "finding"),
        ("t4 mid us 2", "t4 mid us better", "better", "said"),
        ("t4 mid us", "t4 mid worse", "worse", "said"),
        ("fronts cold 2", "fronts hot 1", "other", "finding"),
        ("no grip 3", "grip good", "better", "finding"),
    ],
)
def test_what_was_said_in_two_runs_is_compared(first: str, second: str, direction: str, evidence: str) -> None:
    """Another finding counts before the severity, and the severity before the driver's own word."""
    found = change(first, second)
    assert (found.direction, found.evidence) == (direction, evidence)


def test_only_what_is_of_the_same_thing_is_compared() -> None:
    """Another phase, another driver, another axle, another run that says nothing of it: no change."""
    first = comment(1, "first", "t4 mid us 3; front lock t1 3")
    other = [comment(2, "second", "t4 exit us 1; rear lock t1 1"), comment(3, "second", "t4 mid us 1", driver="bryn")]
    assert findings([first, *other]).changes == ()
    assert findings([first, comment(2, "first", "t4 mid us 1")]).changes == ()


def test_the_last_word_of_each_run_counts() -> None:
    """Said twice in a run, the later one is compared, and each run with the next that says something of it."""
    told = [comment(1, "first", "t4 us 5"), comment(2, "first", "t4 us 3", 300), comment(3, "third", "t4 us 2")]
    (only,) = findings(told).changes
    assert (only.before.comment, only.after.comment, only.place) == (2, 3, "turn 4")


def test_what_was_changed_between_stands_beside_it() -> None:
    """Tyres, their age, fuel and switches, as they were on the laps that the comments are about: what was moved on the
    cool-down lap before the driver spoke does not count."""
    found = change("t4 mid us 3", "t4 mid us 2", laps=laps(second="B2"), moves=BIAS)
    assert [one.text for one in found.between] == [
        "tyres B1 (medium) to B2 (medium)", "tyres 2 to 10 laps old", "fuel 58 to 38 kg", "brake bias 56 to 54",
    ]  # fmt: skip
    bias = found.between[-1]
    assert (bias.kind, bias.name, bias.before, bias.after) == ("switch", "brake_bias", 56.0, 54.0)
    assert change("t4 us", "t4 us").between == (), "nothing is known of the car"


def test_a_run_without_timed_laps_tells_its_tyres_and_fuel_too() -> None:
    """Checks and a shakedown have out- and in-laps alone: the car was on some tyres there as well."""
    driven = [one.model_copy(update={"kind": "out" if one.lap_of_run == 2 else "in"}) if one.run == "first" else one
              for one in laps(second="B2")]
    for after_s in (50, 150, 250):
        told = [comment(1, "first", "t4 mid us 3", after_s), comment(2, "second", "t4 mid us 2")]
        (found,) = findings(told, driven, BIAS).changes
        assert [one.kind for one in found.between] == ["tyres", "tyre_laps", "fuel", "switch"]


@pytest.mark.parametrize(
    ("first", "second", "direction", "words"),
    [
        (["t4 us 3", "t4 same as before"], ["t4 us 4"], "worse", "turn 4: balance, same (understeer, severity 3)"),
        (["t4 us 3", "t4 us same"], ["t4 us 2"], "better", None),
        (["t4 us 3", "t4 same as before"], ["t4 us 3"], "same", None),
        (["t4 us 3", "t4 same as before"], ["t4 os 2"], "other", None),
        (["t4 us 3"], ["t4 us 4", "t4 same as before"], "worse", "turn 4: understeer, severity 3"),
        (["t4 us 3"], ["t4 same as before"], "same", None),
        (["t4 us 3", "us gone t4"], ["t4 us 4"], "worse", "turn 4: understeer, gone"),
    ],
)  # fmt: skip
def test_the_same_as_before_is_as_bad_as_before(
    first: list[str], second: list[str], direction: str, words: str | None
) -> None:
    """What is the same has the finding and the severity of what it is the same as; what was gone and is back is
    worse."""
    told = [comment(at, "first", typed, 200 + at) for at, typed in enumerate(first, 1)]
    told += [comment(10 + at, "second", typed, 200 + at) for at, typed in enumerate(second)]
    (found,) = findings(told).changes
    assert found.direction == direction
    assert words in (None, found.before.words)


@pytest.mark.parametrize(
    ("first", "second", "why"),
    [
        ("t4 mid us 3", "t4 mid os 2", "understeer and oversteer"),
        ("t4 snap", "t4 us", "snap and understeer"),
        ("t4 us", "t4 neutral", "understeer and neutral of balance"),
        ("rears hot", "tyres rear good", "hot and good of tyres"),
    ],
)
def test_what_cannot_both_be_true_is_flagged(first: str, second: str, why: str) -> None:
    """The same place in the same run by the same driver, and the opposite."""
    (found,) = against(first, second)
    assert (found.why, found.first.comment, found.second.comment) == (why, 1, 2)


@pytest.mark.parametrize(
    ("first", "second"),
    [("t4 mid us", "t4 exit os"), ("t4 os", "t4 snap"), ("t4 us 2", "t4 us 4"), ("fronts cold", "rears hot"),
     ("t4 us", "t5 os"), ("slow us", "fast os"), ("t4 us", "t4 better")],
)  # fmt: skip
def test_what_may_both_be_true_is_not_flagged(first: str, second: str) -> None:
    """Another phase, another place, another axle, or more of the same."""
    assert against(first, second) == ()


def test_another_run_or_driver_contradicts_nothing() -> None:
    """The car may have been changed, and drivers differ."""
    told = [comment(1, "first", "t4 us"), comment(2, "second", "t4 os"), comment(3, "first", "t4 os", driver="bryn")]
    assert findings(told).contradictions == ()


def test_a_complaint_is_open_until_something_better_is_said() -> None:
    """The last word on each thing, the worst first; less of it is still a complaint, praise closes it."""
    told = [comment(1, "first", "t4 us 3; t7 os 2; rears hot 4; t9 snap"),
            comment(2, "second", "t4 good; t7 os better; t9 worse; engine good")]  # fmt: skip
    assert [one.words for one in open_complaints(all_said(told))] == [
        "rear hot, severity 4", "turn 9: snap", "turn 7: oversteer, better",
    ]  # fmt: skip


def test_what_is_gone_from_a_turn_is_gone_from_all_its_phases() -> None:
    """"us gone t4" closes what was said of its entry; another finding, turn or driver stays open, so does what was said
    later, and a phase that it names closes that phase alone."""
    for typed, still in (("us gone t4", ["turn 7 mid: understeer", "turn 4 exit: oversteer"]),
                         ("t4 exit us gone", ["turn 4 entry: understeer", "turn 7 mid: understeer",
                                              "turn 4 exit: oversteer"])):  # fmt: skip
        told = [comment(1, "first", "t4 entry us 3; t7 mid us 3; t4 exit os 2"), comment(2, "second", typed)]
        assert [one.words.partition(",")[0] for one in open_complaints(all_said(told))] == still
    again = [comment(1, "first", "t4 entry us 3"), comment(2, "second", "us gone t4"),
             comment(3, "third", "t4 entry us 2")]  # fmt: skip
    assert [one.words for one in open_complaints(all_said(again))] == ["turn 4 entry: understeer, severity 2"]
    other = [comment(1, "first", "t4 entry us 3"), comment(2, "first", "us gone t4", driver="bryn")]
    assert len(open_complaints(all_said(other))) == 1
    worse = [comment(1, "first", "t4 entry worse"), comment(2, "second", "us gone t4")]
    assert len(open_complaints(all_said(worse))) == 1, "nobody said what became worse"


def test_what_is_gone_from_the_whole_car_is_gone_from_every_place() -> None:
    """Another finding stays open, another driver's too, and what was said later; of one phase, that phase alone."""
    for typed, still in (("us gone everywhere", ["turn 7: oversteer"]), ("us gone", ["turn 7: oversteer"])):
        told = [comment(1, "first", "t4 us 4; t1 mid us 2; slow us 1; t7 os 2"), comment(2, "second", typed)]
        assert [one.words.partition(",")[0] for one in open_complaints(all_said(told))] == still
        again = [*told, comment(3, "third", "t4 us 1; t7 os gone")]
        assert [one.words for one in open_complaints(all_said(again))] == ["turn 4: understeer, severity 1"]
    other = [comment(1, "first", "t4 us 3"), comment(2, "first", "us gone", driver="bryn")]
    assert len(open_complaints(all_said(other))) == 1


def test_a_comment_for_an_earlier_lap_stands_where_that_lap_was() -> None:
    """Typed after the driver said that it is gone, for the lap before that, or for the run before: it is gone."""
    gone = comment(1, "second", "no us t4", 205, lap_number=5)
    for late in (comment(2, "second", "t4 us 4", 260, lap_number=4),
                 comment(2, "second", "t4 us 4", 260).model_copy(update={"run": "first"})):  # fmt: skip
        assert findings([gone, late], laps()).open == ()
    assert len(findings([gone, comment(2, "second", "t4 us 4", 260)], laps()).open) == 1


def test_nothing_said_is_nothing_found() -> None:
    """Comments without remarks are kept elsewhere."""
    assert findings([comment(1, "first", ": windy")]) == CommentFindings()
