"""A remark written as shorthand, and in whole words for people who read it later."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pitwall.comments.denying import denies
from pitwall.comments.shorthand import ShorthandError, parse
from pitwall.comments.splitting import ANEW, MARK
from pitwall.comments.words import form_of, written
from pitwall.model.comments import Remark

_SAID = {"rough_shift": "gears change badly"}
"""What a finding is called where its own word says less than it means: a slow change of gears is none that is rough."""

_NAMED = (("braking", "cold"), ("braking", "hot"), ("braking", "pulls"), ("engine", "hot"), ("engine", "cut"))
"""Findings that say their subject too: their word is said of another one as well, or of none."""


def write(remarks: Iterable[Remark], text: str = "") -> str:
    """The shorthand of these remarks and this text, which ``parse`` reads back. No remark hangs on the one before."""
    said = tuple(remarks)
    head = f"{ANEW} ".join(map(write_remark, said))
    after = [f"{MARK} {line.strip()}" for line in text.split("\n") if line.strip()]
    inline = "\n".join([head + "".join(after[:1]), *after[1:]])
    return inline if _reads(inline, said) else "\n".join([head, *after])


def _reads(written: str, remarks: tuple[Remark, ...]) -> bool:
    """Guard: the mark before the text is read as one; before nothing but places it would begin a list of them."""
    try:
        return parse(written).remarks == remarks
    except ShorthandError:
        return False


def write_remark(remark: Remark) -> str:
    """The shorthand of one remark, in the order in which people say it: where, which axle, what, how bad, how sure."""
    forms = written()
    words = [f"t{remark.turn}"] if remark.turn is not None else []
    words += [forms["phase", "", remark.phase]] if remark.phase is not None else []
    words += [forms["speed", "", remark.speed]] if remark.speed is not None else []
    words += [word for word in (remark.axle, remark.side) if word is not None]
    words += _finding(remark)
    words += [str(remark.severity)] if remark.severity is not None else []
    words += [forms["confidence", "", remark.confidence]] if remark.confidence is not None else []
    words += [remark.trend] if remark.trend is not None else []
    return " ".join(words)


def _finding(remark: Remark) -> list[str]:
    if remark.what is None:
        return [remark.about]
    if remark.what == "good":
        return [remark.about, "good"]
    own = form_of(remark.about, remark.what)
    return [remark.about, remark.what] if remark.trend == "gone" and denies(own) else [own]  # "grip low gone"


def read_back(remarks: Iterable[Remark], text: str, unread: Sequence[str] = ()) -> tuple[str, ...]:
    """How a comment is read, for the one who types it: each remark, what is kept as words and counted nowhere, and
    which of these words the shorthand does not know."""
    counted = tuple(map(in_words, remarks))
    label = "words beside it" if counted else "words, not counted"
    strange = f" (not read: {', '.join(unread)})" if unread and counted else ""
    return (*counted, *([f'{label}: "{" / ".join(text.splitlines())}"{strange}'] if text else []))


def in_words(remark: Remark) -> str:
    """One remark as a person would read it out: ``turn 4 mid: understeer, severity 3``."""
    place = [f"turn {remark.turn}"] if remark.turn is not None else []
    place += [f"{remark.speed} corners"] if remark.speed is not None else []
    place += [remark.phase] if remark.phase is not None else []
    what = " ".join(word for word in (remark.axle, remark.side) if word is not None)
    said = _SAID.get(remark.what, remark.what.replace("_", " ")) if remark.what is not None else ""
    elsewhere = (remark.about, remark.what) in _NAMED
    named = remark.about if elsewhere or said in ("", "good", "low", "flat", "weak", "heavy", "light") else ""
    finding = " ".join(word for word in (what, named, said) if word)
    more = [f"severity {remark.severity}"] if remark.severity is not None else []
    more += [remark.trend] if remark.trend is not None else []
    more += {"high": ["sure"], "medium": ["likely"], "low": ["not sure"]}.get(remark.confidence or "", [])
    head = f"{' '.join(place)}: " if place else ""
    return head + ", ".join(word for word in (finding, *more) if word)
