"""Bytes to models and back: every row of the table, random content, random damage, and what the sentences say."""

from __future__ import annotations

import json
import types
from datetime import UTC, datetime
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import numpy as np
import pytest
from annotated_types import Ge, Gt, Le, Lt, MaxLen, MinLen
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import AwareDatetime, BaseModel, TypeAdapter

from pitwall.bus.codec import Cleared, Message, fact_from, message_for, message_for_fact, output_from
from pitwall.bus.payload import MOST_EXACT, control_character, may_hold_controls, read_object
from pitwall.bus.topics import MAX_FACT_BYTES, TOPICS, place_of
from pitwall.errors import PayloadError
from pitwall.model.base import SLUG_PATTERN
from pitwall.model.changes import PlanChange
from pitwall.model.comments import Remark
from pitwall.model.events import CarCrossed, CommandGiven, PromptDelivered, StatusChanged, SwitchReported, TimeReached
from pitwall.model.outputs import AdviceState, Alert, ClockState, HeldBack, LadderState, Prompt, Proposal, WakeAt
from pitwall.model.plan import Item, Run

ROOT = "pitwall/1/fp1/"
INBOUND = [row for row in TOPICS if row.direction == "in"]
OUTBOUND = [row for row in TOPICS if row.direction == "out"]
TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=24)


RUN = Run(run="extra", want="must", laps=("out", "timed", "in"), items=(Item(do="radio_check", at="turn 1"),))
REMARKS = (Remark(turn=4, phase="mid", what="understeer", severity=3), Remark(about="tyres", what="cold", axle="front"),
           Remark(speed="fast", trend="better", confidence="low"))  # fmt: skip
CHANGES = TypeAdapter(tuple[PlanChange, ...]).validate_python([
    {"do": "insert_run", "run": RUN, "after": "first"},
    {"do": "move_run", "run": "first"},
    {"do": "swap_runs", "run": "first", "other": "second"},
    {"do": "insert_item", "run": "first", "item": RUN.items[0]},
    {"do": "move_item", "run": "first", "item": "radio_check", "to": "second", "on": {"timed": [1, 3]}},
    {"do": "swap_item", "run": "first", "item": "radio_check", "new": RUN.items[0]},
    {"do": "set_laps", "run": "first", "laps": "out, 3 timed, in"},
    {"do": "set_run_tyres", "run": "first", "tyres": "B2"},
    {"do": "set_run_fuel", "run": "first", "fuel_kg": 31.5},
    {"do": "set_run_switch", "run": "first", "switch": "torque_map", "position": 3},
    {"do": "set_run_driver", "run": "first", "driver": "driver_b"},
    {"do": "drop_run", "run": "first"},
    {"do": "drop_item", "run": "first", "item": "radio_check"},
])
"""One of each kind; their fields rest on one another, so they are not drawn at random."""


def values_of(kind: Any, rules: tuple[Any, ...] = ()) -> st.SearchStrategy[Any]:
    """Random values of a field's type within its limits."""
    origin, arguments = get_origin(kind), get_args(kind)
    if origin is Annotated:
        return values_of(arguments[0], (*rules, *arguments[1:]))
    if origin is Literal:
        return st.sampled_from(arguments)
    if origin in (Union, types.UnionType):
        return st.one_of([values_of(argument, rules) for argument in arguments])
    if origin is tuple:
        if arguments[-1] is Ellipsis:
            return st.lists(values_of(arguments[0]), max_size=3).map(tuple)
        return st.tuples(*[values_of(argument) for argument in arguments])
    if origin is dict:
        return st.dictionaries(TEXT, values_of(arguments[1]), max_size=3)
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return instances_of(kind)
    return plain_values(kind, rules)


def limit(rules: tuple[Any, ...], kinds: tuple[type, ...], default: float) -> float:
    """The first of these limits among the rules."""
    for rule in rules:
        for name in ("ge", "gt", "le", "lt", "max_length"):
            if isinstance(rule, kinds) and hasattr(rule, name):
                return getattr(rule, name)  # type: ignore[no-any-return]  # a number, by its class
    return default


