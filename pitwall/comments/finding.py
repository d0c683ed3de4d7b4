"""Of what a remark is, and what it finds there: which subject a word belongs to, what is poor, lacking or gone."""

from __future__ import annotations

import re
from collections.abc import Mapping

from pitwall.comments.reading import Reading
from pitwall.comments.splitting import Slip, Word
from pitwall.comments.words import NEVER, POOR, SCARCE, TABLE, Entry, by_form
from pitwall.model.comments import CONTENT, FINDINGS, Subject

OPPOSITES = ({"understeer", "oversteer"}, {"understeer", "snap"})
"""Findings that cannot both hold at one place."""
SLIDES = {"front": "understeer", "rear": "oversteer"}
"""Which end slides makes another finding of it."""
WIDE = ("washes", "washout", "washing", "wash", "runs", "running", "ran", "drifts", "slides", "slid", "goes", "went")
"""So begins what is said of a car that goes wide; of the rear alone it is that the rear goes."""
UNDER_BRAKING = ("understeer", "oversteer", "snap", "slides", "bottoming", "bouncing")
"""What is of no brake, whatever stands beside it."""
ALL_GONE = ("gone", "all gone", "gone away", "completely gone", "totally gone", "fully gone")
"""What is so of tyres and grip is the finding itself: they are worn, and there is none."""
_REVS = re.compile(r"\d{4,5}|rpm|revs|throttle", re.IGNORECASE | re.ASCII)
"""Words of an engine that turns."""
Parts = dict[str, tuple[Entry, Word]]


def subject_and_finding(reading: Reading) -> tuple[Subject, str | None]:
    """Subject and finding; of the finding None where only better or worse is said.

    Raises:
        Slip: at a word that does not belong to the subject, or may be of several.
    """
    parts = reading.parts
    _is_where(reading)
    subject = _subject(parts)
    if "finding" in parts and parts["finding"][0].value in (*CONTENT, "good"):
        _no_praise_of_what_lacks(parts)
    if "finding" not in parts:
        return _lacks_stability(reading, subject) or _without_finding(parts, subject)
    entry, word = parts["finding"]
    tyres = "axle" in parts and parts["axle"][0].subject == "tyres"
    if word.key.startswith("fad") and (subject == "tyres" or (subject is None and tyres)):
        return "tyres", "worn"
    if entry.value == "weak" and subject is not None and subject in POOR:
        return subject, POOR[subject]
    if entry.subject == "grip" and subject == "tyres":
        subject = "grip"  # "tyre grip gone"
    if subject == "grip" and (entry.value == "worn" or word.key.startswith("fad")):
        return subject, "low"  # "rear grip dropping off"
    if entry.value == "slides" and subject == "tyres":
        subject = None  # tyres that slide are the balance
    if entry.value == "soft" and subject == "braking":
        return subject, "long_pedal"
    _names_its_thing(parts, subject, entry, word, reading.piece.words)
    about = subject or _own_subject(reading, entry, word)
    if "lack" in parts and not parts["lack"][1].key.startswith("struggl"):
        raise Slip(parts["lack"][1], f"of what there is too little: {', '.join(POOR)}")
    if entry.value == "good":
        return about, "neutral" if about == "balance" else "good"
    what = _which_end(parts, word) if entry.value == "slides" or _rear_wide(parts, entry, word) else entry.value
    if what not in FINDINGS[about]:
        raise Slip(word, f"what there is of {about}: {of(about)}", f"{entry.form} is a finding of {entry.subject}, ")
    return about, what


def _is_where(reading: Reading) -> None:
    """Read "braking" as the corner phase, where what happens there is not of the brakes: ``rear hops t1 braking``."""
    parts = reading.parts
    if "finding" not in parts or "subject" not in parts or not _is_under_braking(reading, parts["subject"][1]):
        return
    if parts["finding"][0].value in UNDER_BRAKING:
        reading.take(by_form()["under braking"], parts.pop("subject")[1])


def _is_under_braking(reading: Reading, word: Word) -> bool:
    """Guard: "braking", or "on brakes"."""
    before = [one.key for one in reading.piece.words if one.at < word.at][-1:]
    return word.key == "braking" or (word.key in ("brakes", "brks") and before == ["on"])


def _names_its_thing(
    parts: Parts, subject: str | None, entry: Entry, word: Word, words: tuple[Word, ...]
) -> None:
    """Raise a slip at a word that is of brakes or gears only where these are named."""
    if subject == "balance" and word.key in ("moves", "move"):
        raise Slip(word, "what it is then, such as us or os; where it goes is words behind ':'")
    of_a_wheel = subject is not None or {"axle", "corner", "side"} & set(parts)
    if entry.value == "flat_spot" and not of_a_wheel and any(_REVS.fullmatch(one.plain) for one in words):
        raise Slip(word, "of what, such as fl flat spot or engine hesitation")
    if word.key == "too sharp" and subject != "braking":
        raise Slip(word, "of what, such as brakes too sharp")
    if entry.value == "rough_shift" and entry.named and "subject" in parts and parts["subject"][1].key != "gearbox":
        raise Slip(word, "of what, such as gearbox rough or shifts rough")


