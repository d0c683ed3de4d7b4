"""Everything that the procedure library and the switches of a car can make the engineer say, as phrases to be checked.

Blanks are filled with what an item may give: each value of a short list, the default, both ends of a range, a stand-in
for a place or a word. What the rules of the engine say by themselves is theirs to hand in.
"""

from __future__ import annotations

import itertools
import string
from collections.abc import Iterable, Iterator, Mapping

from pitwall.errors import UserError
from pitwall.model.car import Switch
from pitwall.model.plan import Scalar
from pitwall.model.procedure import Argument, Procedure
from pitwall.radio.soundalike import Choice, Misheard, Phrase, misheard
from pitwall.radio.wording import fill, switch_words

A_PLACE, A_WORD = "turn four", "balance"
PLACE_BLANKS = ("after", "at", "place")
MOST_FILLINGS = 64  # of one text; more say nothing new about its wording


def library_misheard(
    procedures: Iterable[Procedure], switches: Iterable[Switch], phrases: Iterable[Phrase] = ()
) -> tuple[Misheard, ...]:
    """The wording check over a whole library.

    Args:
        procedures: the procedure files.
        switches: the switches of all cars.
        phrases: what is said besides, such as the texts of the engine's rules.
    """
    known, wheel = list(procedures), list(switches)
    texts = [phrase for procedure in known for phrase in procedure_phrases(procedure)]
    texts += [phrase for switch in wheel for phrase in switch_phrases(switch)]
    choices = [choice for procedure in known for choice in procedure_choices(procedure)]
    return misheard([*texts, *phrases], [*choices, *filter(None, map(switch_choice, wheel))])


def procedure_phrases(procedure: Procedure) -> Iterator[Phrase]:
    """Each step in full and in short, filled in. A text that cannot be filled is for other checks to tell."""
    for number, step in enumerate(procedure.steps, start=1):
        for key in ("say", "say_measured", "say_begun", "short"):
            template = getattr(step, key)
            if template is None:
                continue
            for values in _fillings(procedure, template):
                try:
                    text = fill(template, values)
                except UserError:
                    break
                place = A_PLACE if step.where == "place" and procedure.place == "needed" else None
                yield Phrase(f"procedure {procedure.name}, step {number}, {key}", text, step.kind, place)


def _fillings(procedure: Procedure, template: str) -> Iterator[Mapping[str, Scalar]]:
    try:
        used = {name for _, name, _, _ in string.Formatter().parse(template) if name}
    except ValueError:
        return
    named = {name: _values(argument) for name, argument in procedure.arguments.items() if name in used}
    for values in itertools.islice(itertools.product(*named.values()), MOST_FILLINGS):
        yield {**dict.fromkeys(PLACE_BLANKS, A_PLACE), **dict(zip(named, values, strict=True))}


def _values(argument: Argument) -> tuple[Scalar, ...]:
    if argument.one_of:
        return argument.one_of
    if argument.type in ("number", "whole"):
        whole = argument.type == "whole"
        ends = [end for end in (argument.low, argument.high) if end is not None] or [2.0]
        values: list[Scalar] = [int(end) if whole else end for end in ends]
        return tuple(values) if argument.default is None else (argument.default, *values)
    return (A_WORD if argument.default is None else argument.default,)


def procedure_choices(procedure: Procedure) -> Iterator[Choice]:
    """The figures among which an item chooses for a blank that is spoken."""
    spoken = " ".join(step.say for step in procedure.steps)
    for name, argument in procedure.arguments.items():
        if f"{{{name}}}" not in spoken:
            continue
        figures = [value for value in argument.one_of if isinstance(value, int | float)]
        if not figures and argument.type == "whole" and argument.low is not None and argument.high is not None:
            figures = list(range(int(argument.low), int(argument.high) + 1))
        if figures:
            yield Choice(f"procedure {procedure.name}, {name}", tuple(map(float, figures)))


def switch_phrases(switch: Switch) -> Iterator[Phrase]:
    """Every change of a switch: to each position without knowing where it stands, and from each neighbour."""
    positions = switch_positions(switch)
    for index, position in enumerate(positions):
        for believed in (None, *positions[max(0, index - 2) : index], *positions[index + 1 : index + 3]):
            said = switch_words(switch, position, believed)
            for key, text in zip(("text", "short"), said, strict=True):
                yield Phrase(f"switch {switch.switch}, {key}", text, "switch")


def switch_positions(switch: Switch) -> tuple[Scalar, ...]:
    """All positions of a switch, those of a bias in its steps."""
    if switch.positions:
        return tuple(switch.positions)
    if switch.low is None or switch.high is None or not switch.step:
        return ()
    count = round((switch.high - switch.low) / switch.step)
    return tuple(round(switch.low + number * switch.step, 6) for number in range(count + 1))


def switch_choice(switch: Switch) -> Choice | None:
    """The figures among which a change of this switch chooses; None for a switch whose positions are words."""
    figures = tuple(float(one) for one in switch_positions(switch) if isinstance(one, int | float))
    return Choice(f"switch {switch.switch}", figures) if figures else None
