"""What the words of one remark mean: the finding and its subject, what is carried over, and a remark for each place."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pitwall.comments.denying import ANY_MORE, ONCE
from pitwall.comments.doubtful import is_of_its_thing
from pitwall.comments.finding import OPPOSITES, is_scarce, of, subject_and_finding
from pitwall.comments.forms import KINDS_OF_CORNERS
from pitwall.comments.glued import TURN
from pitwall.comments.grouping import EXPECTED
from pitwall.comments.pairing import OF_MANY
from pitwall.comments.reading import Reading
from pitwall.comments.splitting import MARK, Slip, Word
from pitwall.comments.words import COMING, MORE_IS_GOOD, NUMBERS, POOR, Entry, by_form
from pitwall.model.comments import CONTENT, FINDINGS, Remark

OF_A_PLACE = ("balance", "traction")
"""What happens in a corner: named behind a comma without a place, it is of the place before the comma."""
HAPPENS = (("braking", "locking"), ("braking", "unstable"), ("grip", "low"))
"""Likewise, of subjects that are else of the whole car: ``t1 fl lock, fr lock``."""
OF_TURNS = ("ride", "traction", "braking", "steering", "grip")
"""What may be well in one turn and not in another; where a turn is praised behind it, it is praised for that."""
BAD = "3"
"""How bad is "bad", beside a finding: it costs time."""
TWO_WAYS = ("+", "-")
"""Signs that some write for better and worse, and others for more and less."""
THINGS = ("braking", "engine", "steering")
"""Subjects whose findings are called by words that are also said of tyres."""
OWN = ("axle", "side", "speed", "confidence")
SAYS = ("finding", "subject", "poor", "lack", "trend", "amount")
"""Parts of which a remark that carries nothing over needs one."""


@dataclass(frozen=True)
class Meaning:
    """The remarks of one piece, and what the next one may carry over from it."""

    remarks: tuple[Remark, ...]
    turns: tuple[int, ...]
    phases: tuple[str, ...]
    finding: dict[str, Any]
    trend: str | None = None
    said: Mapping[str, Any] = field(default_factory=dict)
    speeds: tuple[str, ...] = ()
    listing: bool = False
    """Its last word is its turn, so turns alone behind a comma are more of the same: ``entry us t4, t5``."""

    exception: bool = False
    """It is the exception to what stands before it."""

    denying: bool = False
    """What it finds is that something is not there: ``no grip``."""

    @property
    def complains(self) -> bool:
        """True where something is found that is there and should not be."""
        return any(one.complaint for one in self.remarks)


def meaning_of(reading: Reading, before: Meaning | None) -> Meaning:
    """The remarks that these words are.

    Args:
        reading: the words of one remark.
        before: what stands before the comma; None where nothing is carried over.

    Raises:
        Slip: at the word that does not fit.
    """
    parts = reading.parts
    _is_of_the_same_thing(reading, before)
    finding = _found(reading, before)
    is_of_its_thing(reading, before.finding if before is not None else {}, finding)
    _goes_one_way(reading, finding)
    _is_no_praise_of_a_complaint(reading, before, finding)
    _is_no_place_without_it(reading, before)
    own: dict[str, Any] = {name: parts[name][0].value for name in OWN if name in parts}
    if finding["what"] == "rough_shift" and _of_the_shift(reading):
        del own["speed"]  # gears, not corners
    wheels = [_wheel(one, own) for one in ((parts["corner"], *reading.wheels) if "corner" in parts else ())]
    own |= _severity(parts, finding)
    turns, phases = _places(reading, before, finding, own)
    common = finding | own
    more = [entry.value for entry in reading.speeds] if "speed" in parts else before.speeds[1:] if before else ()
    speeds = [{"speed": value} for value in more if "speed" in own]
    remarks = tuple(
        Remark.model_validate({"turn": turn, "phase": phase, **common, **speed, **wheel})
        for turn in turns or (None,)
        for speed in ({}, *speeds)
        for phase in phases or (None,)
        for wheel in wheels or ({},)
    )
    one_wheel = wheels[0] if len(wheels) == 1 else {}
    carried = {name: value for name, value in (common | one_wheel).items() if name in ("about", "what", "axle", "side")}
    if finding["trend"] == "gone":
        carried["trend"] = "gone"  # "no us t4, t7": neither there
    last = reading.piece.words[-1]
    listing = bool(TURN.fullmatch(last.plain)) and "trend" not in carried and not reading.piece.contrast
    said = _said_before(own, parts, reading)
    classes = (own["speed"], *more) if "speed" in own else ()
    if before is not None and set(parts) == {"speed"} and not turns and not phases:
        classes = tuple(dict.fromkeys((*before.speeds, *classes)))  # "us slow, medium and fast, exit"
    return Meaning(remarks, turns, phases, carried, finding["trend"], said, classes, listing, reading.piece.exception,
                   reading.denying)


def _places(
    reading: Reading, before: Meaning | None, finding: Mapping[str, Any], own: dict[str, Any]
) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Turns and corner phases, its own or those before the comma; ``own`` gets what else is of that place."""
    parts = reading.parts
    turns, phases = tuple(reading.turns), tuple(entry.value for entry, _ in reading.phases)
    if not turns and before is not None and "everywhere" not in parts and "speed" not in parts:
        if phases:
            turns = before.turns
            own |= {"speed": before.speeds[0]} if before.speeds and not turns else {}
        elif _is_another_end(reading, finding):
            turns, phases = before.turns, before.phases
        elif ("finding" in parts or finding["what"] == "wheelspin") and _is_of_the_place(reading, finding):
            turns, phases = before.turns, before.phases
            if finding["about"] == "braking" and set(phases) - {"entry"}:
                phases = ()  # "t4 exit us, front lock": in that turn, where it is braked for
            if finding["about"] == "traction" and "entry" in phases:
                phases = ()  # "t4 entry us, wheelspin": likewise, where there is power
    if reading.left_out and before is not None:
        phases = phases or before.phases
    way = _way(reading, before, finding) if before is not None and not phases else ""
    listed = before is not None and before.listing and reading.turns and not parts and not phases
    phases = (way,) if way else phases
    if before is not None and listed:
        phases = phases or before.phases
        own |= {name: value for name, value in before.said.items() if value is not None}
    return turns, phases


