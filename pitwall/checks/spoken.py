"""What is said of a car's switches: no word that is misheard, no word for two switches, and figures that sound alike.

The texts of procedures are judged with their own file (``library.py``), by the same rules (``radio/soundalike.py``).
"""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.errors import Finding
from pitwall.model.car import Car
from pitwall.model.plan import Plan
from pitwall.radio.library import procedure_choices, switch_choice, switch_phrases
from pitwall.radio.soundalike import misheard


def check_switch_words(car: Car) -> Iterator[Finding]:
    """The spoken word of each switch, alone and with each of its positions; paths are those of the car file."""
    first: dict[str, str] = {}
    for index, switch in enumerate(car.switches):
        word = switch.word.strip().lower()
        other = first.setdefault(word, switch.switch)
        if other != switch.switch:
            yield finding("PW141", path=("switches", index, "word"),
                          found=f"{switch.word!r} for {switch.switch!r} and for {other!r}",
                          expected="a word of its own for each switch")
        told: set[str] = set()
        for one in misheard(switch_phrases(switch)):
            if one.fault and one.rule not in told:
                told.add(one.rule)
                yield finding("PW140", path=("switches", index, "word"), found=f"{one.text!r}: {one.why}",
                              expected=one.remedy)


def said_with_care(plan: Plan, around: Around) -> list[str]:
    """Figures of this plan's items and of the car's switches that sound alike, each with how to say it (PW142)."""
    used = dict.fromkeys(item.do for run in plan.runs for item in run.items)
    choices = [choice for name in used if name in around.procedures
               for choice in procedure_choices(around.procedures[name])]
    switches = around.car.switches if around.car is not None else ()
    choices += [choice for choice in map(switch_choice, switches) if choice is not None]
    found = misheard((), choices)
    lines = [f"{one.source}: {one.text} sound alike: {one.remedy}" for one in found]
    return [f"said with care [PW142], {len(lines)} of them:", *(f"  {line}" for line in lines)] if lines else []
