"""A typed comment taken apart: lines, remarks, words with their places, and the free text after the mark."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from pitwall.comments.reasons import ANEW, MARK, ON, parts_of, place_in_the_reason
from pitwall.comments.words import by_form

__all__ = ["ANEW", "MARK", "ON", "Piece", "Slip", "Word", "as_typed", "free_text", "listed", "pieces"]

BUT = ("but", "although", "though", "whereas")
"""Words between remarks that are as good as a comma."""
INTO = ("into", "turns", "turning", "goes", "going", "changes", "changing")
"""The same before a finding of balance: ``us turning to os on exit``."""
CORNERS = ("fl", "fr", "rl", "rr")
CLOCK_MARK = "\u2236"
"""What stands for the mark in a time of day or of a lap."""
BULLETS = ("-", "*", "\u2013", "\u2022")
"""What a line of notes may begin with."""
EXCEPT = ("except", "apart", "aside")
"""The same; what the car does stands behind them: ``good except us t4``. A bare place there is asked about."""
THEN = ("then", "plus", ">", "->", "/", "becoming", "becomes")
"""Words and signs that go on as a comma does, with the same place: ``us then os t4`` is turn 4 twice."""
_A_PLACE = re.compile(r"t?\d{1,2}|t\d\S*|turn|entry|mid|exit|apex|slow|medium|fast|[hml]s", re.ASCII)
"""A stroke with spaces around it goes on only where a place stands behind it: ``us / os t4`` may be either."""
_NUMBER_OR_AND = re.compile(r"\d{1,2}|and|&", re.ASCII)
_WORD = re.compile(r"(?<=[a-zA-Z])->(?=[a-zA-Z])|(?:(?!(?<=[a-zA-Z])->[a-zA-Z])[^\s,;|?()\[\]@\"\u201c\u201d])+|[?@]")
_PIECE = re.compile(r"[^,;|]*")
_LIST = re.compile(r"(?:(?<=turns )|(?<=corners )|(?<=\bin )|(?<=\bat )|(?<=\binto )|(?<=out of )|(?<=through )"
                   r"|(?<=\bt)|(?<=turn ))\d{1,2}(?: ?, ?\d{1,2}| (?:[6-9]|[12]\d))+(?: ?,? ?(?:and|&) ?\d{1,2})(?!\w)",
                   re.IGNORECASE | re.ASCII)  # fmt: skip
_IN_AND_OUT = re.compile(r"(?<=\w )(in)(?: ?(?:,|;|->|>|/)| and| then| but| &)+ ((?:[\w']+ ){1,4}?)(out|off)"
                         r"(?= ?(?:$|[,;.:|)\n])| (?:(?:at|in|of) )?(?:t\d|turns? \d))", re.IGNORECASE)  # fmt: skip
_RANGE = re.compile(r"(?<=\d)(?:->|\.\.\.?)(?=[tT]?\d)")
WAS = {"was": "is", "were": "are", "had": "has"}
_SET_AGAINST = (r"now|but|before|earlier|previous(?:ly)?|last|yesterday|used|gone|better|worse|same|than|as|like|still"
                r"|no|not|\w+n't|dont|doesnt|didnt|isnt|wasnt|cant|wont|more|less|again|any ?more|today|until|since"
                r"|first|then|new|old|fixed|cured|initially|run|this")
_REPORT = re.compile(rf"(?!.*\b(?:{_SET_AGAINST})\b).*", re.IGNORECASE | re.DOTALL)
"""A line in which nothing says that what was is no more, or is set against what was."""


@dataclass(frozen=True)
class Word:
    """One word as it was typed, and where it begins (characters from the beginning of the comment, from 0).

    ``meant`` is what it is read as, where that is another word: a number that was spelt out. How it is read is worked
    out once: each way to read a remark asks it of each of its words, some hundred times in all.
    """

    text: str
    at: int
    meant: str = ""

    @cached_property
    def plain(self) -> str:
        """As it is read: without stops behind it, with one kind of dash, of range and of apostrophe; ``@`` is "at", and
        what is asked of a number behind that is asked here too."""
        bare = self.meant or ("at" if self.text == "@" else self.text.rstrip(".!")) or self.text
        bare = _RANGE.sub("-", bare)
        return bare.replace("\u2013", "-").replace("\u2014", "-").replace("\u2019", "'")

    @cached_property
    def key(self) -> str:
        """How the table of words has it: lower case, a space for each hyphen inside."""
        bare = self.plain.lower()
        return bare if len(bare) < 2 else bare[0] + bare[1:].replace("-", " ").replace("_", " ").rstrip()


@dataclass(frozen=True)
class Piece:
    """The words of one remark. ``goes_on``: it stands behind a comma, and may leave out what was said before it;
    ``contrast``: behind a "but", where it says itself what there is;
    ``exception``: that is an "except"; ``then``: of the same place as what it goes on
    from; ``sentence``: it stands behind a stop."""

    words: tuple[Word, ...]
    goes_on: bool
    end: int
    contrast: bool = False
    exception: bool = False
    then: bool = False
    sentence: bool = False


class Slip(Exception):
    """A word that cannot stand where it stands."""

    def __init__(self, word: Word, expected: str, found: str = "", nearest: str = "") -> None:
        self.word, self.expected, self.found, self.nearest = word, expected, found, nearest
        super().__init__(expected)


def pieces(text: str) -> Iterator[Piece]:
    """The remarks of a comment, those without words left out."""
    for start, line in _lines(listed(text)):
        for part in parts_of(line):
            at, goes_on = part.begin, part.goes_on
            meant = _in_and_out(line)
            while at <= part.end:
                match = _PIECE.match(line, at, part.end)
                assert match is not None  # it matches nothing, too
                words = tuple(Word(found.group(), start + found.start(), meant.get(found.start(), ""))
                              for found in _WORD.finditer(line, at, match.end()) if found.group().strip(".!()"))
                words = _reported(words) if _REPORT.fullmatch(line, 0, part.end) else words
                if at == 0 and len(words) > 1 and words[0].text in BULLETS:
                    words = words[1:]
                if match.end() == part.end and words and line[part.end : part.end + 1] not in ("", MARK):
                    named = place_in_the_reason(line, part)
                    words += tuple(Word(word, start + where, meant) for word, where, meant in named)
                ends = not line[match.end() :].strip()
                yield from _contrasts(words, goes_on, start + match.end(), last_of_it=ends)
                goes_on = line[match.end() : match.end() + 1] == ON
                at = match.end() + 1


def _in_and_out(line: str) -> dict[int, str]:
    """Where "in" and "out" stand for entry and exit, each behind what happens there: ``us in, os out t7``."""
    found: dict[int, str] = {}
    for match in _IN_AND_OUT.finditer(line):
        verb = f"{match.group(2).split()[-1]} {match.group(3)}".lower()
        if verb not in by_form():
            found |= {match.start(1): "entry", match.start(3): "exit"}
    return found


def _reported(words: tuple[Word, ...]) -> tuple[Word, ...]:
    """What was, in a line that sets it against nothing, is how the driver tells what is: ``rear was loose in t6``."""
    return tuple(
        Word(word.text, word.at, WAS[word.key]) if at and word.key in WAS and not _number(words, at + 1) else word
        for at, word in enumerate(words)
    )


def _number(words: tuple[Word, ...], at: int) -> bool:
    return at < len(words) and words[at].key[:1].isdecimal()


def _contrasts(words: tuple[Word, ...], goes_on: bool, end: int, *, last_of_it: bool) -> Iterator[Piece]:
    """The piece, or what stands before and behind each "but" and "then" of it; with ``last_of_it`` nothing follows,
    so a last one is a word like others, which cannot stand there."""
    most = len(words) - 1 if last_of_it else len(words)
    cuts = [at for at, word in enumerate(words[:most]) if word.key in (*BUT, *EXCEPT) or _goes_on(words, at)]
    for first, last in zip([-1, *cuts], [*cuts, len(words)], strict=True):
        own = words[first + 1 : last]
        if last < len(words) and len(own) > 1 and own[-1].key in ("and", "&"):
            own = own[:-1]  # "and then"
        if first >= 0 and words[first].key in EXCEPT and own and own[0].key in ("from", "for"):
            own = own[1:]
        if first >= 0 and words[first].key in EXCEPT and all(_NUMBER_OR_AND.fullmatch(word.key) for word in own):
            own = tuple(Word(word.text, word.at, f"t{word.key}" if word.key.isdecimal() else "") for word in own)
        if own:
            ends = end if last == len(words) else words[last].at
            barred = first >= 0 and words[first].key in EXCEPT
            but = first >= 0 and words[first].key in (*BUT, *EXCEPT)
            then = first >= 0 and words[first].key in (*THEN, *INTO)
            yield Piece(own, goes_on or first >= 0, ends, contrast=but, then=then, exception=barred)


def _goes_on(words: tuple[Word, ...], at: int) -> bool:
    """Guard: this word only says that more is said, as a comma does: "then", or "and" in ``us 2 at t4 and 3 at t5``."""
    ahead = [word.key for word in words[at + 1 : at + 4]]
    if words[at].key in THEN:
        of_a_turn = any(re.fullmatch(r"t\d\S*|turns?", word.key) for word in words[:at])
        on = words[at].key != "/" or any(_A_PLACE.fullmatch(one) for one in (ahead if of_a_turn else ahead[:1]))
        return on and not (ahead and ahead[0].isdecimal() and words[at].key != "/")  # "2 -> 3": it changed
    if words[at].key in INTO and at and ahead:
        found = next((key for key in ahead if key not in ("to", "into")), "")
        entry = by_form().get(found)
        turned = words[at].key == "into" or ahead[0] in ("to", "into")
        return turned and entry is not None and entry.subject == "balance" and entry.part == "finding"
    if words[at].key in ("and", "&") and ahead and ahead[0] in CORNERS:
        pair = words[at - 1].key in CORNERS or ahead[1:2] in (["and"], ["&"])  # "fl and fr hot"
        return not pair and any(word.key in tuple("12345") for word in words[:at])
    if words[at].key in ("and", "&") and len(ahead) > 1 and re.fullmatch(r"t\d{1,2}", ahead[0]) and ahead[1] in "12345":
        return ahead[2:3] in ([], ["and"], ["&"]) and any(word.key in tuple("12345") for word in words[:at])
    if words[at].key not in ("and", "&") or not ahead or ahead[0] not in tuple("12345"):
        return False
    behind = next((key for key in ahead[1:] if key not in ("at", "in", "on", "for")), "")
    rated = any(word.key in tuple("12345") and words[before - 1].key not in ("turn", "turns", "and", "&")
                for before, word in enumerate(words[:at]))  # fmt: skip
    placed = any(re.fullmatch(r"t\d\S*|turns?", word.key) for word in words[:at])
    return rated and placed and bool(re.fullmatch(r"t\d{1,2}|turn", behind))


def listed(text: str) -> str:
    """The text with each list such as ``turns 2, 3 and 7`` in one word of the same length, filled up with spaces."""
    def as_one(match: re.Match[str]) -> str:
        return "/".join(re.findall(r"\d+", match.group())).ljust(len(match.group()))

    return _LIST.sub(as_one, text)


def as_typed(text: str, word: Word) -> str:
    """This word as it stands in the text: a list of turns has commas there."""
    found = _LIST.match(text, word.at)
    return found.group() if found is not None and "/" in word.text else word.text.replace(CLOCK_MARK, MARK)


def free_text(text: str, typed: str = "") -> str:
    """What stands after the mark, and reasons, each on a line of its own; as in ``typed``, which is as long."""
    whole, found = typed or text, []
    for start, line in _lines(text):
        for part in parts_of(line):
            begin = part.end + (line[part.end : part.end + 1] == MARK)
            found.append(whole[start + begin : start + part.free].strip() if part.free > part.end else "")
    return "\n".join(one for one in found if one)


def _lines(text: str) -> Iterator[tuple[int, str]]:
    at = 0
    for line in text.split("\n"):
        yield at, line
        at += len(line) + 1
