"""Stored form of events: round trip, versions, damage, digest."""

from __future__ import annotations

import contextlib
import json
import os
import subprocess
import sys
import types
import typing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from pitwall.engine.session import Session
from pitwall.errors import JournalError
from pitwall.journal.codec import canonical, decode, digest, encode
from pitwall.journal.replay import Lines, decisions, read_lines, read_lines_to_the_cut, write_lines
from pitwall.model.advice import Advice, AdviceAnswer, CarPlan, LadderStep, RunDone
from pitwall.model.car import Switch
from pitwall.model.comments import Remark
from pitwall.model.events import (
    AdviceReady,
    CarCrossed,
    ClockReported,
    CommandGiven,
    CommentRead,
    Event,
    ForecastReady,
    SessionPrepared,
    Stamped,
    StatusChanged,
    SwitchReported,
)
from pitwall.model.outputs import CarOutlook, ForecastAnswer, RunOutlook
from tests.unit.engine_stage import setup


def one(seq: int = 0, **more: object) -> Stamped:
    """A stamped crossing."""
    event = CarCrossed(id=f"x-{seq}", t=12.5, car="41", loop="line", lap_time_s=91.204)
    return Stamped(seq=seq, received_t=12.75, event=event, **more)


def union_members(annotation: object) -> tuple[object, ...]:
    """The alternatives of a union, or the annotation alone."""
    if typing.get_origin(annotation) is typing.Annotated:
        return union_members(typing.get_args(annotation)[0])
    if typing.get_origin(annotation) in (typing.Union, types.UnionType):
        return tuple(member for part in typing.get_args(annotation) for member in union_members(part))
    return (annotation,)


def models_within(annotation: object) -> set[type[BaseModel]]:
    """Every model that can occur inside an annotation."""
    found: set[type[BaseModel]] = set()
    for member in union_members(annotation):
        if isinstance(member, type) and issubclass(member, BaseModel):
            found.add(member)
            for field in member.model_fields.values():
                found |= models_within(field.annotation)
        for part in typing.get_args(member):
            found |= models_within(part)
    return found


ADVISED = Advice(
    cars=(CarPlan(car="41", runs=(RunDone(run="a", timed=2), RunDone(run="b", timed=1, with_run="a"))),
          CarPlan(car="58", runs=(RunDone(run="c", timed=0, from_car="41"),))),
    musts_chance=1 / 3, worth=12.5, sentence="drop d",
)
EVENTS = [
    StatusChanged(id="s", t=0.1 + 0.2, status="yellow", scope=("3", "4"), opens_at_s=99),
    ClockReported(id="k", t=-3600, remaining_s=3600, running=False, rate=30),
    CommandGiven(id="c", t=5, car="41", command="comment", by="desk", text='a "quoted" line\nand ünïcode \U0001f3c1'),
    CommentRead(id="read:c", t=5, car="41", command="c", text="worse with wear",
                remarks=(Remark(turn=4, phase="mid", what="understeer", severity=3),)),
    CommentRead(id="read:d", t=5, car="41", command="d", problem="word 1, 'wallows': expected", briefly="word 1"),
    SwitchReported(id="w1", t=1, car="41", switch="bias", position=56.5),
    SwitchReported(id="w2", t=1, car="41", switch="map", position=3),
    SwitchReported(id="w3", t=1, car="41", switch="flap", position=True),
    SwitchReported(id="w4", t=1, car="41", switch="mode", position="3"),
    ForecastReady(id="f", t=9, revision=3, answer=ForecastAnswer(futures=100, seed=7, cars=(CarOutlook(
        car="41", musts_chance=1 / 3, spare_q50_s=-12.5, runs=(
            RunOutlook(run="holds", want="must", chance=0.1, end_q10_s=1, end_q50_s=2, end_q90_s=3),)),))),
    AdviceReady(id="a", t=9, revision=3, answer=AdviceAnswer(
        as_planned=ADVISED, best=(ADVISED,), exact=True, bound=1 / 3,
        ladder=(LadderStep(restart_s=240, best=ADVISED),))),
]


@pytest.mark.parametrize("event", EVENTS, ids=[event.id for event in EVENTS])
def test_round_trip(event: Event) -> None:
    """What is decoded equals what was encoded, types of positions included."""
    stamped = Stamped(seq=4, received_t=1 / 3, wall_s=1.7e9 + 0.1, event=event)
    back = decode(encode(stamped))
    assert back == stamped
    assert repr(back) == repr(stamped)


@settings(max_examples=200, deadline=None)
@given(
    t=st.floats(-86_400, 172_800), received=st.floats(-1e6, 1e6), text=st.text(max_size=60),
    position=st.one_of(st.booleans(), st.integers(-9, 99), st.floats(-1e3, 1e3), st.text(max_size=12)),
)
def test_round_trip_of_anything(t: float, received: float, text: str, position: bool | int | float | str) -> None:
    """Every float, text and position survives unchanged; the digest of the copy is the digest of the original."""
    for event in (
        CommandGiven(id="c", t=t, car="41", command="comment", by="x", text=text),
        SwitchReported(id="s", t=t, car="41", switch="map", position=position),
    ):
        stamped = Stamped(seq=0, received_t=received, event=event)
        back = decode(encode(stamped))
        assert repr(back) == repr(stamped)
        assert canonical(back) == canonical(stamped)


