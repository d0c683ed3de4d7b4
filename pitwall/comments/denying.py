"""Words that deny: once is enough, whether the word stands before what it denies, behind it, or within it.

``no grip`` and ``won't turn`` deny themselves, so "any more" behind one says that it is there now, and another negation
is asked about. What is said twice in one remark is judged once for both, so that is asked about, too. Common practice,
no source.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pitwall.comments.entries import Entry
from pitwall.comments.group import Group
from pitwall.comments.splitting import MARK, Slip
from pitwall.comments.words import BEFORE_IT, SCARCE, by_form
from pitwall.model.comments import CONTENT

TWICE = f"one negation, such as no us; that it is there all the same goes behind '{MARK}'"
ANY_MORE = ("any more", "anymore")
MENDED = ("eliminated", "resolved", "cured", "fixed", "solved")
"""What is so is a fault, however it is called."""
ANOTHER = "a comma before the next remark, where it begins: that may be said of what stands before it, or behind"
ONCE = f"nothing, if it is there; else what it is that there is no more, such as us gone; or '{MARK}' before free text"
OF_WHOM = ("the end of the car alone, if that is meant; else what this does, in a remark of its own, such as brakes"
           f" grab; or '{MARK}' before free text")
OF_A_SIDE = ("the end of the car alone, and where it is, such as can't trust the rear t4; else what the wheel does,"
             " such as rl locks")
ASKED = f"no us any more, if it is gone, and '?' behind it, if that is not sure; a question goes behind '{MARK}'"
_DENIED = ("no", "not", "zero", "cannot", "wont")
_HARDLY = ("hard", "struggles", "struggling", "lack", "lacks", "reluctant", "resists", "limited")
"""So begin forms that say as much without a negation."""
_TOLD = ("finding", "phrase")
_JUDGED = ("trend", "amount", "severity", "confidence")
_PLACE = ("phase", "speed", "everywhere", "axle", "side", "corner")
_ENDS = ("rear", "end", "front")


def denies_itself(group: Group) -> bool:
    """Guard: this finding is that something is not there, or is not done: ``no grip``, ``front doesn't bite``."""
    if group.entry is None or group.part not in _TOLD or group.entry.value in (*CONTENT, "good"):
        return False
    return denies(group.form)


def denies(form: str) -> bool:
    """Guard: a negation stands within this form."""
    return any(word in _DENIED or word.endswith("n't") for word in form.split())


def is_there_now(met: Sequence[Group]) -> bool:
    """Guard: what cannot be done any more is there, and not gone: ``can't turn anymore``.

    Raises:
        Slip: where it is denied twice, or where nothing but "any more" denies what is hard to do.
    """
    told = next((group for group in met if denies_itself(group)), None)
    gone = by_form()["gone"]
    denied = [group for group in met if group.entry is gone and group.form not in MENDED]
    if told is None:
        hard = any(group.part in _TOLD and group.form.split()[0] in _HARDLY for group in met)
        if hard and denied and all(group.form in ANY_MORE for group in denied):
            raise Slip(denied[0].word, ONCE)
        asked = any(group.part == "confidence" and group.form == "?" for group in met)
        if asked and denied and not denied_before(met) and all(group.form in ANY_MORE for group in denied):
            raise Slip(denied[0].word, ASKED)
        return False
    for group in denied:
        if group.form not in ANY_MORE or group.word.at < told.word.at:
            raise Slip(group.word, ONCE)
    return bool(denied)


def is_judged_alike(met: Sequence[Group]) -> None:
    """Raise a slip where one thing is said of two places, and only one is denied, or rated: ``t4 no us exit us``."""
    many, judged = Counter[Entry](), Counter[str]()
    again: Group | None = None
    elsewhere = True
    for group in met:
        for entry in _says(group):
            judged[entry.part] += entry.part in _JUDGED
            if entry.part == "finding" and elsewhere:
                many[entry] += 1
                again = group if again is None and many[entry] > 1 else again
                elsewhere = False
        elsewhere = elsewhere or bool(group.turns) or group.part in _PLACE
    if again is not None and any(0 < count < max(many.values()) for count in judged.values()):
        raise Slip(again.word, ANOTHER)


def _says(group: Group) -> list[Entry]:
    """What it is read as: of a phrase the forms that it stands for."""
    if group.entry is None:
        return []
    return [by_form()[form] for form in group.entry.value.split("|")] if group.part == "phrase" else [group.entry]


def is_of_no_thing(met: Sequence[Group]) -> None:
    """Raise a slip at a thing, or a side, where an end of the car is what is not trusted: ``can't trust the rear
    brakes``; ``the rear left`` may be a wheel, and what the rear does in turns to the left."""
    if not any(speaks_of_an_end(group) for group in met):
        return
    for at, group in enumerate(met):
        on_it = at > 0 and met[at - 1].form == "on"  # "on brakes"
        if group.part == "subject" and group.form != "braking" and not on_it:
            raise Slip(group.word, OF_WHOM)
        if group.part == "side":
            raise Slip(group.word, OF_A_SIDE)


def speaks_of_an_end(group: Group) -> bool:
    """Guard: the last of these words is an end of the car, and what stands behind may be a part of it."""
    return group.part == "phrase" and group.form.split()[-1] in _ENDS


def denied_before(met: Sequence[Group]) -> bool:
    """Guard: something is denied here, or there is next to none of it."""
    return any(one.part == "lack" or one.form in (*BEFORE_IT, *SCARCE) or one.form.startswith(("no ", "not ", "zero "))
               for one in met)
