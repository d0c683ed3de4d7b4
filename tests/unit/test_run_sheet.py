"""The run sheet: calls in lap order in the engine's own words, on one page that can be read."""

from __future__ import annotations

import dataclasses
import io
import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import Any, cast

import pytest
from pypdf import PdfReader
from reportlab.pdfgen.canvas import Canvas

from pitwall.app.loading import Loaded
from pitwall.app.plan_sheets import read_with_notes, write_any
from pitwall.app.print_fonts import REGULAR, drawable, lines_of, width_of
from pitwall.app.resources import demo_event
from pitwall.app.run_sheet import RunSheet, read_run_sheet, run_sheet, sheet_text
from pitwall.app.run_sheet_calls import PlannedCalls, SheetCall
from pitwall.app.run_sheet_parts import Look, _run_head, head
from pitwall.app.run_sheet_pdf import sheet_pdf
from pitwall.checks.around import Around
from pitwall.cli.main import main
from pitwall.errors import UserError
from pitwall.model.plan import Plan
from tests.unit.engine_stage import (
    CHECKS,
    MAIN,
    PROCEDURES,
    SPARE,
    SWITCHES,
    Stage,
    car_file,
    plan,
    regulations,
    round_map,
    setup,
)

DEMO = demo_event().parent / "plans" / "plan_41.yaml"
ITEMS: list[dict[str, Any]] = [
    {"do": "radio_check", "on": "out"}, {"do": "hold", "on": ["out", "in"], "after": "bridge"},
    {"do": "flap_lap", "on": {"timed": 2}}, {"do": "comment", "on": ["cool", "in"]},
    {"do": "bias_step", "on": {"timed": 3}, "with": {"switch": "brake_bias", "by": -1.0}},
]
BUSY = MAIN | {"laps": "out, 1 timed, cool, 2 timed, in", "items": ITEMS}


def _sheet(made: Plan) -> RunSheet:
    around = Around(regulations=regulations(), car=car_file(), lap=round_map(), procedures=PROCEDURES)
    return run_sheet(made, Loaded(None, (), Path("event.yaml"), around={made.car: around}))


def _text(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages]


def _squeezed(text: str) -> str:
    return "".join(text.split())


def test_the_calls_are_those_that_the_engine_makes_in_the_same_order() -> None:
    """A run driven as planned: what the engine prompts on track, lap by lap, is what the sheet says."""
    made = plan(BUSY)
    stage = Stage(setup(made)).green()
    line = stage.drive(200, 125, 100, 150, 100, 100)
    stage.home(line)
    first = {prompt.call: prompt for prompt in reversed(stage.prompts())}.values()
    told = sorted((prompt.say_from_s, prompt.kind, prompt.text) for prompt in first
                  if prompt.kind in ("procedure", "question", "run", "box", "switch") and prompt.lap != "garage")
    said = [(kind, text.removeprefix("Before the line: ").removeprefix("Now: ")) for _, kind, text in told]
    around = Around(regulations=regulations(), car=car_file(), lap=round_map(), procedures=PROCEDURES)
    planned = PlannedCalls(made, around)
    laps = [lap for lap in planned.laps(planned.states[0]) if lap.name != "garage"]
    written = [(call.kind, call.text) for lap in laps for call in lap.calls]
    assert sorted(text.casefold() for _, text in said) == sorted(text.casefold() for _, text in written)
    for kind in ("procedure", "question", "run", "box", "switch"):
        assert [one[1].casefold() for one in said if one[0] == kind] == [
            one[1].casefold() for one in written if one[0] == kind], kind


def test_switches_are_set_in_the_garage_and_put_back_on_the_lap() -> None:
    """What differs from how the car came in stands first; what an item moves is moved back before the next lap."""
    sheet = _sheet(plan(BUSY, SPARE | {"switches": {"torque_map": 4}}))
    assert [call.text for call in sheet.runs[1].laps[0].calls] == ["Set torque 4."]
    by_name = {lap.name: [call.text for call in lap.calls] for lap in sheet.runs[0].laps}
    assert by_name["timed 2"][-1] == "Bias two down, makes 54, flap closed."
    assert by_name["in"][:2] == ["Box this lap, box this lap.", "Bias two up, makes 55."]


def test_laps_with_the_same_calls_are_one_line() -> None:
    """Eight timed laps with nothing to say are one line of blanks, and items that wait say what for."""
    when = {"do": "radio_check", "on": ["out", "cool"], "when": {"not_before": "+00:20:00"}}
    sheet = _sheet(plan(MAIN | {"laps": "out, 8 timed, in", "items": [when]}))
    assert [(lap.name, lap.count) for lap in sheet.runs[0].laps] == [("out", 1), ("timed 1-8", 8), ("in", 1)]
    assert "not before 20:00" in sheet_text(sheet)