def plain_values(kind: Any, rules: tuple[Any, ...]) -> st.SearchStrategy[Any]:
    """Numbers, text, truth values and nothing."""
    low, high = limit(rules, (Ge, Gt), -1e6), limit(rules, (Le, Lt), 1e6)
    if kind is bool:
        return st.booleans()
    if kind is int:
        return st.integers(max(int(low), -MOST_EXACT), min(int(high), MOST_EXACT))
    if kind is float:
        open_below, open_above = (any(isinstance(rule, kind_of) for rule in rules) for kind_of in (Gt, Lt))
        return st.floats(low, high, exclude_min=open_below, exclude_max=open_above)
    if kind is str:
        if any(getattr(rule, "pattern", None) == SLUG_PATTERN for rule in rules):
            return st.from_regex(r"[a-z0-9-]{1,32}", fullmatch=True)
        return TEXT
    if kind is AwareDatetime:
        return st.datetimes(datetime(1971, 1, 1), datetime(2099, 1, 1), timezones=st.just(UTC))
    assert kind is type(None), kind
    return st.none()


def instances_of(model: type[BaseModel]) -> st.SearchStrategy[Any]:
    """Random instances of a model; of one whose fields must fit together, some that do."""
    if model is Remark:
        return st.sampled_from(REMARKS)
    fields = {
        name: values_of(field.annotation, tuple(field.metadata))
        for name, field in model.model_fields.items()
        if name != "type"
    }
    if model is CommandGiven:
        fields["changes"] = st.lists(st.sampled_from(CHANGES), max_size=3).map(tuple)
    return st.builds(model, **fields)


def refusal(topic: str, payload: bytes | dict[str, Any], now: float = 0.0) -> PayloadError:
    """The error of a message that must not be taken."""
    raw = json.dumps(payload).encode() if isinstance(payload, dict) else payload
    with pytest.raises(PayloadError) as caught:
        fact_from(ROOT + topic, raw, now)
    return caught.value


@pytest.mark.parametrize("row", INBOUND, ids=lambda row: row.pattern)
def test_every_fact_comes_back_as_it_went_out(row: Any) -> None:
    """Encode and decode any fact of a row: the same fact, on the row's topic, with its QoS."""

    @settings(max_examples=60, deadline=None)
    @given(instances_of(row.model))
    def round_trip(fact: Any) -> None:
        message = message_for_fact("fp1", fact)
        assert (message.qos, message.retain) == (row.qos, False)
        place = place_of(message.topic)
        assert place is not None
        assert place.row is row
        assert fact_from(message.topic, message.payload, now=-1.0) == fact
        assert "type" not in json.loads(message.payload)

    round_trip()


@pytest.mark.parametrize("row", OUTBOUND, ids=lambda row: row.pattern)
def test_every_output_comes_back_as_it_went_out(row: Any) -> None:
    """Encode and decode any decision of a row: the same decision; an alert that is over becomes an empty message."""

    @settings(max_examples=40, deadline=None)
    @given(instances_of(row.model))
    def round_trip(output: Any) -> None:
        message = message_for("fp1", output)
        assert message is not None
        assert (message.qos, message.retain) == (row.qos, row.retain)
        back = output_from(message.topic, message.payload)
        if isinstance(output, Alert | Proposal | AdviceState | LadderState) and not output.active:
            assert message.payload == b""
            named = {"alert": output.id, "car": getattr(output, "car", None)}
            levels = {level: named[level] for level in row.levels}
            assert back == Cleared(message.topic, type(output), levels)
        else:
            assert back == output

    round_trip()


def test_outputs_that_stay_inside_have_no_message() -> None:
    """Wake-ups and alerts that were held back are not published."""
    assert message_for("fp1", WakeAt(t=3)) is None
    assert message_for("fp1", HeldBack(id="a", t=1, alert="x", reason="inhibited")) is None


def test_facts_that_the_daemon_makes_itself_are_never_sent() -> None:
    """A wake-up or a delivery is no message for the bus, in either direction."""
    with pytest.raises(PayloadError, match="never sent over the bus"):
        message_for_fact("fp1", TimeReached(id="a", t=1))
    with pytest.raises(PayloadError, match="never sent"):
        message_for_fact("fp1", PromptDelivered(id="a", t=1, prompt="p"))


