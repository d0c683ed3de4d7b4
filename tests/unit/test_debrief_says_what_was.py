"""A debrief claims nothing that was not: sentences that a race engineer would take at their word."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.cli.debrief import in_words
from pitwall.debrief import wording as say
from pitwall.debrief.contents import document_of
from pitwall.debrief.contents_car import car_chapter
from pitwall.debrief.contents_comments import open_complaints
from pitwall.debrief.contents_figures import plan_figure
from pitwall.debrief.contents_summary import summary_sections
from pitwall.debrief.document import Points, Section, Table, Words
from pitwall.debrief.model import CarDebrief, Debrief, LapRow, StatusSpan, TenMinutes
from tests.unit.debrief_stage import car, empty, full, item, laps, run, session


def test_a_session_that_never_began_had_no_green_light() -> None:
    """Its second zero is where a green light was awaited; nothing says that there was one."""
    made = full(state="not_begun", statuses=(), began_s=-11_100, ended_s=-11_019)
    (when,) = [one.text for one in document_of(made).facts if one.lead == "When:"]
    assert "green light at" not in when
    assert when.startswith("Friday 16 May 2031; no green light came. ")
    assert "Session time counts to 08:30:00 (UTC)" in when
    assert in_words(made)[0] == "Saltmarsh Park spring test, practice-1: 1:00:00, not begun"


@pytest.mark.parametrize(("state", "ended_s", "words"), [
    ("closed", 3885, "1:00:00, closed"), ("flag_out", 3700, "1:00:00, flag out"),
    ("running", 1390, "23:10 of 1:00:00, running"),
])
def test_how_far_a_session_came_is_told_of_one_that_runs(state: str, ended_s: float, words: str) -> None:
    """A session that is over was as long as it was; what the journal heard after it is no part of it."""
    assert in_words(full(state=state, ended_s=ended_s))[0].endswith(f": {words}")


# -- runs --------------------------------------------------------------------------------------------------------------


def lacking(*outcomes: str, **of_run: Any) -> CarDebrief:
    """A car with one run that was driven to its end, whose must items came to this."""
    left = sum(one in ("not_done", "done_badly") for one in outcomes)
    done = outcomes.count("done") + outcomes.count("probably_done")
    learn = run("learn", "must", "done", items=len(outcomes), items_done=done, musts_left=left,
                stints=car().runs[0].stints, **of_run)
    return car().model_copy(update={"runs": (learn,), "items": tuple(
        item("constant_speed_hold", "learn", one, "held back").model_copy(update={"item": f"learn-{at}"})
        for at, one in enumerate(outcomes))})


def said(made: CarDebrief) -> str:
    """The first words of the first page."""
    block = summary_sections(made, full())[0].blocks[0]
    assert isinstance(block, Words)
    return block.text


@pytest.mark.parametrize("outcomes", [("not_done", "not_done"), ("done", "not_done"), ("done", "done_badly")])
def test_a_run_whose_must_items_were_not_done_is_done_in_part(outcomes: tuple[str, ...]) -> None:
    """Its laps were driven, and what it had to bring was not brought: on the page and in the terminal."""
    made, left = lacking(*outcomes), 2 if outcomes[0] == "not_done" else 1
    assert say.run_state(made.runs[0]) == "◐ done in part, 3 of 3 timed"
    assert said(made).startswith("0 of 1 run done, 1 done in part. ")
    assert say.why(made.runs[0]) == say.plural(left, "must item") + " not done as wanted"
    assert [line.split()[:3] for line in in_words(Debrief(**{**dict(full()), "cars": (made,)}))[2:3]] == [
        ["learn", "in", "part"]]


def test_a_run_that_brought_what_it_had_to_is_done() -> None:
    """Also where that is only probable: the page says so of the item."""
    made = lacking("done", "probably_done")
    assert say.run_state(made.runs[0]) == "● done, 3 of 3 timed"
    assert said(made).startswith("1 of 1 run done. ")


def test_what_is_only_probably_done_is_counted_apart_and_stands_among_what_is_to_do() -> None:
    """Nobody saw it: the cell of the run counts it apart, and who plans the next session reads that it is in doubt."""
    made = lacking("done", "probably_done", items_probably=1)
    blocks = [block for section in summary_sections(made, full()) for block in section.blocks]
    (told,) = [one for one in blocks if isinstance(one, Words) and one.lead.startswith("Only probably done")]
    assert told.text == "constant speed hold of learn on timed lap 2."
    (rows,) = [one for one in blocks if isinstance(one, Table)]
    assert rows.groups[0].rows[0][3] == "1 of 2, 1 probably"
    (line,) = [one for one in in_words(Debrief(**{**dict(full()), "cars": (made,)})) if one.split()[0] == "learn"]
    assert "1 of 2 items, 1 probably" in line


def test_too_few_laps_are_worse_than_a_must_item_that_was_not_done() -> None:
    """A run that was broken off is told so, whatever became of its items."""
    assert say.run_state(lacking("not_done", counts=False).runs[0]) == "▲ broken off, 3 of 3 timed"


@pytest.mark.parametrize(("window", "lap", "words"), [
    ({"outcome": "done"}, {}, "(lap 4)"), ({"outcome": "done_badly"}, {}, "(lap 4, done badly)"),
    ({"outcome": "probably_done"}, {}, "(lap 4, probably done)"),
    ({"outcome": "done", "spoilt": "red flag"}, {}, "(lap 4, spoilt)"),
    ({"outcome": "done"}, {"switches_unverified": ("brake bias 56",)}, "(lap 4, switch unverified)"),
    ({"outcome": "done_badly"}, {"switches_wrong": ("brake bias 56",)}, "(lap 4, done badly, switch wrong)"),
])  # fmt: skip
def test_data_that_are_not_to_be_taken_as_they_are_say_so(
    window: dict[str, Any], lap: dict[str, Any], words: str
) -> None:
    """On the first page, among the data that are sure: done badly, spoilt, not sure, or with a switch in doubt."""
    made = car()
    found = made.data_windows[0].model_copy(update={"lap_number": 4, "spoilt": "", **window})
    driven = tuple(one.model_copy(update=lap) if one.number == 4 else one for one in made.laps)
    made = made.model_copy(update={"data_windows": (found,), "laps": driven})
    (told,) = [one.text for one in summary_sections(made, full())[0].blocks
               if isinstance(one, Words) and one.lead == "Data from:"]
    assert told.endswith(f" {words}.")


def to_do(made: CarDebrief) -> list[tuple[str, str]]:
    """What the first page has to be done next: lead and words of each point."""
    block = summary_sections(made, full())[1].blocks[0]
    return [(one.lead, one.text) for one in block.points] if isinstance(block, Points) else []


def test_laps_that_no_plan_leaves_out_are_told_of_a_run_that_counts() -> None:
    """One of two timed laps of a must was driven, and it counts because the driver came in by himself: it is done in
    part, and what is left of it stands under what is to be done next."""
    made = lacking("done", laps_left=1, reason="ended early, still counts", timed_done=1, timed_wanted=2)
    assert say.run_state(made.runs[0]) == "◐ done in part, 1 of 2 timed"
    assert say.why(made.runs[0]) == "ended early, still counts; 1 timed lap left"
    assert to_do(made) == [("Must: run learn:", "1 of 2 timed laps not driven. Ended early, still counts.")]


def test_what_could_be_done_is_named() -> None:
    """An item of a run that was driven has its name there as a run has: a number says nothing."""
    made = lacking("done", "not_done")
    could = tuple(one.model_copy(update={"want": "could"}) for one in made.items)
    assert to_do(made.model_copy(update={"items": could})) == [
        ("Could, when there is time:", "constant speed hold of learn.")]


def test_a_block_that_was_done_in_the_pit_lane_is_not_told_as_not_driven() -> None:
    """Practice starts after the flag have no lap of their own."""
    starts = run("starts", "could", "done", laps="", timed_wanted=0, timed_done=0)
    made = car().model_copy(update={"runs": (*car().runs[:1], starts, run("long", "could", "skipped"))})
    figure = plan_figure(made, session())
    assert figure is not None
    assert figure.told.endswith("Done without a lap: starts. Not driven: long.")


def test_a_yellow_in_some_sectors_is_not_told_as_green() -> None:
    """The session's status stays green then; its course names what the drivers were shown."""
    spans = (StatusSpan(status="green", from_s=0, to_s=100), StatusSpan(status="green", from_s=100, to_s=125,
                                                                       sectors=("5",)))
    (course,) = [one for one in document_of(full(statuses=spans)).tables if one.caption == "The session's course"]
    assert [row[0] for group in course.groups for row in group.rows] == ["green", "yellow, locally"]