def test_optional_fields_mean_none_by_default() -> None:
    """The premise of leaving None out: no event field that allows None has another default, or no default at all."""
    models = set().union(*(models_within(member) for member in union_members(Event) if member is not SessionPrepared))
    assert CarCrossed in models
    assert RunOutlook in models
    for model in models:
        for name, field in model.model_fields.items():
            if type(None) in union_members(field.annotation):
                assert field.default is None, f"{model.__name__}.{name}"
                assert not field.is_required(), f"{model.__name__}.{name}"


def test_stored_form_is_compact_and_says_its_version() -> None:
    """The record begins with the format and leaves out what is not there."""
    data = encode(one())
    assert data.startswith(b'{"v":1,"seq":0,')
    assert b"null" not in data
    assert b"\n" not in data
    assert len(data) < 200


def test_newer_format_is_refused() -> None:
    """A record of a later format is refused with both versions named."""
    data = encode(one()).replace(b'"v":1', b'"v":9', 1)
    with pytest.raises(JournalError, match=r"journal\.x, event 3: written in format 9 .* up to format 1"):
        decode(data, "journal.x, event 3")


def test_older_format_is_brought_up_step_by_step() -> None:
    """A format 1 record is read by a format 3 pitwall through both up-casters, in order."""

    def to_2(record: dict) -> dict:
        event = dict(record["event"], loop=record["event"].pop("place"))
        return dict(record, event=event)

    def to_3(record: dict) -> dict:
        return dict(record, event=dict(record["event"], loop=record["event"]["loop"].lower()))

    data = json.loads(encode(one()))
    data["event"]["place"] = data["event"].pop("loop").upper()
    old = json.dumps(data).encode()
    assert decode(old, current=3, upcasters={1: to_2, 2: to_3}) == one()
    with pytest.raises(JournalError, match="format 1 can no longer be read"):
        decode(old, current=3, upcasters={2: to_3})
    with pytest.raises(JournalError, match="damaged record of format 1"):
        decode(encode(one()), current=3, upcasters={1: to_2, 2: to_3})


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "not JSON"),
        (b"\xff\xfe\x00", "not JSON"),
        (b'{"v":1,"seq":0', "not a stored event"),
        (b"[1, 2]", "no format version"),
        (b'{"seq":0}', "no format version"),
        (b'{"v":true}', "no format version"),
        (b'{"v":"1"}', "no format version"),
        (b'{"v":0,"seq":0}', "can no longer be read"),
        (b'{"v":1,"seq":0,"received_t":0,"event":{"type":"car_flew","id":"x","t":0}}', "car_flew"),
        (b'{"v":1,"seq":-1,"received_t":0,"event":{"type":"time_reached","id":"x","t":0}}', "seq"),
        (b'{"v":1,"seq":0,"received_t":0,"event":{"type":"time_reached","id":"x","t":NaN}}', "not a stored event"),
    ],
)
def test_damage_is_an_error_in_words(data: bytes, says: str) -> None:
    """Whatever the bytes are, the answer is a JournalError that names place and fault, never another exception."""
    with pytest.raises(JournalError, match=says) as caught:
        decode(data, "here")
    assert str(caught.value).startswith("here: ")


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=80))
def test_rubbish_never_raises_anything_else(data: bytes) -> None:
    """Random bytes are refused as a JournalError."""
    with pytest.raises(JournalError):
        decode(data)


@settings(max_examples=100, deadline=None)
@given(at=st.integers(0, 150), byte=st.integers(0, 255))
def test_one_wrong_byte_is_refused_or_read(at: int, byte: int) -> None:
    """A flipped byte gives a JournalError or another valid event; nothing else comes out."""
    data = bytearray(encode(one()))
    data[at % len(data)] = byte
    with contextlib.suppress(JournalError):
        assert isinstance(decode(bytes(data)), Stamped)


def test_digest_tells_journals_apart() -> None:
    """It changes with any field, the order and the length; not with the time of day."""
    base = digest([one(0), one(1)])
    assert base == digest([one(0, wall_s=1.0), one(1, wall_s=2.0)])
    assert len({base, digest([one(0)]), digest([one(1), one(0)]), digest([]), digest([one(0), one(1), one(2)])}) == 5
    moved = one(1).model_copy(update={"received_t": 12.750001})
    assert digest([one(0), moved]) != base


HASHED = """
from pitwall.journal.codec import digest
from pitwall.model.events import CommandGiven, StatusChanged, Stamped
labels = sorted({"a", "b", "c", "d"})
events = [StatusChanged(id="s", t=0, status="yellow", scope=tuple(labels)), CommandGiven(id="c", t=1, car="41",
          command="comment", by="desk", text="vibration")]
print(digest(Stamped(seq=n, received_t=float(n), event=event) for n, event in enumerate(events)))
"""