def test_speed_is_called_speed_on_the_wire() -> None:
    """``speed`` in metres per second becomes ``speed_mps``; our own name is taken too, but not both."""
    base = {"id": "a", "t": 1, "car": "41", "loop": "line"}
    for name in ("speed", "speed_mps"):
        fact = fact_from(ROOT + "timing/crossing", json.dumps({**base, name: 71.25}).encode(), 0)
        assert isinstance(fact, CarCrossed)
        assert fact.speed_mps == 71.25
    assert json.loads(message_for_fact("fp1", fact).payload)["speed"] == 71.25
    assert "keep one" in refusal("timing/crossing", {**base, "speed": 1, "speed_mps": 1}).reason


def test_the_topic_names_the_car() -> None:
    """The car may be left out or repeated, as text or number, but not contradict the topic."""
    for given_car in ({}, {"car": "41"}, {"car": 41}):
        payload = json.dumps({"id": "a", "t": 1, "switch": "map", "position": 3, **given_car}).encode()
        fact = fact_from(ROOT + "car/41/switch", payload, 0)
        assert isinstance(fact, SwitchReported)
        assert fact.car == "41"
    error = refusal("car/41/switch", {"id": "a", "t": 1, "switch": "map", "position": 3, "car": "58"})
    assert error.reason == "the topic says car '41', the message \"58\""


def test_the_kind_of_a_position_is_kept() -> None:
    """Text, whole number, number and truth value stay what they are."""
    for position in ("3", 3, 3.5, True):
        payload = json.dumps({"id": "a", "t": 1, "switch": "map", "position": position}).encode()
        fact = fact_from(ROOT + "car/41/switch", payload, 0)
        assert isinstance(fact, SwitchReported)
        assert type(fact.position) is type(position)


def test_a_command_without_a_time_gets_the_receivers_now() -> None:
    """A hand-typed command needs no ``t``; one that has it keeps it. A feed's fact must have it."""
    typed = {"id": "a", "command": "box", "by": "me"}
    assert fact_from(ROOT + "desk/41/command", json.dumps(typed).encode(), 612.5).t == 612.5
    assert fact_from(ROOT + "desk/41/command", json.dumps({**typed, "t": 5}).encode(), 612.5).t == 5
    assert refusal("timing/pit", {"id": "a", "car": "41", "where": "entry"}, 612.5).reason == (
        "field 't' is missing: expected a number"
    )


def test_a_contact_on_the_push_to_talk_needs_no_time() -> None:
    """It knows no session time: the moment at which its message came counts. A radio desk that has one keeps it."""
    pressed = {"id": "a", "talking": "engineer"}
    assert fact_from(ROOT + "radio/41/channel", json.dumps(pressed).encode(), 612.5).t == 612.5
    assert fact_from(ROOT + "radio/41/channel", json.dumps({**pressed, "t": 5}).encode(), 612.5).t == 5


def test_unknown_fields_are_passed_over() -> None:
    """A newer sender may say more than we know; a field ``type`` is not needed and not believed."""
    payload = {"id": "a", "t": 1, "car": "41", "where": "exit", "limiter": {"on": [1, 2]}, "type": "anything"}
    assert fact_from(ROOT + "timing/pit", json.dumps(payload).encode(), 0).id == "a"
    clock = ClockState(id="e", t=1, remaining_s=60, running=True, rate=1, status="green", pit_exit="open")
    message = message_for("fp1", clock)
    assert message is not None
    newer = {**json.loads(message.payload), "sun": "out"}
    assert output_from(message.topic, json.dumps(newer).encode()) == clock


def test_unknown_fields_deep_within_a_state_are_passed_over() -> None:
    """A newer daemon may add fields to parts of a state: an older client still reads it."""
    prompt = Prompt(
        id="p", t=1, car="41", call="c", revision=0, kind="box", text="Box, box", short="BOX", say_from_s=1, say_by_s=2,
        spoken_s=1, priority=90, state="shown",
    )
    message = message_for("fp1", prompt)
    assert message is not None
    newer = json.loads(message.payload)
    newer["ask"]["tone"] = "calm"
    newer["colour"] = "red"
    assert output_from(message.topic, json.dumps(newer).encode()) == prompt


