"""What the words of one remark give: one entry of each part, turns and phases; and where two remarks stand in one."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from pitwall.comments.group import Group
from pitwall.comments.grouping import AS_A_RUN, EXPECTED, groups, unknown
from pitwall.comments.kept import COUNTED, words_from
from pitwall.comments.loose import misplaced
from pitwall.comments.splitting import MARK, Piece, Slip, Word
from pitwall.comments.words import BEFORE_IT, SIGNS, Entry, by_form

__all__ = ["EXPECTED", "Reading", "read", "readings"]

ALONE = ("severity", "confidence", "trend", "amount")
"""Parts that say nothing alone: behind a comma they belong to what stands before it."""
JUDGED = ("finding", "subject", "axle", "corner", "phrase")
"""What a sign for better or worse may stand right behind; else it stands last."""
BETWEEN = ("axle", "side", "corner", "filler")
"""What may stand between a negation and what it denies: ``no rear grip``."""
LAP_OR_SEVERITY = "how bad it is before the lap, or the laps joined with 'and'"
DENIED = f"right behind it what there is not, such as no us; else '{MARK}' and free text"
AS_BEFORE = ("as before", "as last run")
NOTED = (AS_A_RUN, "only")
"""Forms that say more than is counted: the remark is kept as words beside it."""
PLACE = ("turn", "phase", "speed", "everywhere")
LISTED = ("turns", "phases", "speed", "everywhere", "axle", "side", "corner")
OF_EACH = ("severity", "confidence", "trend", "poor")
"""What stands in a list of places behind a finding: one of the first, and what is said of it there."""
SAYS = ("finding", "subject", "poor", "lack", "phrase", "trend", "amount")


@dataclass
class Reading:
    """What the words of one remark gave: the entry of each part with its word, and the turns.

    ``asides``: it also says when or on which lap, so its words are to be kept as they stand. ``kept``: it is nothing
    but words that are kept, of what the shorthand has no findings for. ``noted``: it says more than its parts, so its
    words are kept, too. ``unread``: words among them that nobody knows.
    """

    piece: Piece
    parts: dict[str, tuple[Entry, Word]] = field(default_factory=dict)
    phases: list[tuple[Entry, Word]] = field(default_factory=list)
    turns: list[int] = field(default_factory=list)
    asides: bool = False
    kept: bool = False
    noted: bool = False
    unread: list[Word] = field(default_factory=list)
    wheels: list[tuple[Entry, Word]] = field(default_factory=list)

    def take(self, entry: Entry, word: Word) -> None:
        """One more entry; each part stands once, and phases may be several."""
        if entry.part == "filler":
            return
        if entry.part == "phrase":
            for form in entry.value.split("|"):
                self.take(by_form()[form], word)
            return
        if entry.part == "phase":
            if all(entry is not one for one, _ in self.phases):
                self.phases.append((entry, word))
            return
        there = self.parts.get(entry.part)
        if there is not None and entry.part == "corner" and entry is not there[0]:
            self.wheels += [(entry, word)] if all(entry is not one for one, _ in self.wheels) else []
            return
        if there is not None and _of_kerbs(entry, word, there):
            own = there if there[0].value != "kerbs" else (entry, word)
            if own[0].value == "good":
                self.take(by_form()["ride"], word)
            elif own[0].subject != "ride":  # "kerb unsettles it", "it kicks over the kerb", "snaps on the kerb"
                steered = "subject" in self.parts and self.parts["subject"][0].value == "steering"
                own = _kerb_or_other((entry, word), there, steered=steered)
                self.noted = True
            self.parts["finding"] = own
            return
        if there is not None and entry.part == "finding" and entry.value != there[0].value:
            over = next((one for one in (word, there[1]) if one.key.startswith("over ")), None)
            if over is not None:  # "snap over the kerb": where it happens
                self.asides = True
                self.parts[entry.part] = there if over is word else (entry, word)
                return
        if there is not None and replace(there[0], forms=(), meaning="", named=False) != replace(
            entry, forms=(), meaning="", named=False
        ):
            raise Slip(word, f"one {entry.part} in a remark; a comma begins the next one",
                       f"after {there[1].text!r} a second {entry.part}, ")
        self.parts.setdefault(entry.part, (entry, word))

    @property
    def alone(self) -> bool:
        """True for what says only how bad, how sure, which way or when; and not of what."""
        bad = {"poor"} if "poor" in self.parts and self.parts["poor"][1].key.endswith("bad") else set()
        says_more = self.kept or self.turns or self.phases or not set(self.parts) <= {*ALONE, *bad}
        return not says_more and bool(self.parts or self.asides)

    @property
    def tells(self) -> bool:
        """True where a finding, or which way it goes, is said."""
        return any(part in self.parts for part in (*SAYS, "severity", "confidence") if part != "subject")

    @property
    def whole(self) -> bool:
        """True for what says of what and where it is said, and so goes on with nothing before it."""
        named = "subject" in self.parts or "corner" in self.parts
        named = named or ("axle" in self.parts and self.parts["axle"][0].subject == "tyres")
        whole_car = "everywhere" in self.parts and self.parts["everywhere"][1].key != "everything"
        placed = bool(self.turns or whole_car or "speed" in self.parts)
        return (named or placed) and bool(set(self.parts) & {*SAYS[2:5], "finding"})

    def lists(self, places: Sequence[Reading], *, alone: bool) -> bool:
        """True for a finding of which these are the places: ``us`` with ``t2 3`` and ``t4 2``; ``t4 us`` with ``mid``.

        ``alone``: nothing that it may have its own place from stands before it.
        """
        here = {name for name in ("turns", "phases") if getattr(self, name)} | set(self.parts)
        if self.kept or (self.asides and self.unread) or not {"finding", "trend"} & here or "everywhere" in here:
            return False
        if not alone and here & {"turns", "phases", "speed", "severity"}:
            return False
        for one in places:
            there = {name for name in ("turns", "phases") if getattr(one, name)} | set(one.parts)
            if one.kept or one.asides or not there & set(LISTED) or there - set(LISTED) - set(OF_EACH):
                return False
            if there & here != ({"severity"} if self.rated_as(one) else set()):
                return False
        return True

    def rated_as(self, other: Reading) -> bool:
        """True for what is just as bad: ``loose 2`` and ``t7 2``."""
        return all("severity" in one.parts for one in (self, other)) and (
            self.parts["severity"][0] is other.parts["severity"][0])

    def takes_over(self, head: Reading, mark: int) -> None:
        """Take what the head of a list says, before its mark, of each place; where this one does not say it itself."""
        bare = ("trend", "subject") if "finding" not in head.parts else ()
        for part in ("severity", "confidence", *bare):
            if part in head.parts and head.parts[part][1].at < mark:
                self.parts.setdefault(part, head.parts[part])
        if not self.phases:
            self.phases += [one for one in head.phases if one[1].at < mark]

    def is_the_place_of(self, before: Reading) -> bool:
        """True for turns alone behind a comma, where a finding in a corner phase of no turn stands before: ``entry os,
        exit us, t4``."""
        alone = bool(self.turns) and not (self.parts or self.phases or self.asides or self.kept)
        placed = before.turns or {"speed", "everywhere"} & set(before.parts)
        goes_on = self.piece.goes_on and not self.piece.contrast
        return alone and goes_on and not placed and bool(before.phases) and "finding" in before.parts

    def has_its_end_in(self, more: Reading) -> bool:
        """True for a finding of no end of the car, where only that is said behind the comma: ``lock t1, front``."""
        ends, said = {"axle", "side", "corner"}, set(more.parts)
        tyres = "axle" in more.parts and more.parts["axle"][0].subject == "tyres"
        if self.kept or more.kept or more.turns or more.phases or more.piece.contrast or tyres:
            return False
        bare = bool(said & ends) and said <= ends | {"severity", "confidence"}
        if ends & set(self.parts) == {"axle"} and said & ends == {"side"}:
            return bare and "finding" in self.parts  # "front locking, mainly left"
        return bare and "finding" in self.parts and not ends & set(self.parts)

    def waits_for(self, more: Reading) -> bool:
        """True for a beginning that is only half of a remark, of which more is the other half, behind a comma.

        ``turn 4, understeer`` and ``t2, t3 us`` begin with nothing but a place, ``maybe, us t4`` with how sure it is,
        ``understeer, t4`` with a finding of no place.
        """
        if self.kept or more.kept or self.piece.goes_on:
            return False
        if set(self.parts) == {"confidence"} and not self.turns and not self.phases and more.tells:
            return True  # "not sure, but maybe us t4"
        if more.piece.contrast and not {"severity", "trend", "amount"} & set(more.parts):
            return False
        here, there = (bool(one.turns or one.phases or "speed" in one.parts) for one in (self, more))
        told = bool(set(more.parts) & {*SAYS, "severity"})
        if not set(self.parts) & {*SAYS, "severity", "everywhere"}:
            turns_alone = bool(self.turns) and not self.phases and "speed" not in self.parts
            return not (here and there) or not told or (turns_alone and bool(more.turns or more.phases))
        found = "finding" in self.parts and not set(self.parts) & {"everywhere", "trend", "amount"}
        rated = "severity" in self.parts and "severity" in more.parts
        return found and not here and there and not rated and not set(more.parts) & set(SAYS)

    @property
    def denies(self) -> bool:
        """True for what says that something is not there."""
        return "finding" in self.parts and "trend" in self.parts and self.parts["trend"][0].value == "gone"

    def shares_the_place_of(self, more: Reading) -> bool:
        """True for a remark whose turn stands in the next one: ``us then os t4``, ``no us, no os t4``."""
        placed = self.turns or {"speed", "everywhere"} & set(self.parts)
        return not placed and bool(more.turns) and (more.piece.then or (self.denies and more.denies))

    def is_no_lap_of(self, before: Reading) -> None:
        """Raise a slip where a number behind a comma may be one more lap: ``us t4 on lap 3, 5``."""
        if before.asides and before.piece.words[-1].key.isdigit() and "severity" in self.parts and self.alone:
            raise Slip(self.parts["severity"][1], LAP_OR_SEVERITY)

    def is_no_remark(self) -> None:
        """Raise a slip where what stands behind words that are kept may be a remark: ``tc too late, os``."""
        if self.kept or "finding" not in self.parts:
            return
        if self.parts["finding"][0].subject in COUNTED or {"axle", "severity", "trend"} & set(self.parts):
            raise Slip(self.parts["finding"][1],
                       "its turn, or 'everywhere': what stands before the comma is kept as words")

    def goes_on_with(self, more: Reading) -> None:
        """Take what stands behind a comma and says nothing alone; words that are to be kept reach to its end."""
        for entry, word in (*more.parts.values(), *more.phases):
            self.take(entry, word)
        self.turns += [turn for turn in more.turns if turn not in self.turns]
        self.unread += more.unread
        self.noted = self.noted or more.noted
        if more.asides or more.noted:
            self.asides, self.piece = self.asides or more.asides, replace(self.piece, end=more.piece.end)


def readings(piece: Piece, turns: Collection[int] = ()) -> Iterator[Reading]:
    """The remarks of one piece: one, or several where they are sentences, or place and finding take turns.

    Raises:
        Slip: at the first word that is none, that stands there a second time, or that may belong to either remark.
    """
    sentences = list(_sentences(piece))
    if len(sentences) > 1:
        with suppress(Slip):
            yield from [one for sentence in sentences for one in _without_comma(sentence, turns)]
            return
    yield from _without_comma(piece, turns)


def _sentences(piece: Piece) -> Iterator[Piece]:
    """The piece cut behind each word with a stop; what begins behind one goes on as behind a comma."""
    begin = 0
    for at, word in enumerate(piece.words, 1):
        if word.text.endswith(".") or at == len(piece.words):
            end = piece.end if at == len(piece.words) else piece.words[at].at
            yield Piece(piece.words[begin:at], piece.goes_on or begin > 0, end, piece.contrast and begin == 0)
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
        yield read(piece, turns)
        return
    ends = [*(found[cut].words[0].at for cut in cuts), piece.end]
    for number, (first, last) in enumerate(itertools.pairwise([0, *cuts, len(found)])):
        words = tuple(word for group in found[first:last] for word in group.words)
        own = Piece(words, piece.goes_on or number > 0, ends[number], piece.contrast and number == 0)
        yield _taken(own, found[first:last])


def read(piece: Piece, turns: Collection[int] = ()) -> Reading:
    """Look every word of one remark up. Errors as ``readings``."""
    return _taken(piece, groups(piece, turns))


def _taken(piece: Piece, found: Iterator[Group] | Sequence[Group]) -> Reading:
    reading, last, denial = Reading(piece), "", _Denial(of_before=piece.goes_on)
    waiting: Group | None = None
    counted, sign = False, None
    met: list[Group] = []
    for group in found:
        if waiting is not None:
            raise Slip(waiting.word, f"a comma, or {_form(waiting)!r} if that is meant; {waiting.form!r} stands behind"
                                     " what it judges")
        waiting = group if group.form in SIGNS and last not in JUDGED else None
        if sign is not None and (group.part in ("finding", "subject") or (group.turns and reading.turns)):
            raise Slip(sign.word, f"a comma before the next remark, or {_form(sign)!r} if that is meant")
        sign = group if group.form in SIGNS else sign
        denial.meets(group)
        met.append(group)
        if group.form in AS_BEFORE and "amount" in reading.parts:
            continue  # "not as much us as before"
        reading.turns += [turn for turn in group.turns if turn not in reading.turns]
        if group.part == "severity" and last == "aside" and counted:
            raise Slip(group.word, LAP_OR_SEVERITY)
        counted = group.part == "aside" and group.words[-1].key.isdigit()
        if group.entry is not None:
            reading.take(group.entry, group.word)
            reading.noted = reading.noted or group.form in NOTED
        elif not group.turns:
            reading.asides = True
            reading.unread += group.words if group.unread else ()
        last = group.part
    denial.ends()
    _stand_rightly(met)
    if denial.left is not None and {"finding", "subject", "amount"} & set(reading.parts):
        raise Slip(denial.left.word, DENIED)
    return reading


def _stand_rightly(met: Sequence[Group]) -> None:
    """Raise a slip where a word that nobody knows may change what the others say, or be what a number counts."""
    word = misplaced(met)
    if word is None:
        return
    before = [group for group in met if group.words[0].at < word.at]
    raise unknown(before, word)


def _of_kerbs(entry: Entry, word: Word, there: tuple[Entry, Word]) -> bool:
    """Guard: of kerbs or bumps it is said how they are, ``kerbs fine``, ``kerbs harsh``; they are ridden over."""
    pair = ((entry, word), there)
    nouns = [said.key.split()[-1] in ("kerb", "kerbs", "curb", "curbs", "bumps") for _, said in pair]
    return entry.part == "finding" and nouns.count(True) == 1 and any(one.value == "kerbs" for one, _ in pair)


def _kerb_or_other(one: tuple[Entry, Word], other: tuple[Entry, Word], *, steered: bool) -> tuple[Entry, Word]:
    """What is found where a kerb is named beside it: the kerb, where it unsettles the car; else what happens on it."""
    kerb, found = (one, other) if one[0].value == "kerbs" else (other, one)
    of_the_kerb = found[0].value == "unstable" or (found[0].value == "kickback" and not steered)
    return kerb if of_the_kerb else found


def _form(group: Group) -> str:
    return group.entry.form if group.entry is not None else group.form


class _Denial:
    """A negation that waits for what it denies: it stands right before it, else it may be of anything."""

    def __init__(self, *, of_before: bool) -> None:
        """``of_before``: a place alone may be denied, for what stands before a comma was said of another one."""
        self.open: Group | None = None
        self.left: Group | None = None
        self.subject, self.an_end, self.of_before = False, False, of_before

    def meets(self, group: Group) -> None:
        """The next group; a slip where it cannot be what is denied."""
        if group.form in BEFORE_IT:
            self.open, self.subject, self.an_end = group, False, False
        elif self.open is None or group.part in BETWEEN:
            self.an_end = self.an_end or group.part == "axle"
        elif group.part == "turn" and self.of_before and not self.subject:
            self.open, self.left = None, self.open
        elif group.part == "subject":
            self.subject = True
        elif group.part == "finding" or self.subject:
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
    if not (twice or apart) or any(group.form in SIGNS for group in found):
        return []
    if len(runs) % 2 or len(runs) < 4:
        return None if apart and not twice else []
    return [at for _, at, _ in runs[2::2]]


def _second_turns(found: Sequence[Group]) -> Word:
    """The turns that stand behind a finding."""
    told = False
    for group in found:
        told = told or group.part in SAYS
        if told and group.turns:
            return group.word
    return found[-1].word