# -- laps --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("status", "words"), [
    (("green", "yellow"), "yellow"), (("green", "slow", "green"), "slow period"), (("red", "green"), "red flag"),
    (("yellow", "slow", "red"), "red flag"), ((), "yellow"),
])
def test_a_lap_that_a_flag_spoilt_names_the_flag(status: tuple[str, ...], words: str) -> None:
    """The gravest that touched it."""
    lap = LapRow.model_validate({**laps("holds", 3, 1)[1].model_dump(), "clean": "yellow", "status": status,
                                 "lost_s": None, "clean_at": ""})
    assert say.clean_words(lap) == words


def test_a_number_of_a_lap_is_the_session_s() -> None:
    """Beside the name of a run a number would be read as of the run: there it says of what it is."""
    made = full()
    (complaints,) = [one for part in summary_sections(made.cars[0], made) if part.heading.startswith("Open")
                     for one in part.blocks if isinstance(one, Points)]
    leads = [one.lead for one in complaints.points if one.lead.startswith(("holds", "baseline"))]
    assert leads
    assert not [one for one in leads if ", lap " in one]
    (laps_told,) = [one.text for one in document_of(made).facts if one.lead == "Laps:"]
    assert laps_told == "numbered through the session, each car's own; a lap of a run has a name, such as in-lap."
    (switches,) = [one for one in _sections(made) if one.heading == "Car 41: switches"]
    table = switches.blocks[-1]
    assert "holds, session lap 4" in str(table)