@pytest.mark.parametrize(
    ("topic", "payload", "sentence"),
    [
        ("timing/crossing", {"id": "a", "t": 1, "car": "41", "loop": "line", "lap": "three"},
         "field 'lap' is \"three\": expected a whole number"),
        ("timing/crossing", {"id": "a", "t": 1, "car": "41", "loop": "line", "lap_time_s": -1},
         "field 'lap_time_s' is -1: expected greater than 0"),
        ("timing/crossing", {"id": "a", "t": 1, "car": "41", "loop": "line", "speed": "fast"},
         "field 'speed' is \"fast\": expected a number"),
        ("timing/crossing", {"id": "a", "t": "1", "car": "41", "loop": "line"},
         "field 't' is \"1\": expected a number of session seconds"),
        ("timing/crossing", {"id": "a", "t": "+00:01:00", "car": "41", "loop": "line"},
         "field 't' is \"+00:01:00\": expected a number of session seconds"),
        ("timing/pit", {"id": "a", "t": 1, "car": "A 1", "where": "in"},
         "field 'car' is \"A 1\": expected 1 to 32 lower-case letters, digits or hyphens; "
         "field 'where' is \"in\": expected 'entry' or 'exit'"),
        ("timing/status", {"id": "a", "t": 1, "scope": "most"}, "field 'scope' is \"most\": expected 'all' or a list"),
        ("timing/clock", {"id": "a", "t": 1, "remaining_s": 5, "running": "yes"},
         "field 'running' is \"yes\": expected true or false"),
        ("timing/clock", {"id": "a", "t": True, "remaining_s": 5, "running": True},
         "field 't' is true: expected a number"),
        ("timing/pit", {}, "field 'id' is missing: expected text; field 't' is missing: expected a number; "
                           "field 'car' is missing: expected text; and 1 more"),
        ("desk/41/command", {"id": "a", "by": "me", "command": "bocks"},
         "field 'command' is \"bocks\": expected 'said', "),
        ("desk/41/command", {"id": "a", "by": "me", "command": "comment", "text": "x\u001b[2J"},
         "a text holds the control character \"\\u001b\": leave it out"),
    ],
)
def test_sentences_name_field_found_and_expected(topic: str, payload: dict[str, Any], sentence: str) -> None:
    """A refusal says which field, what stands there and what belongs there; it carries topic and message id."""
    error = refusal(topic, payload)
    assert error.reason.startswith(sentence)
    assert error.topic == ROOT + topic
    assert str(error) == f"{ROOT}{topic}: {error.reason}"
    assert error.message_id == payload.get("id")


@pytest.mark.parametrize(
    ("payload", "sentence"),
    [
        (b"", "the message is empty: expected a JSON object"),
        (b"[]", "found a list, expected a JSON object"),
        (b"null", "found null, expected a JSON object"),
        (b"true", "found true or false, expected a JSON object"),
        (b"12", "found a number, expected a JSON object"),
        (b'"x"', "found text, expected a JSON object"),
        (b"{", "not JSON at character 1: "),
        (b'{"id":"a"} x', "not JSON at character 11: "),
        (b"\xff\xfe", "byte 0 is not UTF-8: send UTF-8 text"),
        (b'\xef\xbb\xbf{"id":"a"}', "not JSON at character 0: "),
        (b'{"id":"a","id":"b"}', 'the name "id" stands twice in one object: keep one'),
        (b'{"id":"a","x":{"y":1,"y":2}}', 'the name "y" stands twice in one object: keep one'),
        (b'{"t":NaN}', "NaN is not JSON: leave the field out when there is no value"),
        (b'{"t":-Infinity}', "-Infinity is not JSON: "),
        (b'{"t":1e999}', "the number 1e999 is too large"),
        (b'{"t":9007199254740993}', "the whole number 9007199254740993 is too large: at most 2^53"),
        (b'{"t":' + b"9" * 6000 + b"}", "the whole number 9999"),
        (b'{"x":' + b"[" * 30_000 + b"]" * 30_000 + b"}", "nested too deeply"),
        (b'{"x":' * 12_000, "nested too deeply"),
        (b'{"scope":' + b"[" * 40 + b"]" * 40 + b"}", "nested too deeply"),
        (b" " * (MAX_FACT_BYTES + 1), "the message has 65537 bytes: at most 65536 are taken"),
    ],
)
def test_what_is_no_proper_object_is_refused(payload: bytes, sentence: str) -> None:
    """Empty, foreign, oversized, ambiguous or endlessly nested bytes are refused with one sentence each."""
    assert refusal("timing/status", payload).reason.startswith(sentence)


