"""The shorthand: comments parse as meant, malformed ones point at their word, what is written reads back, words are
offered that fit."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.comments.completing import completions
from pitwall.comments.marks import MOST_MARKS
from pitwall.comments.shorthand import EXPECTED, MOST_REMARKS, ShorthandError, Typed, parse
from pitwall.comments.taking import MOST_OF_A_REMARK
from pitwall.comments.words import TABLE, by_form, form_of
from pitwall.comments.writing import in_words, write
from pitwall.model.comments import CONTENT, FINDINGS, Confidence, Remark
from tests.unit.comments_stage import mistyped, study

TURNS = tuple(range(1, 13))
README = Path(__file__).parents[2] / "README.md"


def wrong(text: str) -> ShorthandError:
    """Why this cannot be read."""
    with pytest.raises(ShorthandError) as caught:
        parse(text, TURNS)
    return caught.value


def slip_in(text: str) -> ShorthandError | None:
    """Why this cannot be read; None for what can."""
    try:
        parse(text, TURNS)
    except ShorthandError as problem:
        return problem
    return None


def test_the_study_is_large_enough() -> None:
    """Two hundred comments at least, no two alike."""
    typed = [one for one, _, _ in study()]
    assert len(set(typed)) == len(typed) >= 200


@pytest.mark.parametrize(("typed", "remarks", "text"), study(), ids=[typed for typed, _, _ in study()])
def test_a_comment_is_read_as_it_was_meant(typed: str, remarks: tuple[Remark, ...], text: str) -> None:
    """Each comment of the study means what its writer wrote beside it."""
    assert parse(typed, TURNS) == Typed(remarks, text)


@pytest.mark.parametrize(("typed", "word", "nearest"), mistyped(), ids=[typed for typed, _, _ in mistyped()])
def test_a_malformed_comment_points_at_its_word(typed: str, word: str, nearest: str) -> None:
    """The error names the word that is wrong, says where it stands and what could stand there, and offers one that is
    near."""
    problem = wrong(typed)
    assert (problem.word, problem.nearest) == (word, nearest)
    assert typed[problem.at : problem.at + problem.length] == word
    line, mark = problem.pointed().split("\n")
    assert line in typed.split("\n")
    assert line[mark.index("^") :].startswith(word)
    assert mark.count("^") == len(word)
    assert problem.expected
    if nearest:
        assert str(problem).endswith(f"did you mean {nearest!r}?")


def test_the_error_points_behind_the_mark_of_a_place() -> None:
    """``t4: us mdi`` is wrong at its last word, not at the turn; without shorthand the turn is to blame."""
    assert (wrong("t4: us mdi 3").word, wrong("t4: us mdi 3").number) == ("mdi", 3)
    assert wrong("t4: a long story").word == "t4"
    listed = wrong("entry in turns 2, 3 and 7")
    assert "entry in turns 2, 3 and 7"[listed.at : listed.at + listed.length] == listed.word == "2, 3 and 7"


@settings(max_examples=150)
@given(st.sampled_from([typed for typed, _, _ in study() if typed]), st.integers(0, 200),
       st.sampled_from([*"xz+-=>/|:;,.@#?", "foo", "->", "t99", "0", "not", "then", "/", "lap", "diff", "very", ""]))
def test_whatever_is_mistyped_points_at_a_word_of_the_text(typed: str, at: int, slip: str) -> None:
    """Something more or a letter less anywhere: it is read, or refused at a word that stands where it is said to."""
    at %= len(typed) + 1
    text = typed[:at] + slip + typed[at if slip else at + 1 :]
    problem = slip_in(text)
    if problem is not None and problem.word:
        assert text[problem.at : problem.at + problem.length] == problem.word


def test_the_error_says_which_word() -> None:
    """Counted over all lines, as a person counts."""
    problem = wrong("t4 us 3: long free text\nt7 exitt os")
    assert (problem.number, problem.at) == (5, 27)
    assert str(problem).startswith("word 5, 'exitt': expected a turn such as t4")
    assert wrong("no us until lap 5").number == wrong("no us when alone").number == 3


@pytest.mark.parametrize("nothing", ["", "  ", ";", ", ;\n", ":", " : \n :", ".", "!"])
def test_nothing_is_no_comment(nothing: str) -> None:
    """Without remark and text there is nothing to note: the error says what could stand there."""
    assert wrong(nothing).expected.startswith(EXPECTED)


def test_there_is_an_end_to_it() -> None:
    """No more remarks than a command may carry."""
    assert len(parse("t1-8 entry mid exit us; t9-12 en mid ex os; us t1-4").remarks) == MOST_REMARKS
    assert "at most 40 remarks" in str(wrong("t1-8 entry mid exit us; t9-12 en mid ex os; us t1-4; os"))


@pytest.mark.parametrize("endless", ["in us out ", "us t4 ", "a bit of "])
def test_a_line_without_an_end_is_refused_where_it_is_too_long(endless: str) -> None:
    """Each word of a remark is set against the others, so there are not more of them than anybody says in a breath; the
    error points at the first that is too many. So it is with marks; free text may be as long as it likes."""
    problem = wrong(endless * 200)
    assert problem.number == MOST_OF_A_REMARK + 1
    assert "a comma before the next one, or ':' before free text" in problem.expected
    assert parse(f"us t4: {endless * 200}").remarks == parse("us t4").remarks


def test_marks_have_an_end_too() -> None:
    """A mark between a finding and its place is one that counts."""
    assert len(parse("; ".join(f"us: t{turn}" for turn in range(1, MOST_MARKS + 1))).remarks) == MOST_MARKS
    problem = wrong("us: t4, " * 200)
    assert (problem.word, problem.at) == (":", len("us: t4, ") * MOST_MARKS + len("us"))


LACKS = ("what the car does", "what there is of", "of what there is", "poor traction", "of what, such as", "which end",
         "what is gone", "right behind it what there is not", "up to which turn", "in which part of the corner",
         "its turn, or", "where, or of what, that is said")
CONFIDENCE: tuple[Confidence | None, ...] = (None, "low", "medium", "high")


@st.composite
def any_remark(draw: st.DrawFn) -> Remark:
    """Any remark that there may be."""
    about = draw(st.sampled_from(sorted(FINDINGS)))
    what = draw(st.sampled_from((*FINDINGS[about], None)))
    trend = draw(st.sampled_from(("better", "worse", "same") if what is None else (None, "better", "worse", "same")))
    gone = what not in (None, *CONTENT) and draw(st.booleans())
    return Remark(
        turn=draw(st.none() | st.integers(1, 60)),
        phase=draw(st.sampled_from((None, "entry", "mid", "exit"))),
        speed=draw(st.sampled_from((None, "slow", "medium", "fast"))),
        about=about, what=what, trend="gone" if gone else trend,
        axle=draw(st.sampled_from((None, "front", "rear"))),
        side=draw(st.sampled_from((None, "left", "right", "inside", "outside"))),
        severity=None if gone else draw(st.none() | st.integers(1, 5)),
        confidence=draw(st.sampled_from(CONFIDENCE)),
    )  # fmt: skip


LINE = st.text(st.characters(exclude_categories=("Cs", "Cc", "Zl", "Zp")), min_size=1, max_size=20)
LINES = st.lists(LINE.map(str.strip).filter(bool), max_size=3).map("\n".join)


@given(st.lists(any_remark(), max_size=6), LINES)
def test_what_is_written_reads_back(remarks: list[Remark], text: str) -> None:
    """Any remarks with any text: the shorthand that is written of them means the same."""
    if remarks or text:
        assert parse(write(remarks, text)) == Typed(tuple(remarks), text)


@given(st.text(st.sampled_from("t4 us,;:?-+/enx\n3.midrl")) | st.text(max_size=40))
def test_whatever_is_typed_is_read_or_points_into_the_text(text: str) -> None:
    """No input breaks the reader: it is read, or a place of the text is named."""
    problem = slip_in(text)
    assert problem is None or 0 <= problem.at <= len(text)
    assert problem is None or problem.pointed().count("\n") == 1


@given(st.sampled_from([typed for typed, _, _ in study()]), st.integers(0, 60))
@settings(max_examples=60)
def test_what_is_offered_can_stand_there(typed: str, cut: int) -> None:
    """After any beginning of a comment that was read, each word that is offered is no slip of its own: put in its
    place, the comment reads, or only lacks what the car does."""
    begun = typed[: cut % (len(typed) + 1)]
    for one in completions(begun, TURNS)[:12]:
        problem = slip_in(begun[: one.at] + one.word)
        lacks = problem is None or any(words in problem.expected for words in LACKS)
        lacks = lacks or slip_in(f"{begun[: one.at]}{one.word} us") is None  # how bad, before what it is
        assert lacks or problem is None or problem.at + problem.length <= one.at, (begun, one, str(problem))


@pytest.mark.parametrize(
    ("begun", "words"),
    [
        ("t1", ["t1", "t10", "t11", "t12"]),
        ("t4 un", ["under braking", "under power", "understeer", "unstable", "underpowered", "undriveable", "unsure",
                   "unchanged"]),
        ("t4 us, ex", ["exit", "excellent"]),
        ("tyres gr", ["graining", "great"]),
        ("t4 flat", ["flat spot", "flat spot in the power"]),
        ("t4 us 3: exi", []),
        ("t4 us sn", []),
    ],
)
def test_a_beginning_is_completed(begun: str, words: list[str]) -> None:
    """Turns of the circuit, forms of one word or two, only what fits what stands there; nothing in free text."""
    found = completions(begun, TURNS)
    assert [one.word for one in found if one.word.startswith(begun.split()[-1])] == words


def test_how_much_traction_there_is_is_not_offered() -> None:
    """Plenty of it is no complaint, and refused: a number says how bad it is."""
    offered = [one.word for one in completions("traction p", TURNS)]
    assert "plenty of" not in offered
    assert "poor" in offered
    assert "plenty of" in [one.word for one in completions("us p", TURNS)]


def test_words_that_are_offered_take_the_place_of_what_was_typed() -> None:
    """The place is where the word begun begins; its meaning stands beside it."""
    (one,) = completions("t4 us exi", TURNS)
    assert (one.at, one.word, one.meaning) == (6, "exit", "from the throttle on")


def test_every_form_means_one_thing() -> None:
    """No form stands in the table twice, and each finding of the model has a form."""
    forms = [form for entry in TABLE for form in entry.forms]
    assert sorted(forms) == sorted(by_form())
    for about, findings in FINDINGS.items():
        for what in findings:
            assert what == "good" or parse(form_of(about, what)).remarks == (Remark(about=about, what=what),)


def test_a_remark_in_whole_words() -> None:
    """As a person reads it out, for those who do not know the shorthand."""
    said = [in_words(one) for one in parse("t4 mid us 3 sure; fl lock t1; rears better; slow no grip ?").remarks]
    assert said == ["turn 4 mid: understeer, severity 3, sure", "turn 1: front left locking", "rear tyres, better",
                    "slow corners: grip low, not sure"]


def test_the_readme_shows_comments_that_read() -> None:
    """Every example of the table in README means what stands beside it."""
    section = README.read_text("utf-8").split("### What the driver says")[1].split("###")[0]
    rows = re.findall(r"^\| `([^`]+)` \| ([^|]+) \|$", section, re.MULTILINE)
    assert len(rows) >= 8
    for typed, meant in rows:
        found = parse(typed)
        told = "; ".join([*(in_words(one) for one in found.remarks), *([f'"{found.text}"'] if found.text else [])])
        assert told == meant.strip()