def _way(reading: Reading, before: Meaning, finding: Mapping[str, Any]) -> str:
    """The corner phase of a bare place behind a comma that is driven into or out of: ``us out of t4, into t5``.

    Raises:
        Slip: where what stands before the comma is of another phase, and of no corner as such.
    """
    if not reading.way or finding["about"] in ("balance", "grip"):
        return reading.way
    if before.phases and before.phases != (reading.way,):
        raise Slip(reading.piece.words[-1], "also what the car does there: us, os, snap, lock, spin, better, worse")
    return ""


def _goes_one_way(reading: Reading, finding: Mapping[str, Any]) -> None:
    """Raise a slip at a plus or minus of what is not wanted: ``us +`` is better to one, and more to another."""
    word = reading.parts["trend"][1] if "trend" in reading.parts else None
    if word is not None and word.plain in TWO_WAYS and finding["what"] not in (None, *CONTENT, "good"):
        raise Slip(word, "'better' or 'worse'", f"{word.plain!r} may be either of what is not wanted, ")


def _is_another_end(reading: Reading, finding: Mapping[str, Any]) -> bool:
    """Guard: only which end is said behind the comma, of what happens in a corner: ``t1 lock fl 2, fr 3``."""
    happens = finding["about"] in OF_A_PLACE or (finding["about"], finding["what"]) in HAPPENS
    ends = bool({"corner", "axle", "side"} & set(reading.parts))
    return ends and happens and set(reading.parts) <= {"corner", "axle", "side", "severity", "confidence"}


def _is_of_the_place(reading: Reading, finding: Mapping[str, Any]) -> bool:
    """Guard: this happens in a corner, or is the exception to what is said of one: ``t4 fine except on kerbs``."""
    if reading.piece.exception:
        return finding["about"] in (*OF_A_PLACE, *OF_TURNS)
    within = finding["about"] in OF_A_PLACE or (finding["about"], finding["what"]) in HAPPENS
    return within and ("subject" not in reading.parts or finding["what"] == "wheelspin")