def test_digest_is_the_same_under_any_hash_seed() -> None:
    """Two processes with different PYTHONHASHSEED print the same digest."""
    printed = {
        subprocess.run([sys.executable, "-c", HASHED], env=os.environ | {"PYTHONHASHSEED": seed}, text=True, check=True,
                       capture_output=True).stdout
        for seed in ("1", "4242")
    }
    assert len(printed) == 1
    assert len(printed.pop().strip()) == 64


def test_lines_round_trip(tmp_path: Path) -> None:
    """A journal written as lines reads back equal; blank lines do not matter."""
    events = [Stamped(seq=n, received_t=float(n), event=event) for n, event in enumerate(EVENTS)]
    path = tmp_path / "golden.jsonl"
    assert write_lines(path, events) == len(EVENTS)
    path.write_bytes(path.read_bytes().replace(b"\n", b"\n\n"))
    assert read_lines(path) == tuple(events)


def test_bad_lines_name_file_and_line(tmp_path: Path) -> None:
    """A damaged line, a missing event and a missing file are errors with the place in them."""
    path = tmp_path / "golden.jsonl"
    write_lines(path, [one(0), one(1)])
    path.write_bytes(path.read_bytes() + b"{\n")
    with pytest.raises(JournalError, match=r"golden\.jsonl, line 3: not JSON"):
        read_lines(path)
    write_lines(path, [one(0), one(2)])
    with pytest.raises(JournalError, match="event 1 is missing"):
        read_lines(path)
    with pytest.raises(JournalError, match="cannot be read"):
        read_lines(tmp_path / "nowhere.jsonl")


def test_a_last_line_that_was_cut_costs_only_itself(tmp_path: Path) -> None:
    """Cut at any byte of its last line, or filled up with zeros, it gives its whole lines and says what it lacks."""
    path = tmp_path / "golden.jsonl"
    write_lines(path, [one(0), one(1), one(2)])
    whole = path.read_bytes()
    last = len(whole.splitlines(keepends=True)[-1])
    for left in range(1, last - 1):
        for zeros in (b"", bytes(512)):
            path.write_bytes(whole[: len(whole) - last + left] + zeros)
            found = read_lines_to_the_cut(path)
            assert found.events == (one(0), one(1))
            assert f"line 3 ends after {left} bytes" in found.cut
            assert "to fact 1," in found.cut
            with pytest.raises(JournalError, match=r"golden\.jsonl, line 3"):
                read_lines(path)
    for end in (b"", b"\n", b"\r\n", bytes(512), b"\n" + bytes(512)):
        path.write_bytes(whole.rstrip(b"\n") + end)
        assert read_lines_to_the_cut(path) == Lines((one(0), one(1), one(2)))


def test_what_is_no_cut_is_refused_as_before(tmp_path: Path) -> None:
    """Damage before the last line, a whole last line that is none of ours, and a cut first line are errors."""
    path = tmp_path / "golden.jsonl"
    write_lines(path, [one(0), one(1)])
    whole = path.read_bytes()
    for bad in (whole + b"{\n", whole + b'{"v":1}', b"{\n" + whole[:-5], whole[: len(whole) // 4]):
        path.write_bytes(bad)
        with pytest.raises(JournalError, match=r"golden\.jsonl, line [13]"):
            read_lines_to_the_cut(path)


def test_a_journal_of_before_a_bias_had_to_stand_on_its_steps_is_replayed() -> None:
    """Its car file has the bias at 55.2 by default, between two steps, and a preset that sets it so: nobody may write
    that any more, and what a session was decided on is read all the same."""
    bias = {"switch": "bias", "kind": "bias", "word": "bias", "low": 50, "high": 60, "step": 0.5, "default": 55.2,
            "defaults": [{"position": 55.7, "lap": "cool"}]}  # fmt: skip
    push = {"switch": "push", "kind": "preset", "word": "push", "positions": ["none", "on"], "default": "none",
            "sets": {"bias": 55.2}}  # fmt: skip
    prepared = SessionPrepared(id="prepared", t=0.0, setup=setup())
    record = json.loads(encode(Stamped(seq=0, received_t=0.0, event=prepared)))
    record["event"]["setup"]["cars"]["41"] |= {"switches": [bias, push], "forbidden_on_timed": ["bias"]}
    stored = decode(json.dumps(record, separators=(",", ":")).encode())
    (step,) = decisions([stored], Session())
    assert not step.failed
    assert decode(encode(stored)) == stored
    with pytest.raises(ValidationError, match=r"55\.2 for bias.*50 to 60 in steps of 0\.5"):
        Switch.model_validate(bias)
    record["event"]["setup"]["cars"]["41"]["switches"][0]["default"] = 75
    with pytest.raises(JournalError, match="75 for bias"):
        decode(json.dumps(record, separators=(",", ":")).encode())