def test_what_the_driver_is_to_comment_on_stands_beside_its_run() -> None:
    """He and the crew read it before he leaves; a run that wants nothing says nothing."""
    text = sheet_text(_sheet(plan(MAIN | {"feedback": ["tyres", "balance"]}, SPARE)))
    assert "comment on tyres, balance" in text
    assert text.count("comment on") == 1


def test_a_plan_without_its_event_is_still_a_sheet() -> None:
    """No car, no circuit, no library: the items stand by their names, nothing is left out."""
    made = plan(BUSY, {"run": "starts", "want": "could", "after_flag": "only", "items": [
        {"do": "standing_start", "at": "grid", "times": 2}]})
    text = sheet_text(run_sheet(made, Loaded(None, (), Path("event.yaml"))))
    for words in ("radio_check on out", "bias_step on timed 3", "Grid: two standing starts", "Box this lap"):
        assert words in text


def test_the_demo_sheet_is_one_page_with_every_call_on_it() -> None:
    """Five runs on one page of A4, letters of seven points or more, black and grey only, and the same bytes again."""
    sheet, notes = read_run_sheet(DEMO)
    pdf = sheet_pdf(sheet)
    assert notes == ()
    assert pdf == sheet_pdf(sheet)
    (page,) = _text(pdf)
    for run in sheet.runs:
        for words in (run.head, run.laps_text, run.purpose, *(call.text for lap in run.laps for call in lap.calls)):
            assert _squeezed(words) in _squeezed(page), words
    assert "3 baseline, goes on" in " ".join(page.split())
    box = PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    assert sorted((round(float(box.width)), round(float(box.height)))) == [595, 842]  # ISO 216: A4 is 210 mm by 297 mm
    sizes: list[float] = []
    PdfReader(io.BytesIO(pdf)).pages[0].extract_text(
        visitor_text=lambda text, _cm, _tm, _font, size: sizes.append(size) if text.strip() else None)
    numbers = [size for size in sizes if size]
    assert min(numbers) >= 0.75 * 7
    assert sorted(numbers)[len(numbers) // 2] >= 7


def test_each_run_tells_who_drives_it_on_what_with_how_much() -> None:
    """The page is what remains when the laptop dies: class, driver, tyre set with its compound and age, fuel at both
    ends of the run, for every run, also where all of it is as before."""
    sheet, _ = read_run_sheet(DEMO)
    facts = {run.head: run.facts for run in sheet.runs}
    assert facts["1  checks"] == ("must", "Ines", "tyres A1 hard, 14 laps old", "fuel 12 kg, 10.2 kg at the end")
    assert facts["4  compare"] == ("must", "Ines", "tyres C1 soft, new", "fuel 22 kg, 13.2 kg at the end")
    assert facts["5  long"] == ("could", "Ines", "tyres B2 medium, 6 laps old", "fuel 26 kg, 8.5 kg at the end")
    (page,) = _text(sheet_pdf(sheet))
    for one in facts.values():
        assert _squeezed(" \u00b7 ".join(one)) in _squeezed(page)
    assert all("; ".join(one) in sheet_text(sheet) for one in facts.values())


def test_facts_without_room_beside_a_long_name_stand_below_it_in_letters_as_large() -> None:
    """Neither is made smaller nor drawn over the other."""
    sheet, look = read_run_sheet(DEMO)[0], Look(9.0, 500.0)
    named = dataclasses.replace(sheet.runs[2], head="3  constant-speed-on-two-ride-heigh")
    beside, below = (_run_head(one, look) for one in (sheet.runs[2], named))
    assert below.height == pytest.approx(beside.height + look.line)
    (page,) = _text(sheet_pdf(dataclasses.replace(sheet, runs=(named,))))
    assert _squeezed(" \u00b7 ".join(named.facts)) in _squeezed(page)


def test_a_long_name_of_the_event_and_the_title_do_not_meet() -> None:
    """A name of the most letters that an event may have goes over several lines in its half of the page."""
    made = dataclasses.replace(_sheet(plan(MAIN)), event="Cup of the harbour " * 4 + "1234")
    drawn: list[tuple[float, float, float]] = []
    font: list[tuple[str, float]] = []

    class Pen:
        def setFont(self, name: str, size: float) -> None:
            font[:] = [(name, size)]

        def drawString(self, x: float, y: float, text: str) -> None:
            drawn.append((x, x + width_of(text, *font[0]), y))

        def drawRightString(self, x: float, y: float, text: str) -> None:
            drawn.append((x - width_of(text, *font[0]), x, y))

    part = head(made, Look(8.0, 527.0))
    part.draw(cast(Canvas, Pen()), 0.0, 700.0)
    assert len(drawn) >= 3
    assert all(left >= -1e-6 and right <= 527.0 + 1e-6 and 700.0 - part.height < y < 700.0 for left, right, y in drawn)
    pairs = itertools.combinations(drawn, 2)
    assert all(a[1] < b[0] or b[1] < a[0] or abs(a[2] - b[2]) > 7.0 for a, b in pairs)


@pytest.mark.parametrize("name", ["Zoë Żółć", "Δρόμος", "車 41", "🏁🏁", "a" * 300, "\u202eabc", "\x00\x1b[2J"])
def test_any_text_can_be_printed(name: str) -> None:
    """Letters that the font lacks become a small box; control characters and endless words break nothing."""
    made = plan(MAIN | {"purpose": name, "tyres": name[:48], "items": [
        {"do": "hold", "on": "out", "after": name, "why": name}]})
    pages = _text(sheet_pdf(_sheet(made)))
    assert len(pages) == 1
    assert "main" in pages[0]
    assert all(width_of(line, REGULAR, 8) <= 100 or len(line) == 1 for line in lines_of(name, REGULAR, 8, 100))
    assert drawable("車é") == "\u25a1é"


def test_a_plan_too_long_for_a_page_says_on_which_page_one_is() -> None:
    """Sixty runs: nothing is cut off, and each page says which of how many it is."""
    made = plan(*(BUSY | {"run": f"run-{number}"} for number in range(60)))
    pages = _text(sheet_pdf(_sheet(made)))
    assert len(pages) > 5
    assert [f"page {number} of {len(pages)}" in page for number, page in enumerate(pages, 1)] == [True] * len(pages)
    whole = "".join(pages)
    assert all(f"{number + 1} run-{number}" in whole.replace("  ", " ") for number in range(60))


def test_the_command_writes_a_page_or_text(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """From any form of a plan; only some runs when asked; what is there is not written over."""
    monkeypatch.chdir(tmp_path)
    assert main(["plan", "convert", str(DEMO), "plan.xlsx"]) == 0
    event = str(demo_event())
    assert main(["plan", "print", "plan.xlsx", "--event", event]) == 0
    assert (tmp_path / "plan.pdf").read_bytes().startswith(b"%PDF-")
    assert main(["plan", "print", "plan.xlsx"]) == 2
    capsys.readouterr()
    assert main(["plan", "print", "plan.xlsx", "--event", event, "--text", "--runs", "holds,long"]) == 0
    text = capsys.readouterr().out
    assert "After turn 4: hold gear five, count five." in text
    assert ("2  holds" in text, "5  long" in text, "3  baseline" in text) == (True, True, False)
    with pytest.raises(UserError, match="no run 'hold': there are checks, holds"):
        read_run_sheet(DEMO, runs=["hold"])


@pytest.mark.parametrize("name", ["plan_41.yaml", "plan_41.xlsx"])
def test_a_sheet_of_the_demo_event_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    """A plan far from any event file is read with the demo event: the page and the command say that, and how to name
    another. Named, or found, it needs no such word."""
    write_any(tmp_path / name, read_with_notes(DEMO)[0])
    assert main(["plan", "print", str(tmp_path / name), "--text"]) == 0
    printed = capsys.readouterr()
    assert "(the demo event: no event.yaml was found near the plan)" in printed.out
    assert f"note: no event.yaml beside {tmp_path / name} or up to two folders above it" in printed.err
    assert "--event" in printed.err
    for words in ([str(tmp_path / name), "--event", str(demo_event())], [str(DEMO)]):
        assert main(["plan", "print", *words, "--text"]) == 0
        assert "demo event" not in "".join(capsys.readouterr())


def test_faults_of_the_plan_are_told_on_the_sheet(tmp_path: Path) -> None:
    """A plan that `pitwall check` refuses can be printed, and the page says so."""
    sheet, _ = read_run_sheet(DEMO)
    assert not sheet.foot.startswith("pitwall check")
    values = {"plan": 1, "car": "41", "driver": "ines", "session": "practice-1", "runs": [
        {"run": "a", "want": "must", "laps": "out, 2 timed, in", "items": [{"do": "no_such_thing", "on": "out"}]}]}
    write_any(tmp_path / "plan.yaml", Plan.model_validate(values))
    sheet, _ = read_run_sheet(tmp_path / "plan.yaml", demo_event())
    assert sheet.foot.startswith("pitwall check finds 1 error")


def test_a_board_stands_on_the_sheet_in_its_own_words_at_the_pass_that_shows_it() -> None:
    """One board for each pass, as the lap begins there, with what hangs together: what kind of lap it is and what the
    timed lap after it needs, the box once. Nothing is a sentence to speak but what is told in the garage."""
    slow = {"do": "set_one", "on": {"timed": 2}, "with": {"switch": "flap", "position": "open"}}
    made = plan(MAIN | {"laps": "out, 1 timed, cool, 1 timed, in", "items": [slow]}, medium="board")
    around = Around(regulations=regulations(), car=car_file(), lap=round_map(), procedures=PROCEDURES)
    planned = PlannedCalls(made, around)
    laps = {lap.name: [(call.where, call.text) for call in lap.calls] for lap in planned.laps(planned.states[0])}
    assert laps == {
        "out": [], "timed 1": [("pit wall", "1 TIMED / COOL / 1 TIMED")],
        "cool": [("pit wall", "COOL LAP / FLAP OPEN")],
        "timed 2": [], "in": [("pit wall", "BOX / FLAP / CLOSED")],
    }


def _boards_that_hang(made: Plan, seconds: dict[str, float]) -> dict[int, set[str]]:
    """The lines that the engine wants at each pass, as the lap of that number begins, where each board is hung."""
    stage = Stage(setup(made)).green()
    found: dict[int, set[str]] = {}
    begin = 200.0
    stage.leave(begin)
    run = stage.car.progress.next or stage.car.progress.current
    assert run is not None
    for kind in run.laps[:-1]:
        end = begin + seconds[kind]
        stage.wait(begin + 0.3 * seconds[kind])
        for t in (end - 38, end - 34, end - 30, end - 27, end - 24, end - 21):
            stage.wait(t)
            for call in [*stage.car.book.calls.values()]:
                if call.open and call.state in ("due", "shown") and call.spec.board and call.spec.against is None:
                    stage.command("said", t, call=call.id)
                    if call.spec.kind != "pace":
                        found.setdefault((call.spec.pass_number or 0) - 1, set()).update(call.spec.board)
        stage.cross(end)
        begin = end
    return found


@pytest.mark.parametrize(("laps", "item"), [
    ("out, 2 timed, in", {"do": "bias_step", "on": {"timed": 2}, "with": {"switch": "brake_bias", "by": -2}}),
    ("out, cool, 1 timed, in", {"do": "bias_step", "on": {"timed": 1}, "with": {"switch": "brake_bias", "by": -2}}),
    ("out, 1 timed, in", {"do": "hold", "on": "in", "after": "bridge"}),
    ("out, 2 timed, in", {"do": "flap_lap", "on": {"timed": 1}}),
    ("out, 1 timed, cool, 1 timed, in", {"do": "flap_lap", "on": {"timed": 2}}),
])  # fmt: skip
def test_the_boards_of_the_sheet_are_those_that_will_hang(laps: str, item: dict[str, Any]) -> None:
    """A bias in steps, an item beside the box, a change that is shown only as its lap begins: as the daemon has it."""
    made = plan(MAIN | {"laps": laps, "items": [item]}, medium="board")
    around = Around(regulations=regulations(), car=car_file(), lap=round_map(), procedures=PROCEDURES)
    planned = PlannedCalls(made, around)
    sheet = {number: set(call.text.split(" / ")) for number, calls in _by_lap(planned)
             for call in calls if call.where == "pit wall"}
    hang = _boards_that_hang(made, {"out": 125, "timed": 100, "cool": 140})
    assert {number: lines - {"NEXT LAP", "PUSH"} for number, lines in hang.items()} == sheet


def _by_lap(planned: PlannedCalls) -> Iterator[tuple[int, tuple[SheetCall, ...]]]:
    number = 0
    for lap in planned.laps(planned.states[0]):
        if lap.kind is not None:
            yield number, lap.calls
            number += lap.count


def test_what_comes_before_the_first_pass_stands_on_a_board_sheet_as_told_in_the_garage() -> None:
    """Straight back in, and the changes at the first line; a question of an installation lap is asked once the car is
    back in the garage, as the engine asks it."""
    defaults = [{"position": 3, "lap": "out"}]
    switches = [one | ({"defaults": defaults} if one["switch"] == "torque_map" else {}) for one in SWITCHES]
    asked = {"do": "radio_check", "on": "out"}
    asking = PROCEDURES["radio_check"].model_copy(update={"steps": (
        PROCEDURES["radio_check"].steps[0].model_copy(update={"kind": "question"}),)})
    made = plan(CHECKS | {"items": [asked]}, MAIN, medium="board")
    around = Around(regulations=regulations(), car=car_file(switches=switches), lap=round_map(),
                    procedures=PROCEDURES | {"radio_check": asking})
    planned = PlannedCalls(made, around)
    told = [[(call.where, call.text) for lap in planned.laps(state) for call in lap.calls if call.where != "switches"]
            for state in planned.states]
    assert told[0] == [("garage", "Straight back in: box at the end of the out-lap."),
                       ("garage", "Radio check, how do you hear me?")]
    assert [lap.name for lap in planned.laps(planned.states[0])][-1] == "back in the garage"
    assert told[1][0] == ("garage", "On the out-lap, before the line: torque 2.")