def _said_before(own: Mapping[str, Any], parts: Mapping[str, Any], reading: Reading) -> dict[str, Any]:
    """How bad it is, where that stands before the turns: ``us 2 t3, t9`` is said of both."""
    severity = own.get("severity")
    if severity is None or ("severity" in parts and parts["severity"][1].at > reading.piece.words[-1].at):
        return {}
    return {"severity": severity}


def _is_no_praise_of_a_complaint(reading: Reading, before: Meaning | None, finding: Mapping[str, Any]) -> None:
    """Raise a slip where the very place is praised of whose balance was complained: ``t4 us, ok`` may be either."""
    if before is None or reading.piece.then or finding["what"] != "neutral":
        return
    if set(reading.parts) - {"finding", "confidence"}:
        return
    complained = before.finding.get("about") == "balance" and before.finding.get("what") not in (None, *CONTENT)
    gone = before.finding.get("trend") == "gone"
    if complained and not gone and not reading.turns and not reading.phases and before.turns:
        raise Slip(reading.parts["finding"][1], "where, or of what, that is said: t7 ok, exit ok, brakes ok")


def _is_no_place_without_it(reading: Reading, before: Meaning | None) -> None:
    """Raise a slip at ``us except on kerbs``: it is not there, and not that the kerbs are taken badly."""
    if before is None or not reading.piece.exception or "finding" not in reading.parts:
        return
    entry, word = reading.parts["finding"]
    if entry.value == "kerbs" and reading.piece.words[0].key in ("on", "over") and before.complains:
        raise Slip(word, "also what the car does there: it may be another thing, or nothing")


def _wheel(corner: tuple[Entry, Word], own: Mapping[str, Any]) -> dict[str, str]:
    """Axle and side of a wheel."""
    found = dict(zip(("axle", "side"), corner[0].value.split(), strict=True))
    for name, value in found.items():
        if own.get(name, value) != value:
            raise Slip(corner[1], f"one {name} in a remark; a comma begins the next one")
    return found


def becomes_no_other(reading: Reading, before: Meaning | None, now: Meaning) -> None:
    """Raise a slip where one finding becomes its opposite at the very same place: ``t4 os -> us`` leaves open where in
    the corner, and would contradict itself."""
    if before is None or not reading.piece.then or reading.asides or "finding" not in reading.parts:
        return
    for one, other in itertools.product(before.remarks, now.remarks):
        same = (one.turn, one.phase, one.speed, one.axle) == (other.turn, other.phase, other.speed, other.axle)
        trends = (one.trend, other.trend)  # "less us and more os" leaves nothing open
        if same and None in trends and {one.what, other.what} in OPPOSITES and "gone" not in trends:
            raise Slip(reading.parts["finding"][1], "in which part of the corner each is, such as entry os -> mid us",
                       "both at one place, ")


def _severity(parts: Mapping[str, tuple[Entry, Word]], finding: Mapping[str, Any]) -> dict[str, str]:
    """How bad it is, as far as it is said; nothing where it is not."""
    if "severity" not in parts:
        named = "finding" in parts and finding["trend"] is None
        return {"severity": BAD} if named and _is_bad(parts) else {}
    entry, word = parts["severity"]
    if is_scarce(parts):
        return {}
    if finding["trend"] == "gone":
        raise Slip(word, "how bad it is, or that it is gone, not both")
    how_much = finding["what"] is None and not word.key[:1].isdecimal()  # "grip up a lot"
    return {} if how_much else {"severity": entry.value}


def _is_bad(parts: Mapping[str, tuple[Entry, Word]]) -> bool:
    """Guard: "bad" stands beside what has a name already, so it says how bad; kerbs that are bad are the finding."""
    finding = parts["finding"][0].value
    return "poor" in parts and parts["poor"][1].key == "bad" and finding not in ("kerbs", "weak", *CONTENT, "good")


