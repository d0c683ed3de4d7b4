"""The table of topics and the arithmetic of filters."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.bus.topics import (
    BY_MODEL,
    TOPICS,
    Direction,
    Topic,
    check_slug,
    covers,
    filter_of,
    filters,
    is_filter,
    level_text,
    matches,
    place_of,
    topic_of,
)
from pitwall.errors import UserError
from pitwall.model.events import CommandGiven
from pitwall.model.outputs import Alert, Prompt

DIRECTIONS: tuple[Direction, Direction] = ("in", "out")
LEVELS = st.lists(st.sampled_from(["a", "b", "c", "", "$x"]), min_size=1, max_size=4).map("/".join)
FILTERS = st.lists(st.sampled_from(["a", "b", "+", "#"]), min_size=1, max_size=4).map("/".join).filter(is_filter)


def test_each_model_has_one_topic() -> None:
    """No model and no pattern stands twice: the table can be read both ways."""
    assert len(BY_MODEL) == len(TOPICS) == len({row.pattern for row in TOPICS})


def test_state_is_retained_and_facts_are_not() -> None:
    """Facts and commands are never retained; each retained topic is one that the daemon writes."""
    assert all(row.direction == "out" for row in TOPICS if row.retain)
    assert {row.pattern for row in TOPICS if row.retain} == {
        "desk/{car}/state", "alert/{alert}", "clock", "plan/{car}", "plan/{car}/proposal", "forecast/{car}", "field",
        "health", "advice", "ladder", "debrief/{car}",
    }


def test_only_clock_and_positions_are_at_most_once() -> None:
    """Everything else is sent at QoS 1."""
    assert {row.pattern for row in TOPICS if row.qos == 0} == {"clock", "timing/position", "timing/sighting"}


def test_filters_of_one_direction_take_only_that_direction() -> None:
    """Each inbound topic is taken by exactly one inbound filter and by no outbound one, and the other way round."""
    for row in TOPICS:
        topic = topic_of("fp1", row, dict.fromkeys(row.levels, "41"))
        takers = {way: [one for one in filters("fp1", way) if matches(one, topic)] for way in DIRECTIONS}
        assert {way: len(found) for way, found in takers.items()} == {"in": 0, "out": 0, row.direction: 1}


def test_filters_can_be_asked_for_retained_ones() -> None:
    """The retained filters are those that a sink must look after."""
    assert "pitwall/1/fp1/alert/+" in filters("fp1", "out", retained=True)
    assert "pitwall/1/fp1/prompt/+" not in filters("fp1", "out", retained=True)


@pytest.mark.parametrize("row", TOPICS, ids=lambda row: row.pattern)
def test_a_topic_can_be_taken_apart_again(row: Topic) -> None:
    """``place_of`` undoes ``topic_of`` for each row."""
    levels = dict.fromkeys(row.levels, "41")
    place = place_of(topic_of("fp1", row, levels))
    assert place is not None
    assert (place.session, place.row, place.levels) == ("fp1", row, levels)


@given(st.text(min_size=1, max_size=60))
def test_any_alert_id_survives_as_one_level(alert: str) -> None:
    """An alert id with slashes, wildcards, spaces or letters of any script comes back as it went in."""
    topic = topic_of("fp1", BY_MODEL[Alert], {"alert": alert.encode("utf-8", "replace").decode()})
    assert matches(filter_of("fp1", BY_MODEL[Alert]), topic)
    place = place_of(topic)
    assert place is not None
    assert place.levels == {"alert": alert.encode("utf-8", "replace").decode()}


def test_an_empty_alert_id_is_refused() -> None:
    """An empty level is more likely a mistake than a name."""
    with pytest.raises(UserError, match="without an id"):
        level_text("")


@pytest.mark.parametrize("bad", ["", "FP1", "a b", "a/b", "+", "#", "a" * 33, "fp1\n", "é"])
def test_bad_slugs_are_refused_in_words(bad: str) -> None:
    """A session or car that cannot be a topic level is refused with the rule."""
    with pytest.raises(UserError, match="1 to 32 lower-case"):
        check_slug("session", bad)
    with pytest.raises(UserError, match="car"):
        topic_of("fp1", BY_MODEL[Prompt], {"car": bad})
    with pytest.raises(UserError, match="session"):
        filter_of(bad, BY_MODEL[Prompt])


@pytest.mark.parametrize(
    "topic",
    [
        "", "pitwall/1", "pitwall/1/fp1", "pitwall/1/fp1/", "pitwall/2/fp1/clock", "pitwall/1/FP1/clock",
        "pitwall/1/fp1/clock/", "pitwall/1/fp1/timing/pit\n", "pitwall/1/fp1/desk/A/command",
        "pitwall/1/fp1/desk/41/command/x", "other/1/fp1/clock", "pitwall/1/fp1/desk//command",
    ],
)
def test_foreign_topics_have_no_place(topic: str) -> None:
    """What is not ours to the letter is none of ours."""
    assert place_of(topic) is None


@pytest.mark.parametrize(
    ("topic_filter", "topic", "taken"),
    [
        # MQTT 5.0, 4.7.1.2 and 4.7.1.3, the examples given there
        ("sport/tennis/player1/#", "sport/tennis/player1", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/ranking", True),
        ("sport/tennis/player1/#", "sport/tennis/player1/score/wimbledon", True),
        ("sport/#", "sport", True),
        ("sport/tennis/+", "sport/tennis/player1", True),
        ("sport/tennis/+", "sport/tennis/player1/ranking", False),
        ("sport/+", "sport", False),
        ("sport/+", "sport/", True),
        ("+/+", "/finance", True),
        ("/+", "/finance", True),
        ("+", "/finance", False),
        # 4.7.2
        ("#", "$SYS/uptime", False),
        ("+/monitor/Clients", "$SYS/monitor/Clients", False),
        ("$SYS/#", "$SYS/uptime", True),
        ("$SYS/monitor/+", "$SYS/monitor/Clients", True),
        # 4.7.3: case and the slash count
        ("ACCOUNTS", "Accounts", False),
        ("/finance", "finance", False),
    ],
)
def test_matching_follows_the_standard(topic_filter: str, topic: str, taken: bool) -> None:
    """The worked examples of MQTT 5.0 section 4.7 (from memory; the rules are those of 3.1.1)."""
    assert matches(topic_filter, topic) is taken


@pytest.mark.parametrize(
    ("text", "good"),
    [("a/+/b", True), ("#", True), ("a/#", True), ("+", True), ("a/#/b", False), ("a#", False), ("a+/b", False),
     ("", False), ("a\0", False)],
)
def test_filter_syntax(text: str, good: bool) -> None:
    """Wildcards stand alone in their level, ``#`` only at the end [MQTT-4.7.1-1]."""
    assert is_filter(text) is good


@given(FILTERS, FILTERS, LEVELS)
def test_covering_agrees_with_matching(allowed: str, wanted: str, topic: str) -> None:
    """When one filter covers another, no topic is taken by the second and not by the first."""
    if covers(allowed, wanted) and matches(wanted, topic):
        assert matches(allowed, topic)


@given(FILTERS)
def test_everything_covers_itself_and_is_covered_by_all(topic_filter: str) -> None:
    """A filter covers itself; ``#`` covers each one."""
    assert covers(topic_filter, topic_filter)
    assert covers("#", topic_filter)


def test_a_narrow_right_does_not_cover_a_wide_wish() -> None:
    """``public/+`` does not give ``public/#``, nor ``#`` the ``$`` topics."""
    assert not covers("public/+", "public/#")
    assert not covers("public/a", "public/+")
    assert not covers("#", "$SYS/#")
    assert covers("public/#", "public/+/x")


def test_a_command_topic_reads_as_documented() -> None:
    """The topic of a desk command is spelled as the interface description says."""
    assert topic_of("fp1", BY_MODEL[CommandGiven], {"car": "41"}) == "pitwall/1/fp1/desk/41/command"
