"""The study of typed comments: what was typed, and what it means, read without a word of the shorthand's own code."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

from pitwall.comments.shorthand import parse
from pitwall.comments.writing import write_remark
from pitwall.model.comments import Remark

STUDY = Path(__file__).parents[1] / "data" / "comments_as_typed.txt"
STUDIES = (STUDY, STUDY.with_name("comments_of_another_engineer.txt"), STUDY.with_name("comments_of_four_writers.txt"),
           STUDY.with_name("comments_in_a_hurry.txt"), STUDY.with_name("comments_of_systems_and_lists.txt"),
           STUDY.with_name("comments_in_own_words.txt"), STUDY.with_name("comments_on_the_cool_down_lap.txt"),
           STUDY.with_name("comments_from_the_pit_wall.txt"))
WRONG = (STUDY.with_name("comments_mistyped.txt"), STUDY.with_name("comments_another_engineer_mistyped.txt"),
         STUDY.with_name("comments_of_four_writers_refused.txt"), STUDY.with_name("comments_in_a_hurry_refused.txt"),
         STUDY.with_name("comments_of_systems_and_lists_refused.txt"),
         STUDY.with_name("comments_in_own_words_refused.txt"),
         STUDY.with_name("comments_on_the_cool_down_lap_refused.txt"),
         STUDY.with_name("comments_from_the_pit_wall_refused.txt"))
SURE = {"high": "high", "likely": "medium", "low": "low"}
_PLAIN = {word: name for name, words in {
    "phase": "entry mid exit", "speed": "slow medium fast", "axle": "front rear", "side": "left right inside outside",
    "trend": "better worse same gone",
}.items() for word in words.split()}  # fmt: skip


def _remark(words: str) -> Remark:
    found: dict[str, Any] = {}
    for word in words.split():
        if word.isdecimal():
            found["turn"] = int(word)
        elif "/" in word:
            about, _, what = word.partition("/")
            found |= {"about": about, "what": None if what == "-" else what}
        elif word[0] == "s" and word[1:].isdecimal():
            found["severity"] = int(word[1:])
        elif word in SURE:
            found["confidence"] = SURE[word]
        else:
            found[_PLAIN[word]] = word
    return Remark(**found)


def _rows(paths: tuple[Path, ...]) -> list[tuple[str, str]]:
    lines = [line for path in paths for line in path.read_text("utf-8").splitlines()]
    parts = [line.split(" => ") for line in lines if line.strip() and not line.startswith("#")]
    return [(typed.replace("\\n", "\n"), meant) for typed, meant in parts]


@functools.cache
def study() -> tuple[tuple[str, tuple[Remark, ...], str], ...]:
    """Typed, remarks, free text."""
    found = []
    for typed, meant in _rows(STUDIES):
        said, _, text = meant.partition(" | ")
        remarks = tuple(_remark(one) for one in said.split(" + ") if one.strip())
        found.append((typed, remarks, text.replace("\\n", "\n")))
    return tuple(found)


@functools.cache
def mistyped() -> tuple[tuple[str, str, str], ...]:
    """Typed, the word that is wrong, and the nearest word of the shorthand (empty: none is offered)."""
    found = []
    for typed, told in _rows(WRONG):
        word, _, nearest = told.partition("~")
        found.append((typed, word.strip(), nearest.strip()))
    return tuple(found)


def said(typed: str) -> list[str]:
    """The remarks as shorthand writes them."""
    return [write_remark(one) for one in parse(typed).remarks]
