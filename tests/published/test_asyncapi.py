"""The AsyncAPI document against the official schema.

Source: AsyncAPI 3.0.0 JSON Schema from the npm package ``@asyncapi/specs`` (version and licence in
``data/asyncapi-3.0.0-source.json``), checked with ``jsonschema``. ``action`` is send or receive.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from referencing import Registry
from referencing.jsonschema import DRAFT7

from pitwall.bus.asyncapi import asyncapi_document, channel_name
from pitwall.bus.codec import message_for, message_for_fact
from pitwall.bus.topics import TOPICS
from pitwall.model.events import CarCrossed, CommandGiven, StatusChanged, SwitchReported
from pitwall.model.outputs import ClockState, Health, PlanState, Refused, RunProgress

DATA = Path(__file__).parent / "data"
DOCUMENT = asyncapi_document()


def official() -> jsonschema.Draft7Validator:
    """The official schema, ready to validate."""
    schema = json.loads((DATA / "asyncapi-3.0.0.json").read_text(encoding="utf-8"))
    return jsonschema.Draft7Validator(schema)


def payload_validator(model: str) -> jsonschema.Draft7Validator:
    """A validator for one message's payload as the document describes it."""
    registry: Registry[Any] = Registry().with_resource("urn:doc", DRAFT7.create_resource(DOCUMENT))
    return jsonschema.Draft7Validator({"$ref": f"urn:doc#/components/schemas/{model}"}, registry=registry)


def test_document_follows_the_official_schema() -> None:
    """Our document is valid AsyncAPI 3.0.0."""
    assert [error.message for error in official().iter_errors(DOCUMENT)] == []


@pytest.mark.parametrize(
    "damage",
    [
        lambda document: document["operations"]["receive_timing_pit"].update(action="take"),
        lambda document: document["info"].pop("title"),
        lambda document: document["channels"]["clock"].update(adress="typo"),
    ],
)
def test_the_official_schema_refuses_damage(damage: Any) -> None:
    """The check can fail: a wrong action, a missing title, an unknown field."""
    broken = json.loads(json.dumps(DOCUMENT))
    damage(broken)
    assert list(official().iter_errors(broken))


def test_every_topic_has_a_channel_and_one_operation() -> None:
    """Each row of the table is a channel with an operation: receive for what comes in, send for what goes out."""
    assert set(DOCUMENT["channels"]) == {channel_name(row) for row in TOPICS}
    for row in TOPICS:
        wanted = "receive" if row.direction == "in" else "send"
        name = channel_name(row)
        found = [one for one in DOCUMENT["operations"].values() if one["channel"]["$ref"] == f"#/channels/{name}"]
        assert [one["action"] for one in found] == [wanted]
        assert found[0]["bindings"]["mqtt"]["qos"] == row.qos
        assert found[0]["bindings"]["mqtt"]["retain"] == row.retain
        assert DOCUMENT["channels"][name]["address"] == f"pitwall/1/{{session}}/{row.pattern}"


def test_every_reference_leads_somewhere() -> None:
    """No ``$ref`` in the document hangs in the air, and every schema is used."""
    text = json.dumps(DOCUMENT)
    references: set[str] = set()

    def walk(value: Any) -> None:
        for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            walk(inner)
        if isinstance(value, dict) and isinstance(value.get("$ref"), str):
            references.add(value["$ref"])

    walk(DOCUMENT)
    for reference in references:
        target: Any = DOCUMENT
        for step in reference.removeprefix("#/").split("/"):
            target = target[step]
    assert {f"#/components/schemas/{name}" for name in DOCUMENT["components"]["schemas"]} <= references
    assert "prefixItems" not in text
    assert "$defs" not in text


FACTS = [
    CarCrossed(id="a", t=1, car="41", loop="line", lap=3, speed_mps=71.5),
    StatusChanged(id="b", t=2, status="yellow", scope=("3", "4")),
    SwitchReported(id="c", t=3, car="41", switch="brake_bias", position=56.5),
    CommandGiven(id="d", t=4, car="41", command="box", by="engineer"),
]
OUTPUTS = [
    ClockState(id="e", t=1, remaining_s=60, running=True, rate=1, status="green", pit_exit="open"),
    Refused(id="f", t=1, because="d", car="41", reason="no such call"),
    Health(id="g", t=0, state="online", version="1"),
    PlanState(
        id="h", t=1, car="41", revision=2,
        runs=(RunProgress(run="one", want="must", state="next", laps=("out", "timed", "in"), timed_wanted=1,
                          planned_span_s=(0.0, 500.0)),),
    ),
]


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: type(fact).__name__)
def test_facts_as_sent_agree_with_the_document(fact: Any) -> None:
    """What the codec writes for a fact is what the document promises, the wire's ``speed`` included."""
    payload = json.loads(message_for_fact("fp1", fact).payload)
    assert [error.message for error in payload_validator(type(fact).__name__).iter_errors(payload)] == []
    assert list(payload_validator(type(fact).__name__).iter_errors({**payload, "id": 5}))


@pytest.mark.parametrize("output", OUTPUTS, ids=lambda output: type(output).__name__)
def test_outputs_as_sent_agree_with_the_document(output: Any) -> None:
    """What the codec writes for a decision is what the document promises."""
    message = message_for("fp1", output)
    assert message is not None
    payload = json.loads(message.payload)
    validator = payload_validator(type(output).__name__)
    assert [error.message for error in validator.iter_errors(payload)] == []
    assert list(validator.iter_errors({name: value for name, value in payload.items() if name != "t"}))


def test_a_command_typed_by_hand_needs_no_time() -> None:
    """``t`` and the topic's ``car`` may be left out of a command; ``by`` may not."""
    validator = payload_validator("CommandGiven")
    assert list(validator.iter_errors({"id": "x", "command": "box", "by": "me"})) == []
    assert list(validator.iter_errors({"id": "x", "command": "box"}))


def test_a_push_to_talk_needs_no_time_either() -> None:
    """A contact says who talks, under an id of its own."""
    validator = payload_validator("ChannelReported")
    assert list(validator.iter_errors({"id": "x", "talking": "engineer"})) == []
    assert list(validator.iter_errors({"id": "x"}))


def test_document_is_the_same_each_time() -> None:
    """Generating it again gives the same bytes: it can be compared in review."""
    assert json.dumps(asyncapi_document()) == json.dumps(DOCUMENT)


def test_source_is_named_beside_the_data() -> None:
    """The stored schema says where it comes from, which version, and under which licence."""
    source = json.loads((DATA / "asyncapi-3.0.0-source.json").read_text(encoding="utf-8"))
    assert source["version"] == "6.11.1"
    assert source["licence"] == "Apache-2.0"
    assert (DATA / source["file"]).exists()
