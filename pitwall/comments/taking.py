"""The remarks of one piece of a comment: its words taken one by one, and where two remarks stand in one."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace

from pitwall.comments.contradicting import PLACE, goes_with_its_turn, says_of_which_place
from pitwall.comments.denying import (
    ANOTHER,
    TWICE,
    denied_before,
    denies_itself,
    is_judged_alike,
    is_of_no_thing,
    is_there_now,
)
from pitwall.comments.forms import KINDS_OF_CORNERS
from pitwall.comments.group import Group
from pitwall.comments.grouping import groups, unknown
from pitwall.comments.kept import words_from
from pitwall.comments.loose import first_unknown, misplaced
from pitwall.comments.pairing import tried
from pitwall.comments.reading import LAP_OR_SEVERITY, NOTED, SAYS, Reading
from pitwall.comments.splitting import MARK, Piece, Slip, Word
from pitwall.comments.ways import go_in_or_out
from pitwall.comments.words import BEFORE_IT, SIGNS, Entry

JUDGED = ("finding", "subject", "axle", "corner", "phrase")
"""What a sign for better or worse may stand right behind; else it stands last."""
BETWEEN = ("axle", "side", "corner", "filler")
"""What may stand between a negation and what it denies: ``no rear grip``."""
DENIED = f"right behind it what there is not, such as no us; else '{MARK}' and free text"
AS_BEFORE = ("as before", "as last run")
NONE_LEFT = "the side before what there is not, such as no left lock; or nothing, where none of it is left"
_ON_A_SIDE = (*KINDS_OF_CORNERS, "turn", "side", "wheel", "wheels", "only", "just")
"""Words behind "left" beside which it may be a side."""
NARROWED = ("only", "just", "main", "biggest", "mostly", "both", "also", "especially", "particularly", "worst",
            "limiting factor", "whole", "all the way", "all through", "throughout", "briefly")
"""So begin fillers before which a negation denies not the finding, but that it is all: ``not only us``."""
NOT_ALL = f"what there is, such as us; that it is not all goes behind '{MARK}'"
LEADING = ("in", "on", "at", "of", "into", "out of", "from", "with", "and", "&", "for", "through", "to", "about")
"""Fillers that more should follow."""
SHORTENED = ("sev", "conf", "ent", "ex", "approx", "ca", "corr", "temp", "temps", "bal", "trac", "eng", "tyr")
"""Words behind which a stop ends no sentence: ``us t3 sev. 2``."""
MOST_OF_A_REMARK = 60
"""Words between two commas that are read: each is set against all others, and a line that a page sends must not keep
the daemon busy. The longest remark of the studies has 16."""


def readings(piece: Piece, turns: Collection[int] = ()) -> Iterator[Reading]:
    """The remarks of one piece: one, or several where they are sentences, or place and finding take turns.

    Raises:
        Slip: at the first word that is none, that stands there a second time, that may belong to either remark, or that
            is too many.
    """
    if len(piece.words) > MOST_OF_A_REMARK:
        raise Slip(piece.words[MOST_OF_A_REMARK],
                   f"at most {MOST_OF_A_REMARK} words in one remark: a comma before the next one, or '{MARK}' before"
                   " free text")

    def read_one(own: Piece) -> list[Reading]:
        return list(_without_comma(own, turns))

    sentences = list(_sentences(piece))
    if len(sentences) > 1:
        with suppress(Slip):
            yield from [one for sentence in sentences for one in tried(sentence, read_one)]
            return
    yield from tried(piece, read_one)


def _sentences(piece: Piece) -> Iterator[Piece]:
    """The piece cut behind each word with a stop; what begins behind one goes on as behind a comma."""
    begin = 0
    for at, word in enumerate(piece.words, 1):
        stop = word.text.endswith(".") and word.key not in SHORTENED
        if stop or at == len(piece.words):
            end = piece.end if at == len(piece.words) else piece.words[at].at
            own = piece.words[begin:at]
            yield Piece(own, piece.goes_on or begin > 0, end, piece.contrast and begin == 0, sentence=begin > 0)
            begin = at


def _without_comma(piece: Piece, turns: Collection[int]) -> Iterator[Reading]:
    """The remarks of one sentence: several where a place and what happens there take turns; and words that are kept."""
    begin = words_from(piece, turns)
    if begin == 0:
        yield Reading(piece, kept=True)
        return
    own = piece if begin is None else replace(piece, words=piece.words[:begin])
    for reading in _taking_turns(own, turns):
        last = reading.piece.end == piece.end
        yield replace(reading, asides=reading.asides or (last and begin is not None))


def _taking_turns(piece: Piece, turns: Collection[int]) -> Iterator[Reading]:
    found: list[Group] = []
    try:
        found += groups(piece, turns)
        cuts = _cuts(found)
        if cuts is None:
            raise Slip(_second_turns(found), "a comma before the next remark, where it begins", "two places, ")
    except Slip:
        yield read(piece, turns)  # a word before that one may be wrong
        raise
    if not cuts:
        whole = read(piece, turns)
        says_of_which_place(found)
        goes_with_its_turn(found)
        yield whole
        return
    ends = [*(found[cut].words[0].at for cut in cuts), piece.end]
    for number, (first, last) in enumerate(itertools.pairwise([0, *cuts, len(found)])):
        words = tuple(word for group in found[first:last] for word in group.words)
        own = Piece(words, piece.goes_on or number > 0, ends[number], piece.contrast and number == 0)
        reading = _taken(own, found[first:last])
        says_of_which_place(found[first:last])
        goes_with_its_turn(found[first:last])
        yield reading


def read(piece: Piece, turns: Collection[int] = ()) -> Reading:
    """Look every word of one remark up. Errors as ``readings``."""
    return _taken(piece, groups(piece, turns))


def _taken(piece: Piece, found: Iterator[Group] | Sequence[Group]) -> Reading:
    met: list[Group] = []
    try:
        return _collected(piece, found, met)
    except Slip:
        strange = first_unknown(met)
        if strange is not None:
            raise unknown([group for group in met if group.words[0].at < strange.at], strange) from None
        raise


def _collected(piece: Piece, found: Iterator[Group] | Sequence[Group], met: list[Group]) -> Reading:
    reading, last, denial = Reading(piece), "", _Denial(of_before=piece.goes_on)
    waiting: Group | None = None
    counted, sign, left = False, None, None
    for group in found:
        if left is not None and (group.form in _ON_A_SIDE or group.part in ("axle", "corner", "side", "subject")):
            raise Slip(left.word, NONE_LEFT)
        if waiting is not None:
            raise Slip(waiting.word, f"a comma, or {_form(waiting)!r} if that is meant; {waiting.form!r} stands behind"
                                     " what it judges")
        waiting = group if group.form in SIGNS and last not in JUDGED else None
        if sign is not None and (group.part in ("finding", "subject") or (group.turns and reading.turns)):
            raise Slip(sign.word, f"a comma before the next remark, or {_form(sign)!r} if that is meant")
        sign = group if group.form in SIGNS else sign
        left = group if _none_is_left(met, group) else None
        if left is not None:
            continue
        denial.meets(group)
        met.append(group)
        if group.form in AS_BEFORE and "amount" in reading.parts:
            continue  # "not as much us as before"
        reading.turns += [turn for turn in group.turns if turn not in reading.turns]
        if group.part == "severity" and last == "aside" and counted:
            raise Slip(group.word, LAP_OR_SEVERITY)
        counted = group.part == "aside" and group.words[-1].key.isdigit()
        if group.entry is not None and _is_one_more_speed(met):
            reading.speeds.append(group.entry)
        elif group.entry is not None:
            reading.take(group.entry, group.word)
            reading.noted = reading.noted or group.form in NOTED
        elif not group.turns:
            reading.asides = True
            reading.unread += group.words if group.unread else ()
        last = group.part
    denial.ends()
    _is_denied_once(met, reading)
    _ends_rightly(met, reading)
    go_in_or_out(reading, met)
    _stand_rightly(met)
    if denial.left is not None and {"finding", "subject", "amount"} & set(reading.parts):
        raise Slip(denial.left.word, DENIED)
    return reading


def _is_denied_once(met: Sequence[Group], reading: Reading) -> None:
    """Look that what is denied, or judged, is one thing, and once; and where its turns stand."""
    is_judged_alike(met)
    is_of_no_thing(met)
    if is_there_now(met):
        del reading.parts["trend"]
    reading.denying = any(map(denies_itself, met))
    first = next((at for at, group in enumerate(met) if group.turns), len(met))
    reading.ends_placed = all(group.turns or group.part in ("filler", "aside") for group in met[first:])


def _none_is_left(met: Sequence[Group], group: Group) -> bool:
    """Guard: "left" is no side, but tells that there is no more: ``no grip left``, ``no os left``.

    Raises:
        Slip: where it may be either: ``no lock left t1``, ``no grip left rear``, ``no us t4 left``.
    """
    said = next((one for one in reversed(met) if one.part not in PLACE), None)
    if not group.form.startswith("left") or group.part not in ("side", "corner") or said is None or said.entry is None:
        return False
    none = said.part == "phrase" or (said.part == "lack" and any(one.part == "subject" for one in met))
    if none and said.form.startswith(("no ", "not ")):
        raise Slip(group.word, NONE_LEFT)  # "no front bite left", "grip not much left"
    if said.part not in ("finding", "subject") or not denied_before(met):
        return False
    about = said.entry.value if said.part == "subject" else said.entry.subject
    own = ("grip", "traction") if said.part == "subject" else ("balance", "traction", "grip")
    if group.form != "left" or said is not met[-1] or (about not in own and said.part == "finding"):
        raise Slip(group.word, NONE_LEFT)
    return about in own


def _is_one_more_speed(met: Sequence[Group]) -> bool:
    """Guard: the last of these is one more class of corners, joined to the one before it: ``slow and medium``."""
    own = [group for group in met[-4:] if group.form not in ("in", "the")][-3:]
    if len(own) < 3 or own[1].form not in ("and", "&"):
        return False
    return own[0].part == own[2].part == "speed" and own[0].entry is not own[2].entry


def _ends_rightly(met: Sequence[Group], reading: Reading) -> None:
    """Raise a slip at a last word that more should follow, and at a comparison of nothing."""
    before = met[-2] if len(met) > 1 else None
    lap_on = before is not None and before.part == "aside" and met[-1].form == "on"  # "graining lap 5 on"
    turns_in = before is not None and before.words[-1].key.startswith("turn")  # "lazy to turn in"
    if before is not None and met[-1].form in LEADING and met[-1].part == "filler" and not (lap_on or turns_in):
        raise Slip(met[-1].word, "what follows it, such as a turn; or nothing")
    for group in met:
        if group.form.startswith("than ") and not {"trend", "amount"} & set(reading.parts):
            raise Slip(group.word, "better or worse before it, such as worse than before")
        if group.words[0].key == "than" and "trend" in reading.parts and reading.parts["trend"][0].value == "gone":
            raise Slip(group.word, "'same', or 'less us than before', for it may be there as before; or gone alone")


def _stand_rightly(met: Sequence[Group]) -> None:
    """Raise a slip where a word that nobody knows may change what the others say, or be what a number counts."""
    word = misplaced(met)
    if word is None:
        return
    before = [group for group in met if group.words[0].at < word.at]
    raise unknown(before, word)


def _form(group: Group) -> str:
    return group.entry.form if group.entry is not None else group.form


class _Denial:
    """A negation that waits for what it denies: it stands right before it, else it may be of anything."""

    def __init__(self, *, of_before: bool) -> None:
        """``of_before``: a place alone may be denied, for what stands before a comma was said of another one."""
        self.open: Group | None = None
        self.left: Group | None = None
        self.last = ""
        self.found: list[Entry] = []
        self.subject, self.an_end, self.of_before = False, False, of_before

    def meets(self, group: Group) -> None:
        """The next group; a slip where it cannot be what is denied."""
        if (self.open is not None or self.last == "no longer") and group.form.startswith(NARROWED):
            raise Slip(self.open.word if self.open is not None else group.word, NOT_ALL)
        if self.last in ("no longer", "no more") and group.form in BEFORE_IT:
            raise Slip(group.word, TWICE)
        self.last = group.form
        said_before = group.entry in self.found
        self.found += [group.entry] if group.part == "finding" and group.entry is not None else []
        if group.form in BEFORE_IT and self.open is not None:
            raise Slip(group.word, TWICE)
        if group.form in BEFORE_IT:
            self.open, self.subject, self.an_end = group, False, False
        elif self.open is None or group.part in BETWEEN:
            self.an_end = self.an_end or group.part == "axle"
        elif group.part in ("turn", "phase", "speed") and self.of_before and not self.subject:
            self.open, self.left = None, self.open
        elif group.part == "subject":
            self.subject = True
        elif group.part == "finding" or self.subject:
            if denies_itself(group):
                raise Slip(group.word, TWICE)
            if said_before:
                raise Slip(self.open.word, ANOTHER)
            self.open = None
        else:
            self.ends()

    def ends(self) -> None:
        """Guard: nothing is denied any more without saying what."""
        if self.open is not None and self.an_end and self.open.form == "no" and not self.subject:
            self.open, self.left = None, self.open  # "no rear"
        if self.open is not None and not self.subject:
            raise Slip(self.open.word, DENIED)


# -- several remarks without a comma ----------------------------------------------------------------------------------


def _cuts(found: Sequence[Group]) -> list[int] | None:
    """At which groups the second and later remarks begin; none where it is one remark, None where that is in doubt.

    ``t4 us t5 os`` and ``us t4 os t5``: place and finding take turns, evenly, so only one reading is possible. How bad
    and how sure go with what they stand behind.
    """
    runs: list[tuple[str, int, list[Group]]] = []
    for at, group in enumerate(found):
        kind = "place" if group.part in PLACE else "" if group.part in ("filler", "aside") else "says"
        if kind and (not runs or runs[-1][0] != kind):
            runs.append((kind, at, []))
        if kind:
            runs[-1][2].append(group)
    places = [run for kind, _, run in runs if kind == "place"]
    says = [run for kind, _, run in runs if kind == "says"]
    telling = [run for run in says if any(group.part in SAYS for group in run)]
    twice = any(len({group.entry for run in own for group in run if group.part == part}) > 1
                for own, part in ((says, "finding"), (says, "trend"), (places, "speed"), (says, "severity")))
    apart = sum(any(group.turns for group in run) for run in places) > 1 and len(telling) > 1
    if not apart and _on_a_kerb([group for run in says for group in run if group.part == "finding"]):
        return []
    if not (twice or apart) or any(group.form in SIGNS for group in found):
        return []
    if _ends_with_its_turns(runs, says, telling):
        return [at for _, at, _ in runs[2:-1:2]]
    if len(runs) % 2 or len(runs) < 4:
        return None if apart and not twice else []
    if runs[0][0] == "says" and any(_looks_back(run) for run in says[1:]):
        return None
    if any(run not in telling and not any(group.turns for group in places[at]) for at, run in enumerate(says)):
        return None  # "t9 snaps exit 3 slow os": how bad it is there
    judged = says[-1] not in telling or (runs[0][0] == "place" and all(group.turns for group in places[-1])
                                         and all(group.part not in _NAMES for group in says[-1]))
    if judged and not any(group.turns for run in places[:-1] for group in run):
        return None  # "entry us exit os t4 3", "... worse": the turn of both, and how bad either is, or how it goes
    return [at for _, at, _ in runs[2::2]]


def _ends_with_its_turns(runs: Sequence[tuple[str, int, list[Group]]], says: Sequence[list[Group]],
                         telling: Sequence[list[Group]]) -> bool:
    """Guard: corner phases, each with what happens there, and last of all the turn: ``entry us mid ok exit os t4``."""
    if len(runs) < 5 or len(runs) % 2 == 0 or runs[0][0] != "place" or says != telling:
        return False
    *phases, turns = [run for kind, _, run in runs if kind == "place"]
    named = [group.entry for run in phases for group in run if group.part == "phase"]
    own = all(len(run) == 1 and run[0].part == "phase" for run in phases) and len(set(named)) == len(named)
    return own and all(group.turns for group in turns) and all(run[0].part == "finding" for run in says)


_NAMES = ("finding", "subject", "phrase", "poor", "lack")
"""Parts of which one says what there is."""


def _looks_back(run: Sequence[Group]) -> bool:
    """Guard: how bad or how sure stands first, behind a place: it may be said of what stands before that, or behind:
    ``us t4 3 os t6``."""
    return run[0].part in ("severity", "confidence") and any(group.part == "finding" for group in run)


def _on_a_kerb(found: Sequence[Group]) -> bool:
    """Guard: a kerb and how it is, whatever stands between them: ``t6 kerb exit harsh``."""
    entries = [group.entry for group in found if group.entry is not None]
    kerbs = [entry.value == "kerbs" for entry in entries]
    return len(entries) == 2 and kerbs.count(True) == 1 and all(entry.subject in ("ride", "") for entry in entries)


def _second_turns(found: Sequence[Group]) -> Word:
    """The turns that stand behind a finding."""
    told = False
    for group in found:
        told = told or group.part in SAYS
        if told and group.turns:
            return group.word
    return found[-1].word