def test_a_message_of_64_kib_is_taken() -> None:
    """The limit itself is allowed."""
    head = b'{"id":"a","t":1,"status":"green","more":"'
    payload = head + b"x" * (MAX_FACT_BYTES - len(head) - 2) + b'"}'
    assert len(payload) == MAX_FACT_BYTES
    assert isinstance(fact_from(ROOT + "timing/status", payload, 0), StatusChanged)


def test_ids_are_quoted_only_when_fit_to_be() -> None:
    """An unreadable id (no text, too long, not printable) is not repeated."""
    assert refusal("timing/pit", {"id": 5}).message_id is None
    assert refusal("timing/pit", {"id": "x" * 129}).message_id is None
    assert refusal("timing/pit", {"id": "a\nb"}).message_id is None
    assert refusal("timing/pit", b'{"id":"\\ud800"}').message_id is None
    assert refusal("timing/pit", {"id": "fine"}).message_id == "fine"


@pytest.mark.parametrize("topic", ["clock", "prompt/41", "timing/speed", "desk/A/command", "desk/41/state"])
def test_topics_that_are_not_for_facts_are_refused(topic: str) -> None:
    """What the daemon publishes itself, or nobody, is no fact."""
    assert "not a topic for facts and commands" in refusal(topic, {"id": "a"}).reason


def test_a_client_refuses_what_is_not_the_daemons() -> None:
    """``output_from`` takes outbound topics only, and a message must agree with its topic."""
    with pytest.raises(PayloadError, match="not a topic for what the daemon says"):
        output_from(ROOT + "timing/pit", b"{}")
    alert = Alert(id="a1", t=1, kind="overrun", priority="high", active=True, text="x", help="y", since_s=0)
    message = message_for("fp1", alert)
    assert message is not None
    with pytest.raises(PayloadError, match="the topic says alert"):
        output_from(ROOT + "alert/other", message.payload)
    with pytest.raises(PayloadError, match="the message is empty"):
        output_from(ROOT + "refused", b"")


def test_too_large_a_message_is_refused_where_it_is_made() -> None:
    """A sender learns at once that its fact is too large, with both sizes."""
    fact = CommandGiven(id="a", t=1, car="41", command="comment", by="me", text="\N{GRINNING FACE}" * 2000)
    assert len(message_for_fact("fp1", fact).payload) < MAX_FACT_BYTES
    wide = StatusChanged(id="a", t=1, status="yellow", scope=tuple(f"sector-{n:04d}" for n in range(8000)))
    with pytest.raises(PayloadError, match=r"would have \d+ bytes: at most 65536"):
        message_for_fact("fp1", wide)


