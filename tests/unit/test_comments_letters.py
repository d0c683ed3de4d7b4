"""Tags in single letters, typed where no page shows how they are read: the same letters, and only whole tags."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import pitwall.screen
from pitwall.comments.letters import FINDINGS, PHASES
from pitwall.comments.shorthand import MOST_REMARKS, ShorthandError, parse
from pitwall.model.comments import Remark
from tests.unit.comments_stage import said

TURNS = tuple(range(1, 13))
PAGE = Path(pitwall.screen.__file__).parent / "static" / "app" / "shorthand.js"


def refused(typed: str) -> str:
    """The word that a refusal points at, and what it expects there."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed, TURNS)
    return f"{caught.value.word}: {caught.value.expected}"


def test_the_letters_are_those_of_the_page() -> None:
    """One letter must not mean one thing on the page and another in a terminal."""
    page = PAGE.read_text("utf-8")
    rows = re.findall(r'(\w): \{ about: "(\w+)", what: "(\w+)"(?:, axle: "(\w+)")? \}', page)
    found = {letter: {"about": about, "what": what} | ({"axle": axle} if axle else {})
             for letter, about, what, axle in rows}
    assert found == FINDINGS
    phases = re.search(r"export const PHASES = \{(.*)\}", page)
    assert phases is not None
    assert dict(re.findall(r'(\w): "(\w+)"', phases.group(1))) == PHASES


@pytest.mark.parametrize("letter", FINDINGS)
def test_every_finding_has_its_letter(letter: str) -> None:
    """With how bad it is, or with its phase; in capitals too."""
    own = Remark.model_validate({"turn": 4, **FINDINGS[letter]})
    assert parse(f"4{letter}3", TURNS).remarks == (own.model_copy(update={"severity": 3}),)
    assert parse(f"T4E{letter}3".upper(), TURNS).remarks == (
        own.model_copy(update={"severity": 3, "phase": "entry"}),)


def test_several_tags_and_free_text() -> None:
    """Parted by a space, a comma, a semicolon or a line; what stands behind a colon is text, line by line."""
    assert said("4eu3 7xo2, 9mu1; 9mu1") == ["t4 entry us 3", "t7 exit os 2", "t9 mid us 1"]
    typed = parse("4eu3: worse with wear\n7xo2: and 9mu1 too", TURNS)
    assert len(typed.remarks) == 2
    assert typed.text == "worse with wear\nand 9mu1 too"


@pytest.mark.parametrize(("typed", "word"), [
    ("3s", "3s"), ("3ms", "3ms"), ("10c", "10c"), ("4eu6", "4eu6"), ("4e", "4e"), ("eu3", "eu3"), ("u3", "u3"),
    ("4eu3 us", "us"), ("4eu3: ok\n7xo2 us t4 4eu3", "us"), ("4eu3: ok\nus t4 4eu3", "us"), ("4eu3 7xo9", "7xo9"),
    ("4eu3, oops", "oops"), ("4eu3 7o", "7o"), ("4u3 7xo2 3s 4u3", "3s"), ("T4EU3; 7q", "7q"), ("us t4 4eu3", "4eu3"),
])  # fmt: skip
def test_what_is_no_whole_tag_is_none(typed: str, word: str) -> None:
    """Three seconds, ten degrees, a severity that is none: it is refused at that word, and not at the tag before it."""
    assert refused(typed).split(":")[0] == word


@pytest.mark.parametrize("typed", ["10mb", "2xs", "3xf", "3ms", "7mw", "2xs="])
def test_a_number_of_something_is_no_tag(typed: str) -> None:
    """Ten millibars, two snaps, three times the front: with how bad it is, or the letter of a turn, it is one."""
    assert refused(typed).startswith(f"{typed}: how bad it is, such as {typed.rstrip('=')}3, or t{typed}")
    bare = typed.rstrip("=")
    assert parse(f"{bare}3", TURNS).remarks[0] == parse(f"t{bare}", TURNS).remarks[0].model_copy(update={"severity": 3})


def test_how_often_is_a_tag_beside_another() -> None:
    """Thousandths of something are none anywhere."""
    assert said("4mu2 9xw") == ["t4 mid us 2", "t9 exit spin"]
    assert refused("4mu2, 10mb").startswith("10mb: how bad it is")
    assert refused("2xs 3xf").startswith("2xs: how bad it is")
    assert said("4eu") == ["t4 entry us"]


def test_a_tag_that_cannot_be_points_at_itself() -> None:
    """A turn that the circuit has not, and a sign that one writes for better and another for more."""
    assert refused("4eu3, 13xo2") == "13xo2: a turn from 1 to 12"
    assert refused("0eu3") == "0eu3: a turn from 1 to 12"
    assert refused("4eu3, 7xo2-").startswith("-: 'better' or 'worse'")
    assert parse("4eu3=", TURNS).remarks[0].trend == "same"
    many = " ".join(f"{turn}{phase}u{bad}" for turn in range(1, 13) for phase in "emx" for bad in "12")
    assert refused(many) == f"1eu1: at most {MOST_REMARKS} remarks in one comment"