def _of_the_shift(reading: Reading) -> bool:
    """Guard: "slow" stands behind the shift, and not before corners: ``gearshift into third gear slow``."""
    word = reading.parts["speed"][1] if "speed" in reading.parts and "finding" in reading.parts else None
    if word is None or word.key != "slow" or word.at < reading.parts["finding"][1].at:
        return False
    ahead = next((one.key for one in reading.piece.words if one.at > word.at), "")
    behind = [one.key for one in reading.piece.words if one.at < word.at][-1]
    return ahead not in KINDS_OF_CORNERS and behind not in ("in", "at", "through", "the")


def _is_of_the_same_thing(reading: Reading, before: Meaning | None) -> None:
    """Let a word of every day be of the brakes or the engine before the comma, ``brakes long, hot``; and what is bad
    there of what is good elsewhere: ``traction good t2, bad t9``."""
    parts = reading.parts
    bare = "poor" in parts and not {"subject", "finding"} & set(parts) and parts["poor"][1].key in ("bad", "poor")
    if before is not None and bare and before.finding["about"] in POOR and before.finding.get("what") in ("good", None):
        parts["subject"] = (by_form()[before.finding["about"]], parts["poor"][1])
    if before is None or "finding" not in parts or {"subject", "corner"} & set(parts):
        return
    about, (entry, word) = before.finding["about"], parts["finding"]
    if about not in THINGS or ("axle" in parts and parts["axle"][0].subject == "tyres"):
        return
    fits = entry.value in FINDINGS[about] or (about, entry.value) == ("braking", "soft")
    if fits and entry.value != "good" and (entry.named or (entry.value in OF_MANY and " " not in word.key)):
        parts["subject"] = (by_form()[about], word)


def _found(reading: Reading, before: Meaning | None) -> dict[str, Any]:
    """Subject, finding and trend, with what is carried over from before the comma."""
    finding = _gone_there(reading, before) or _finding(reading)
    if not finding:
        return _carried(reading, before)
    if before is not None and _praises_another_end(reading, before):
        return _praise(before, finding)
    parts = reading.parts
    if before is not None and finding["what"] is None and "subject" not in parts and "trend" in parts:
        word = parts["trend"][1]
        if "axle" in parts and parts["axle"][0].subject == "tyres" and before.finding["about"] == "balance":
            return {**finding, "about": "tyres"}  # "us t4, fronts better"
        if "everywhere" in parts and parts["everywhere"][0].value == "rest":
            return finding  # "more os t9, rest same"
        if word.key in ("same", "similar") and (reading.turns or reading.phases) and before.finding.get("what"):
            raise Slip(word, "what is there, such as us, if it is as before the comma; or 'same as before'",
                       "it may be the same as there or as before, ")
        return _still(before) | {"trend": finding["trend"]}
    return finding


def _carried(reading: Reading, before: Meaning | None) -> dict[str, Any]:
    """The finding before the comma; not that it is gone behind a "but", for there it may be meant the other way, nor
    anything in a bare place behind one: ``us everywhere but t4`` says that it is not there."""
    if reading.left_out and before is not None:
        return {**before.finding, "trend": "gone"}
    if reading.piece.contrast and not {"severity", "trend", "amount"} & set(reading.parts):
        raise Slip(reading.piece.words[-1],
                   "also what the car does there: behind 'but' it may be another thing, or nothing (such as: no us t7)")
    listed = before is not None and before.listing and bool(reading.turns) and not reading.parts and not reading.phases
    if listed and before is not None and before.finding.get("what") is None and before.trend is not None:
        return {**before.finding, "what": None, "trend": before.trend}
    if before is None or before.finding.get("what") is None or (reading.piece.contrast and "trend" in before.finding):
        if reading.unread and not (reading.turns or reading.phases or reading.parts):
            raise Slip(reading.unread[0], f"{EXPECTED}, or '{MARK}' before free text")
        last = (reading.unread or reading.piece.words)[-1]
        if before is None and last.key.isdecimal() and set(reading.parts) == {"severity"} and not reading.turns:
            raise Slip(last, f"a turn such as t{last.key}, if that is one, and what the car does there")
        rated = reading.parts.get("severity")
        if set(reading.parts) == {"severity"} and rated is not None and not rated[1].key[:1].isdecimal() and (
                rated[1].key not in NUMBERS):
            raise Slip(rated[1], f"what is so there: us, os, snap, lock, spin; or '{MARK}' before free text")
        raise Slip(Word(last.text, last.at), "also what the car does there: us, os, snap, lock, spin, better, worse")
    return {"trend": None, **before.finding}


