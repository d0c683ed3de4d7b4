"""The codes of everything that can be found wrong in a file: stable, ours, each with its reason and its remedy.

PW0xx the file itself, PW1xx names and arguments, PW2xx laps and places, PW3xx the order of runs, PW4xx switches,
PW5xx figures (fuel, time, holds). A code is never used again for something else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitwall.errors import FilePath, Finding

Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True)
class Code:
    """One kind of finding."""

    code: str
    title: str
    why: str
    mend: str
    severity: Severity = "error"


_TABLE = (
    Code("PW000", "a sentence without a place",
         "Something stopped the reading of a file.",
         "Read the sentence; it says what."),
    Code("PW001", "file not found",
         "Nothing can be checked that is not there.",
         "Give a path relative to the folder you are in; inside a file, relative to that file."),
    Code("PW002", "a folder where a file belongs (or the reverse)",
         "A plan, an event, a circuit and a car are one file each.",
         "Name the file in the folder, or for 'procedures' the folder itself."),
    Code("PW003", "file cannot be read",
         "The system refused to open it.",
         "Look at the rights of the file and its folder."),
    Code("PW004", "file too large",
         "A file above 1 MiB was not written by hand and would stall the start.",
         "Check that it is the right file."),
    Code("PW005", "not UTF-8 text",
         "Other encodings turn names and signs into something else.",
         "Save it as UTF-8; spreadsheets offer this as 'CSV UTF-8' or 'Unicode UTF-8'."),
    Code("PW006", "empty file",
         "There is nothing in it besides comments.",
         "Start from one of the files in config/."),
    Code("PW007", "not YAML",
         "The text breaks the rules of YAML, so nothing after this line can be trusted.",
         "Mostly an indentation, a missing space after ':' or '-', a tab, or a text with ': ' that needs quotes."),
    Code("PW008", "key named twice",
         "The second value would silently win over the first.",
         "Delete one of the two."),
    Code("PW009", "YAML that pitwall does not take",
         "Tags, merge keys, several documents, deep nesting and aliases that unfold without end have no place in "
         "these files.",
         "Write the values out."),
    Code("PW010", "not keys and values",
         "A file starts with keys such as 'plan: 1'.",
         "Compare it with the file of that kind in config/."),
    Code("PW011", "unknown key",
         "A misspelt key would otherwise be ignored and its value lost without a word.",
         "Correct the spelling or delete the line."),
    Code("PW012", "missing key",
         "There is no default that would be right for everybody.",
         "Add the key."),
    Code("PW013", "not one of the words",
         "Only these words have a meaning here.",
         "Use one of them."),
    Code("PW014", "wrong type",
         "The value cannot be what this key stands for.",
         "Compare with the schema: pitwall schema --help."),
    Code("PW015", "out of range",
         "The figure is beyond what a car, a circuit or a session can have.",
         "Mostly a wrong unit: masses are kg, lengths m, speeds m/s, times s."),
    Code("PW016", "cannot be understood",
         "The value has a form of its own and this is not it.",
         "Follow the form in the message."),
    Code("PW017", "another kind or version of file",
         "The first key says what a file is and which version of the format it follows.",
         "Give the right file, or a version that this pitwall knows."),
    Code("PW018", "no event file",
         "A plan is checked against the circuit, the car and the procedures of its event.",
         "Give it with --event, or put event.yaml beside the plan or up to two folders above it."),
    Code("PW101", "unknown switch",
         "A call for a switch that the car does not have confuses the driver and protects no lap.",
         "Use a switch of the car file, or add it there."),
    Code("PW102", "position not allowed",
         "The switch cannot stand there, so the call could never be obeyed.",
         "Use one of its positions in the car file, or add the position there."),
    Code("PW103", "unknown procedure",
         "Without its file nobody knows what to say and when.",
         "Use a procedure of the library, or add a file for it."),
    Code("PW105", "unknown driver",
         "Switch defaults and the name on the radio come from the driver.",
         "Add the driver to the event file."),
    Code("PW106", "unknown car",
         "The plan's car decides which switches and how much fuel there is.",
         "Add the car to the event file."),
    Code("PW107", "unknown session",
         "The session decides how long the plan may be.",
         "Use a session of the regulations file."),
    Code("PW108", "unknown tyre set",
         "With 'tyre_sets' given, every set that a run uses must be one of them.",
         "Add the set to tyre_sets, or correct the label."),
    Code("PW109", "unknown run",
         "The constraint points at nothing and would be ignored.",
         "Use the name of a run of this plan."),
    Code("PW110", "procedure file and name differ",
         "People look for a procedure by its file name.",
         "Rename the file or the procedure.", "warning"),
    Code("PW111", "procedure named twice",
         "Only one of the two would be used.",
         "Rename one of them."),
    Code("PW112", "driver differs between event and plan",
         "The plan wins; the event file may be out of date.",
         "Make the two agree.", "warning"),
    Code("PW113", "after-flag procedure without a file",
         "The regulations allow it but the library does not have it.",
         "Correct the name, or add a file for it.", "warning"),
    Code("PW114", "switch default for an unknown driver",
         "The default would never apply; the name may be misspelt.",
         "Correct the name, or add the driver to the event file.", "warning"),
    Code("PW121", "argument missing",
         "The call would be spoken with a hole in it.",
         "Add it under 'with'."),
    Code("PW122", "unknown argument",
         "The procedure has no use for it, so what was meant does not happen.",
         "Correct the name; the procedure file lists its arguments."),
    Code("PW123", "argument of the wrong type",
         "The call would say nonsense.",
         "Give the type that the procedure file names."),
    Code("PW124", "argument out of range",
         "The procedure file sets these limits.",
         "Stay within them or change the procedure."),
    Code("PW131", "procedure text with an unknown blank",
         "A blank in braces is filled with an argument of that name; this one never is.",
         "Use an argument of the procedure, or {after} or {laps}."),
    Code("PW132", "procedure refers to an argument it does not have",
         "A hold, a switch or a step takes its figure from an argument.",
         "Add the argument, or write the figure itself."),
    Code("PW201", "lap that the run does not have",
         "The item would never be called.",
         "Correct the number or add the lap."),
    Code("PW202", "lap kind that the run does not have",
         "The item would never be called.",
         "Put it on a lap that the run has."),
    Code("PW203", "lap kind that the procedure forbids",
         "A slow procedure on a timed lap spoils it and endangers cars behind.",
         "Put it on one of the procedure's lap kinds."),
    Code("PW204", "unknown place",
         "Nobody could say when the car is there.",
         "Use a turn, a loop or a named place of the circuit file."),
    Code("PW205", "place missing",
         "The procedure is done at a place of the lap.",
         "Add 'after: turn N' or 'at: place'."),
    Code("PW206", "place without use",
         "The procedure is not done at a place; what is written there has no effect.",
         "Delete 'after' or 'at'.", "warning"),
    Code("PW207", "laps given in a run without laps",
         "An item block after the flag has no laps to choose from.",
         "Delete 'on', or give the run laps."),
    Code("PW208", "procedure allowed on no lap of the run",
         "With no 'on' the item goes on each lap that the procedure allows; here that is none.",
         "Choose a run that has such a lap."),
    Code("PW301", "run that refers to itself",
         "A run cannot come before itself nor repeat itself.",
         "Name another run."),
    Code("PW302", "circle of runs",
         "Each of these runs would have to come before the other.",
         "Delete one of the constraints."),
    Code("PW303", "order against the constraint",
         "The plan runs them in file order, which breaks its own 'before'.",
         "Move the run or delete the constraint."),
    Code("PW304", "group of one",
         "All-or-nothing needs a second run; the label may be misspelt.",
         "Correct the label.", "warning"),
    Code("PW305", "same_as contradicted",
         "The run is to repeat another but gives different fuel or switches itself.",
         "Delete the value or same_as.", "warning"),
    Code("PW401", "switch stays changed",
         "With put_back: false the next timed lap starts with a position that the run does not want.",
         "Leave put_back out, or put the item on the last timed lap or later.", "warning"),
    Code("PW402", "switch that only moves when the car stands",
         "The driver cannot change it on a lap.",
         "Change it in the garage, with 'switches' of the run, or on a procedure that stops."),
    Code("PW403", "two items want one switch in two positions",
         "On the same lap only one can have its way.",
         "Move one to another lap."),
    Code("PW404", "step to where the switch cannot stand",
         "Stepped from where the run has it, the switch would be at no position that it has, so nobody could obey.",
         "Use a step that leads to one of its positions."),
    Code("PW405", "step within the driver's free range",
         "The driver may move the switch that far without asking, so the comparison may compare nothing and no change "
         "is called.",
         "Take a step beyond free_range of the switch, or make free_range smaller.", "warning"),
    Code("PW501", "hold does not fit",
         "The straight after this place is too short for the hold at this speed, so there would be no steady data.",
         "Take a shorter or slower hold, or another place."),
    Code("PW502", "fuel short",
         "The car would run dry, or under its reserve, before the run is over.",
         "Fuel more or plan fewer laps."),
    Code("PW503", "plan longer than the session",
         "By likely times the runs marked here end after the flag.",
         "Mark what may be dropped as could, or shorten.", "warning"),
    Code("PW504", "release window outside the session",
         "The car could never be released in it.",
         "Give times after the green light."),
    Code("PW505", "not allowed after the flag",
         "The regulations file does not list this procedure under after_flag_items.",
         "Move the item into the session, or ask and then add it to the regulations file."),
    Code("PW506", "a must that does not fit",
         "By likely times this must ends after the flag.",
         "Move it forward, shorten what comes before, or mark other runs could.", "warning"),
    Code("PW507", "fuel unknown",
         "Neither the run nor one before it says how much fuel the car has.",
         "Give fuel_kg; without it nobody is warned of a run that is too long.", "warning"),
    Code("PW508", "hold beyond the gear",
         "In this gear the car cannot go as fast as the hold asks, so there would be no data at that speed.",
         "Take a higher gear or a slower hold; 'gears' of the car file gives the top speed of each."),
)

CODES: dict[str, Code] = {code.code: code for code in _TABLE}


def finding(
    code: str, *, found: str, expected: str | None = None, suggestion: str | None = None, path: FilePath = (),
    file: str | None = None, line: int | None = None, column: int | None = None,
) -> Finding:
    """A finding with the severity and the reason that the table has for its code."""
    entry = CODES[code]
    return Finding(code=code, severity=entry.severity, found=found, expected=expected, suggestion=suggestion,
                   path=path, file=file, line=line, column=column, why=entry.why)


def explain(code: str) -> str:
    """What a code means, why it matters and how to mend it.

    Raises:
        KeyError: when there is no such code.
    """
    entry = CODES[code]
    return f"{entry.code} ({entry.severity}): {entry.title}\nwhy:  {entry.why}\nmend: {entry.mend}"