def _subject(parts: Parts) -> Subject | None:
    """The subject that is named; tyres also by ``fronts``, ``rears``, or a wheel beside a word of tyres alone."""
    if "subject" in parts:
        return parts["subject"][0].value  # type: ignore[return-value]  # subjects of the table are those of the model
    entry = parts["finding"][0] if "finding" in parts else None
    open_yet = entry is None or entry.value == "good" or (entry.named and entry.subject == "tyres")
    if open_yet and "axle" in parts and parts["axle"][0].subject == "tyres":
        return "tyres"
    only_tyres = (entry is not None and entry.named and entry.subject == "tyres") or (entry is None and _gone(parts))
    return "tyres" if only_tyres and "corner" in parts else None


def _own_subject(reading: Reading, entry: Entry, word: Word) -> Subject:
    """The subject of a finding that is named alone."""
    if entry.named and entry.value == "flat":
        raise Slip(word, "of what, such as engine flat; that a turn is taken flat goes behind ':'")
    if entry.named:
        raise Slip(word, f"of what, such as {entry.subject} {entry.form}")
    if entry.value == "weak" and ("axle" in reading.parts or "corner" in reading.parts):
        raise Slip(word, "of what, such as brakes weak or grip weak")
    phases = {one.value for one, _ in reading.phases}
    if entry.value == "unstable" and "entry" not in phases and (phases or "speed" in reading.parts):
        return "balance"
    return entry.subject or "balance"  # type: ignore[return-value]  # as above


def _lacks_stability(reading: Reading, subject: Subject | None) -> tuple[Subject, str] | None:
    """What is unstable, where it is stability that is poor: ``braking stability poor t10``."""
    named = any(word.key in ("stability", "stab") for word in reading.piece.words)
    if not named or subject not in (None, "braking", "balance") or not {"poor", "lack"} & set(reading.parts):
        return None
    later = {entry.value for entry, _ in reading.phases} - {"entry"}
    return ("balance" if later or subject == "balance" or "speed" in reading.parts else "braking"), "unstable"


def _without_finding(parts: Parts, subject: Subject | None) -> tuple[Subject, str | None]:
    for part in ("poor", "lack"):
        if part in parts:
            if part == "lack" and subject is None and "axle" in parts:
                lost = parts["lack"][1].key.startswith("los")
                return ("balance", SLIDES[parts["axle"][0].value]) if lost else ("grip", "low")
            if subject is None or subject not in POOR:
                words = ", ".join(f"{part}{' of' if part == 'lack' else ''} {of_it}" for of_it in POOR)
                raise Slip(parts[part][1], f"{words}; else what it is, such as us")
            return subject, POOR[subject]
    if "trend" in parts and parts["trend"][0].value == "gone":
        if subject == "tyres" and _gone(parts):
            return subject, "worn"
        if subject in ("grip", "traction"):
            return subject, POOR[subject]
        end = parts["axle"][0].value if "axle" in parts else ""
        if subject is None and ((end and parts["trend"][1].key in ("no", *NEVER)) or (end == "front" and _gone(parts))):
            return "grip", "low"  # "no rear", "front gone"; a rear that is gone may have stepped out
        raise Slip(parts["trend"][1], "what is gone, such as us gone or tyres gone")
    if subject is not None and subject in POOR and is_scarce(parts):
        return subject, POOR[subject]
    if subject == "traction" and "severity" in parts and not {"trend", "amount"} & set(parts):
        if not parts["severity"][1].key[:1].isdecimal():  # "lots of traction"
            raise Slip(parts["severity"][1], "how it is, such as no traction or traction good; or how bad"
                                             " it is from 1 to 5")
        return subject, POOR[subject]  # "t6 traction 3": of traction nothing else can be bad
    return subject or "balance", None


def is_scarce(parts: Mapping[str, tuple[Entry, Word]]) -> bool:
    """Guard: there is next to nothing of what should be there: ``almost no grip``."""
    return "severity" in parts and "finding" not in parts and parts["severity"][1].key in SCARCE


def _gone(parts: Parts) -> bool:
    return "trend" in parts and parts["trend"][1].key in ALL_GONE


def _which_end(parts: Parts, word: Word) -> str:
    axle = parts["corner"][0].value.split()[0] if "corner" in parts else None
    axle = parts["axle"][0].value if "axle" in parts else axle
    if axle is None:
        raise Slip(word, "which end, such as rear slides; or us or os")
    return SLIDES[axle]


def _rear_wide(parts: Parts, entry: Entry, word: Word) -> bool:
    """Guard: it is the rear that slides, washes or runs wide; of nothing or of the front that is understeer."""
    rear = any(part in parts and parts[part][0].value.startswith("rear") for part in ("axle", "corner"))
    wide = word.key.split()[0] in WIDE or word.key.endswith("wide")
    return rear and entry.value == "understeer" and wide


def _no_praise_of_what_lacks(parts: Parts) -> None:
    for part in ("poor", "lack"):
        if part in parts:
            raise Slip(parts[part][1], "good or poor, not both")
    if "trend" in parts and parts["trend"][0].value == "gone":
        raise Slip(parts["trend"][1], "what there is, such as us or lock; what is not good goes behind ':'")


def of(subject: str) -> str:
    """The forms of what can be found of a subject."""
    named = [entry.form for entry in TABLE if entry.part == "finding" and entry.subject == subject
             and (not entry.named or subject == "steering")]  # fmt: skip
    good = "good" in FINDINGS[subject]  # type: ignore[index]  # as above
    return ", ".join([*(form for form in named if form != "slides"), *(["good"] if good else [])])