def _praises_another_end(reading: Reading, before: Meaning) -> bool:
    """Guard: ``rear ok``, or ``ok`` alone, and not of what: ``brakes cold, then ok``; or another turn, where that
    before is of a turn and no balance: ``kerbs t2 harsh, t6 fine``."""
    parts = reading.parts
    bare = bool(reading.turns) and set(parts) <= {"finding", "confidence"}
    if before.turns and before.finding["about"] in OF_TURNS and bare and not before.exception:
        return parts["finding"][0].value == "good" and parts["finding"][1].key != "stable"
    ends = "axle" in parts or "corner" in parts or not (reading.turns or set(parts) - {"finding", "confidence"})
    return ends and "subject" not in parts and "finding" in parts and parts["finding"][0].value == "good"


def _praise(before: Meaning, finding: dict[str, Any]) -> dict[str, Any]:
    """Praise of what stands before the comma: ``fl hot, fr ok`` is of tyres."""
    about = before.finding["about"]
    return finding if about == "balance" else {**finding, "about": about, "what": "good"}


def _gone_there(reading: Reading, before: Meaning | None) -> dict[str, Any]:
    """The finding before the comma, where only that it is gone is said of another place: ``us t4, t7 gone``."""
    parts = reading.parts
    tyres = "axle" in parts and parts["axle"][0].subject == "tyres"
    if before is None or "trend" not in parts or parts["trend"][0].value != "gone" or tyres or "corner" in parts:
        return {}
    if before.denying and parts["trend"][1].key in ("gone", "none", *ANY_MORE):
        raise Slip(parts["trend"][1], ONCE)  # "no grip t4, none t7"
    if set(parts) & {*SAYS[:4], "amount"} or before.finding.get("what") in (None, *CONTENT):
        return {}
    if "axle" in parts and parts["trend"][1].key in ("gone", "all gone"):
        end = parts["axle"][0].value
        raise Slip(parts["trend"][1], f"what is gone there, such as {end} us gone or {end} grip gone")
    return {**before.finding, "trend": "gone"}


def _still(before: Meaning) -> dict[str, Any]:
    """The finding before the comma, for a remark that says only which way it goes; of praise the subject alone."""
    what = before.finding.get("what")
    return {**before.finding, "what": None if what in CONTENT else what}


def _finding(reading: Reading) -> dict[str, Any]:
    """Subject, finding and trend as far as this remark names them; nothing where it names none."""
    parts = reading.parts
    if not any(name in parts for name in SAYS):
        return {}
    about, what = subject_and_finding(reading)
    trend = _trend(parts, about, what)
    if what is None and trend is None:
        entry, word = parts["subject"]
        raise Slip(word, f"what there is of {entry.value}: {of(entry.value)}", "only the subject, ")
    return {"about": about, "what": what, "trend": trend}


def _trend(parts: Mapping[str, tuple[Entry, Word]], about: str, what: str | None) -> str | None:
    trend = parts["trend"][0].value if "trend" in parts else None
    if trend == "gone" and "finding" not in parts:
        return None  # "tyres gone", "no rear grip": that is the finding
    if trend is not None and parts["trend"][1].key.startswith(COMING) and what not in (None, *CONTENT):
        raise Slip(parts["trend"][1], "better or worse: what is coming may be either")
    if "amount" not in parts:
        return trend
    entry, word = parts["amount"]
    if trend == "same" and parts["trend"][1].key.startswith("still"):
        trend = None  # "still some os t6 but a lot less"
    if trend is not None:
        raise Slip(word, f"{entry.value!r} or {trend!r}, not both")
    wanted = what in CONTENT or (what is None and about in MORE_IS_GOOD)
    if what is None and not wanted:
        raise Slip(word, f"of what there is {entry.value}, such as {entry.value} us")
    return "better" if (entry.value == "more") == wanted else "worse"
