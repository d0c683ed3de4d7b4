"""The readings of a whole comment: which of them are one remark that a comma has parted, and which are words."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from pitwall.comments.kept import may_be_a_remark
from pitwall.comments.reading import OF_EACH, Reading
from pitwall.comments.splitting import Piece, Slip, pieces
from pitwall.comments.taking import readings

MOST_PARTS = 120
"""What commas and semicolons may part in one comment: each part is set against those before it, and a line that a page
sends must not keep the daemon busy. The longest comment of the studies has four."""


@dataclass(frozen=True)
class Listing:
    """A list of places behind a finding, ``us exit: t5 3, t6``: the place of its mark in the comment, and its end."""

    mark: int
    end: int


def all_readings(text: str, turns: Collection[int], lists: Collection[Listing] = ()) -> list[Reading]:
    """A reading for each remark; how bad, how sure and when may stand behind a comma of their own.

    What stands before the mark of a list is said of each place in it that does not say otherwise.

    Raises:
        Slip: at the first word that is wrong.
    """
    found: list[Reading] = []
    for count, piece in enumerate(pieces(text), 1):
        if count > MOST_PARTS:
            raise Slip(piece.words[0], f"at most {MOST_PARTS} parts; the others in a comment of their own")
        for reading in _of_piece(piece, found[-1] if found else None, turns):
            if piece.exception and not reading.tells and not reading.is_left_out_of(found):
                raise Slip(piece.words[-1], "also what the car does there: it may be another thing, or nothing")
            reading.left_out = reading.is_left_out_of(found)
            if found and found[-1].kept and reading.piece.goes_on and not reading.whole:
                reading.is_no_remark()
                found[-1].piece = replace(found[-1].piece, end=reading.piece.end)  # still of what was said before
            elif found and found[-1].kept:
                found.append(replace(reading, piece=replace(reading.piece, goes_on=False)))
            elif (without := _without_place(found, reading)):
                for one in without:
                    one.turns += reading.turns
                    one.takes_the_speeds_of(reading)
                found[-1].keeps_the_words_of(reading)
            elif found and reading.piece.goes_on and _belongs(found[-1], reading):
                reading.is_no_lap_of(found[-1])
                found[-1].goes_on_with(reading)
            else:
                _says_how_it_goes_there(found, reading)
                found.append(reading)
    _share_their_turns(found)
    _take_over(found, lists)
    return found


def _says_how_it_goes_there(found: Sequence[Reading], place: Reading) -> None:
    """Raise a slip at a bare place behind a comma, where what stands before it says which way it goes: that is carried
    over to no other place, ``more us, t4 and t7``, ``less us t4, t7``. What is gone at a place is gone at the next."""
    before = found[-1] if found else None
    if before is None or before.kept or not place.piece.goes_on or place.piece.contrast or place.asides:
        return
    somewhere = bool(before.turns or before.phases or {"speed", "everywhere"} & set(before.parts))
    still = "trend" in before.parts and before.parts["trend"][0].value == "same"
    goes = {"trend", "amount"} & set(before.parts) and not still and not (somewhere and before.denies)
    bare = bool(place.turns or place.phases or "speed" in place.parts) and set(place.parts) <= {"speed"}
    if goes and bare and "finding" in before.parts:
        raise Slip(place.piece.words[0], "all places that it is said of together, such as more us t4/7; or also what"
                                         " the car does there")


def _share_their_turns(found: list[Reading]) -> None:
    """Give each remark that names no place the one behind it, where that is of both; the last ones first.

    Raises:
        Slip: at a turn that may be of the remark before its own, too.
    """
    for at in range(len(found) - 2, -1, -1):
        one, more = found[at], found[at + 1]
        begin = next((back for back in range(at, -1, -1) if not found[back].piece.goes_on), 0)
        carries = any(earlier.turns or "speed" in earlier.parts for earlier in found[begin:at])
        if more.piece.goes_on and not one.kept and not carries and one.shares_the_place_of(more):
            _is_the_whole_place(more, found[at + 2 :])
            one.turns += more.turns
            one.takes_the_speeds_of(more)
        elif more.piece.goes_on and not one.kept and not carries and (word := one.may_be_of_the_turn_of(more)):
            raise Slip(word, "the turn first, if each phase is of it, or last of all; else a semicolon before the phase"
                             " that it is of")


def _take_over(found: list[Reading], lists: Collection[Listing]) -> None:
    """Say of each place of a list what its head says."""
    for listing in lists:
        heads = [one for one in found if one.piece.words[0].at < listing.mark]
        for one in found if heads else ():
            if listing.mark < one.piece.words[0].at < listing.end:
                one.takes_over(heads[-1], listing.mark)


def _is_the_whole_place(more: Reading, behind: Sequence[Reading]) -> None:
    """Raise a slip at the last turn of ``entry us, exit os t4, t5``: one of both may be said of it, or both."""
    last = behind[0] if behind else more
    if last is more or not (more.turns and last.turns and last.piece.goes_on):
        return
    if not (last.parts or last.phases or last.kept):
        places = "/".join(map(str, (*more.turns, *last.turns)))
        raise Slip(last.piece.words[0], f"t{places}, if both are said of each; else a semicolon before it, and"
                                             " what is there")


def _without_place(found: list[Reading], place: Reading) -> list[Reading]:
    """The remarks before a turn that stands alone behind a comma, which name corner phases, where none names a turn."""
    first = next((at for at in range(len(found) - 1, -1, -1) if not found[at].piece.goes_on), 0)
    own = [one for one in found[first:] if place.is_the_place_of(one)]
    if not found or own != found[first:]:
        return []
    if set(place.parts) & set(OF_EACH):
        raise Slip(place.piece.words[0], "the turn alone, if the phase before it is of it, and how that is beside the"
                                         " finding; or also what the car does there")  # "entry us, exit os, t4 3"
    return own


def _belongs(before: Reading, reading: Reading) -> bool:
    own = before.waits_for(reading) or before.has_its_end_in(reading) or before.has_its_phase_in(reading)
    return reading.alone or own


def _of_piece(piece: Piece, before: Reading | None, turns: Collection[int]) -> Iterator[Reading]:
    """The readings of one piece; behind words that are kept a comma goes on with them, where no remark begins."""
    try:
        yield from list(readings(piece, turns))
    except Slip as slip:
        if before is None or not before.kept or not piece.goes_on or slip.nearest or may_be_a_remark(piece):
            raise
        yield Reading(piece, kept=True)