def _sections(made: Debrief) -> list[Section]:
    return list(car_chapter(made.cars[0], made.session))


def test_an_empty_debrief_has_the_same_sentences() -> None:
    """Nothing happened, and nothing is claimed."""
    assert in_words(empty())[0].endswith("1:00:00, not begun")


# -- alerts ------------------------------------------------------------------------------------------------------------


def test_the_most_alerts_are_of_any_ten_minutes_and_not_of_the_rows_of_the_table() -> None:
    """Six about the change of two rows are six in ten minutes, and each row has fewer: the page says which is which."""
    made = full()
    rates = tuple(TenMinutes(from_s=600.0 * at, raised=3) for at in range(2))
    shown = made.model_copy(update={"alerts": made.alerts.model_copy(update={"most_in_ten": 6, "rates": rates})})
    blocks = [block for section in document_of(shown).sections for block in section.blocks]
    said_of_all = " ".join(one.text for one in blocks if isinstance(one, Words))
    assert "at most 6 in any ten, wherever they begin" in said_of_all
    assert "at most 6 in any ten;" in "\n".join(in_words(shown))


def test_many_open_complaints_are_counted_on_the_first_page() -> None:
    """The worst stand there, and how many more there are of which kind; each stands once in the car's own chapter."""
    made = car()
    first = made.said.open[0]
    untagged = made.comments[0].model_copy(update={"remarks": (), "text": "it is windy"})

    def shown(rated: int, words: int) -> list[Words]:
        open_ = tuple(first.model_copy(update={"comment": at}) for at in range(rated))
        return open_complaints(made.model_copy(update={
            "said": made.said.model_copy(update={"open": open_}), "comments": (untagged,) * words}))

    assert len(shown(6, 2)) == 8
    assert [len(shown(rated, words)) for rated, words in ((28, 0), (7, 3), (9, 3))] == [9, 9, 9]
    last = "; every comment is in 'Car 41: what the driver said and asked'."
    assert shown(28, 0)[-1].text == f"20 complaints{last}"
    assert shown(7, 3)[-1].text == f"2 comments that nobody tagged{last}"
    assert shown(9, 3)[-1].text == f"1 complaint and 3 comments that nobody tagged{last}"
