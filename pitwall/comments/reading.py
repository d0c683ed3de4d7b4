"""What the words of one remark gave: one entry of each part, turns and phases; and how it goes with the one before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from pitwall.comments.denying import MENDED, ONCE
from pitwall.comments.glued import TURN
from pitwall.comments.kept import COUNTED
from pitwall.comments.sayings import AS_A_RUN
from pitwall.comments.splitting import Piece, Slip, Word
from pitwall.comments.words import Entry, by_form
from pitwall.model.comments import CONTENT

ALONE = ("severity", "confidence", "trend", "amount")
"""Parts that say nothing alone: behind a comma they belong to what stands before it."""
LAP_OR_SEVERITY = "how bad it is before the lap, or the laps joined with 'and'"
NOTED = (AS_A_RUN, "only", "worst", "worst in", "worst at", "softs", "hards", "inters", "slicks")
"""Forms that say more than is counted: the remark is kept as words beside it."""
SHIFTS = ("shift", "shifts", "upshift", "upshifts", "downshift", "downshifts", "gearshift", "gearshifts")
WHILE_SHIFTING = ("locking", "unstable", "oversteer", "snap", "wheelspin")
"""What a car does while gears are changed."""
LISTED = ("turns", "phases", "speed", "everywhere", "axle", "side", "corner")
OF_EACH = ("severity", "confidence", "trend", "poor")
"""What stands in a list of places behind a finding: one of the first, and what is said of it there."""
SAYS = ("finding", "subject", "poor", "lack", "phrase", "trend", "amount")


@dataclass
class Reading:
    """What the words of one remark gave: the entry of each part with its word, and the turns.

    ``asides``: it also says when or on which lap, so its words are to be kept as they stand. ``kept``: it is nothing
    but words that are kept, of what the shorthand has no findings for. ``noted``: it says more than its parts, so its
    words are kept, too. ``unread``: words among them that nobody knows. ``left_out``: it names where what
    stands before it is not. ``way``: this bare place is driven into (entry) or out of (exit). ``speeds``: speed classes
    beside the first one, ``slow and medium``. ``ends_placed``: behind its first turn nothing is said but when or on
    which lap. ``denying``: what it finds is that something is not there, ``no grip``.
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
    left_out: bool = False
    speeds: list[Entry] = field(default_factory=list)
    way: str = ""
    ends_placed: bool = True
    denying: bool = False

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
            self._ride_kerbs((entry, word), there)
            return
        if there is not None and self._while_shifting((entry, word), there):
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

    def _ride_kerbs(self, one: tuple[Entry, Word], there: tuple[Entry, Word]) -> None:
        """Take what is said of a kerb, or what happens on it."""
        own = there if there[0].value != "kerbs" else one
        if own[0].value == "good":
            self.take(by_form()["ride"], one[1])
        elif own[0].subject != "ride":  # "kerb unsettles it", "it kicks over the kerb", "snaps on the kerb"
            steered = "subject" in self.parts and self.parts["subject"][0].value == "steering"
            own = _kerb_or_other(one, there, steered=steered)
            self.noted = True
        self.parts["finding"] = own

    def _while_shifting(self, one: tuple[Entry, Word], there: tuple[Entry, Word]) -> bool:
        """Take what happens while gears are changed: ``downshift locking rears``; the change is no finding then."""
        shifts = [said for said in (one, there) if said[1].key in SHIFTS]
        other = [said for said in (one, there) if said[0].value in WHILE_SHIFTING]
        if one[0].part != "finding" or len(shifts) != 1 or len(other) != 1:
            return False
        self.parts["finding"], self.noted = other[0], True
        return True

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
        if self.kept or not {"finding", "trend"} & here or "everywhere" in here:
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
        """True for turns behind a comma, alone or with how bad it is there, where a finding in a corner phase of no
        turn stands before: ``entry os, exit us, t4``."""
        speed = "speed" in self.parts and set(self.parts) <= {"speed", "everywhere"}
        alone = (bool(self.turns) and set(self.parts) <= set(OF_EACH[:3])) or (speed and not self.turns)
        alone = alone and not (self.phases or self.kept)
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

    def is_left_out_of(self, found: Sequence[Reading]) -> bool:
        """True for a bare place behind "but" or "except", where what stands before that is said of all corners, or of
        those of a speed: ``us everywhere except t7``. Whatever is there, that is not."""
        if not found or not (self.turns or "speed" in self.parts or self.phases) or set(self.parts) - {"speed"}:
            return False
        head = found[-1]
        barred = self.piece.exception or (self.piece.contrast and "everywhere" in head.parts)
        wide = ("everywhere" in head.parts and head.parts["everywhere"][0].value == "all") or "speed" in head.parts
        plain = {"finding"} <= set(head.parts) and not {"trend", "amount", "poor", "lack", "subject"} & set(head.parts)
        complains = plain and head.parts["finding"][0].value not in (*CONTENT, "good")
        return barred and wide and complains and not head.turns and not self.asides and not self.kept

    def has_its_phase_in(self, more: Reading) -> bool:
        """True for a finding in a turn and in no phase, where only a phase is said behind the comma: ``us t4, mid``."""
        another = more.piece.contrast or more.piece.then or more.turns
        if self.kept or more.kept or more.asides or another:
            return False
        bare = bool(more.phases) and set(more.parts) <= {"severity", "confidence"} - set(self.parts)
        return bare and bool(self.turns) and not self.phases and "finding" in self.parts and not self.denies

    def waits_for(self, more: Reading) -> bool:
        """True for a beginning that is only half of a remark, of which more is the other half, behind a comma.

        ``turn 4, understeer`` and ``t2, t3 us`` begin with nothing but a place, ``maybe, us t4`` with how sure it is,
        ``understeer, t4`` with a finding of no place.
        """
        if self.kept or more.kept or (self.piece.goes_on and not self.piece.sentence):
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

    @property
    def denies_before(self) -> bool:
        """True for what says only that something is gone."""
        return "trend" in self.parts and self.parts["trend"][0].value == "gone"

    def shares_the_place_of(self, more: Reading) -> bool:
        """True for a remark whose place stands in the next one: ``us then os t4``, ``no us, no os t4``, and last in it
        where both name a corner phase: ``entry us, exit os t4``."""
        placed = self.turns or {"speed", "everywhere", "subject"} & set(self.parts)
        if placed or not (more.turns or "speed" in more.parts):
            return False
        last = len(more.turns) == 1 and more.ends_placed
        phases = last and bool(self.phases and more.phases) and {"finding"} <= set(self.parts) & set(more.parts)
        phases = phases or (self._is_another_phase_than(more) and (last or more.ends_with_its_places))
        instead = self.denies and self.parts["trend"][1].key in ("not", "isn't") and "finding" in more.parts
        found = more.parts["finding"][1].at if "finding" in more.parts else more.piece.words[0].at
        sooner = [word for word in more.piece.words if word.at < found]
        behind = not any(TURN.fullmatch(word.plain) or word.key in ("turn", "turns") for word in sooner)
        then = more.piece.then and behind and self._is_of_the_corner_of(more) and not self.denies
        return then or (self.denies and (more.denies or more.denying)) or phases or instead

    def may_be_of_the_turn_of(self, more: Reading) -> Word | None:
        """The turn behind what happens in the last corner phase, where something is judged behind it: ``entry us, exit
        os t4 3``. It may be of this phase, too; None where it is in no doubt."""
        if self.turns or {"speed", "everywhere", "subject"} & set(self.parts) or not more.turns or more.ends_placed:
            return None
        if not self._is_another_phase_than(more) or "finding" not in more.parts:
            return None
        named = [word for word in more.piece.words if TURN.fullmatch(word.plain) or word.key in ("turn", "turns")]
        return named[0] if named and named[0].at > more.parts["finding"][1].at else None

    def _is_another_phase_than(self, more: Reading) -> bool:
        """True where another phase is spoken of here than there; the way into a turn is of that turn alone."""
        says, own = {"finding", "trend", "amount"}, {entry.value for entry, _ in self.phases}
        named = all(not TURN.fullmatch(word.plain) and not word.key.isdecimal()
                    and by_form().get(word.key, entry).part == "phase" for entry, word in (*self.phases, *more.phases))
        told = bool(own and more.phases and says & set(self.parts) and says & set(more.parts))
        return told and named and not own & {entry.value for entry, _ in more.phases}

    @property
    def ends_with_its_places(self) -> bool:
        """True where several turns or a class of corners is named, and nothing behind: ``exit os t4 and t5``."""
        if not self.turns:
            speed = self.parts["speed"][1]
            return all(word.at <= speed.at for _, word in (*self.parts.values(), *self.phases))
        return self.ends_placed

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

    def _is_of_the_corner_of(self, more: Reading) -> bool:
        """Guard: what is found here is found in a corner, and not of a tyre, the engine or the brakes as such; a ride
        is of a corner where the other one's is, and praise where it is of a phase."""
        if "finding" not in self.parts:
            return False
        own = self.parts["finding"][0]
        if own.value in ("good", *CONTENT):
            return bool(self.phases)
        ride = "finding" in more.parts and more.parts["finding"][0].subject == own.subject == "ride"
        return ride or own.subject in ("balance", "traction", "grip") or own.value in ("locking", "unstable")

    def takes_the_speeds_of(self, other: Reading) -> None:
        """Be of the classes of corners that the other one names."""
        self.parts |= {part: said for part, said in other.parts.items() if part == "speed"}
        self.speeds += other.speeds

    def goes_on_with(self, more: Reading) -> None:
        """Take what stands behind a comma and says nothing alone; words that are to be kept reach to its end."""
        if self.denying and more.denies_before and more.parts["trend"][1].key not in MENDED:
            raise Slip(more.parts["trend"][1], ONCE)  # "no grip t4, gone"
        worn = "finding" in self.parts and self.parts["finding"][0].subject == "tyres"
        if worn and self.asides and more.asides and more.denies_before:  # "rears graining from lap 4, gone by lap 9"
            raise Slip(more.parts["trend"][1], "what is gone by then, such as us gone or tyres gone")
        if more.unread and "confidence" in more.parts:  # "us 2, maybe the line": sure of what
            raise Slip(more.unread[0], "how sure he is of what stands before the comma; what it may come from is"
                                       " free text behind ':'")
        for entry, word in (*more.parts.values(), *more.phases):
            self.take(entry, word)
        self.turns += [turn for turn in more.turns if turn not in self.turns]
        self.noted = self.noted or more.noted
        self.keeps_the_words_of(more)

    def keeps_the_words_of(self, more: Reading) -> None:
        """Reach to the end of what stands behind a comma, where it tells when or on which lap."""
        self.unread += more.unread
        if more.asides or more.noted:
            self.asides, self.piece = self.asides or more.asides, replace(self.piece, end=more.piece.end)


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