def test_5000_mutated_payloads_only_ever_raise_payload_errors() -> None:
    """Random damage (bytes changed, cut, doubled, spliced) to valid messages is either taken or refused, never more."""
    dice = np.random.default_rng(20)
    seeds: list[Message] = [
        message_for_fact("fp1", CarCrossed(id="a", t=12.5, car="41", loop="line", lap=3, lap_time_s=91.2)),
        message_for_fact("fp1", StatusChanged(id="b", t=3, status="yellow", scope=("3", "4"), pit_exit="open")),
        message_for_fact("fp1", CommandGiven(id="c", t=4, car="41", command="comment", by="me", text="wide \u00e9")),
        message_for_fact("fp1", SwitchReported(id="d", t=5, car="41", switch="brake_bias", position=56.5)),
    ]
    spices = [b"NaN", b"1e999", b"[" * 50, b"{", b"\\ud800", b"\x00", b"\xff", b'"', b'"id":"z",', b"null", b"9" * 40]
    taken, sentences = 0, []
    for number in range(5000):
        message = seeds[number % len(seeds)]
        data = bytearray(message.payload)
        for _ in range(int(dice.integers(1, 5))):
            at = int(dice.integers(len(data) + 1))
            match int(dice.integers(5)):
                case 0:
                    data[at : at + 1] = bytes([int(dice.integers(256))])
                case 1:
                    del data[at : at + int(dice.integers(1, 12))]
                case 2:
                    data[at:at] = data[: int(dice.integers(1, 20))]
                case 3:
                    data[at:at] = spices[int(dice.integers(len(spices)))]
                case _:
                    data[at : at + 1] = b"0123456789"[int(dice.integers(10)) :][:1]
        try:
            fact_from(message.topic, bytes(data), 0.0)
            taken += 1
        except PayloadError as error:
            sentences.append(str(error))
    assert taken + len(sentences) == 5000
    assert taken > 50
    assert len(sentences) > 3000
    assert max(map(len, sentences)) < 1500


def test_mutated_outputs_only_ever_raise_payload_errors() -> None:
    """The client's side is as safe: 2,000 damaged prompts."""
    dice = np.random.default_rng(21)
    prompt = Prompt(
        id="p", t=1, car="41", call="c", revision=0, kind="box", text="Box, box", short="BOX", say_from_s=1, say_by_s=2,
        spoken_s=1, priority=90, state="shown",
    )
    message = message_for("fp1", prompt)
    assert message is not None
    sentences = []
    for _ in range(2000):
        data = bytearray(message.payload)
        for _ in range(int(dice.integers(1, 4))):
            data[int(dice.integers(len(data)))] = int(dice.integers(256))
        try:
            output_from(message.topic, bytes(data))
        except PayloadError as error:
            sentences.append(str(error))
    assert len(sentences) > 1000


TEXTS = st.text(st.characters(codec=None), max_size=12)
PLAIN = st.recursive(st.none() | st.booleans() | st.integers(-9, 9) | TEXTS, lambda inner: st.lists(inner, max_size=3)
                     | st.dictionaries(TEXTS, inner, max_size=3), max_leaves=6)


@settings(deadline=None)
@given(fields=st.dictionaries(TEXTS, PLAIN, max_size=4), ascii_only=st.booleans())
def test_a_message_without_an_escape_holds_no_control_character(fields: dict[str, Any], ascii_only: bool) -> None:
    """Texts are gone through only where the bytes have a backslash or DEL: nothing is missed by that."""
    payload = json.dumps(fields, ensure_ascii=ascii_only).encode("utf-8", "surrogatepass")
    try:
        found = read_object("here", payload, MAX_FACT_BYTES)
    except PayloadError:
        return  # half of a surrogate pair, as bytes: no UTF-8
    assert may_hold_controls(payload) or control_character(found) is None


@pytest.mark.parametrize(("opens", "closes"), [("[", "]"), ('{"a":', "}")])
def test_sixteen_levels_are_read_and_one_more_is_not(opens: str, closes: str) -> None:
    """The object counts; where there are fewer brackets than that, nothing is measured."""
    for depth, taken in ((13, True), (14, True), (15, False), (16, False), (17, False)):
        payload = f'{{"id": {opens * depth}1{closes * depth}}}'.encode()
        if taken:
            assert read_object("here", payload, MAX_FACT_BYTES)
        else:
            with pytest.raises(PayloadError, match="nested too deeply"):
                read_object("here", payload, MAX_FACT_BYTES)


def test_limits_of_a_length_rule_are_known_to_the_generator() -> None:
    """The random instances respect the rules they know: a check on the check."""
    assert limit((Ge(3),), (Ge, Gt), 0) == 3
    assert limit((MinLen(1), MaxLen(9)), (MaxLen,), 0) == 9
    assert limit((), (Le, Lt), 7) == 7
