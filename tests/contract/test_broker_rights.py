"""Both brokers of our own keep one matrix: what a role may publish arrives, what it may not does not, nor is it read.

Each is asked over TCP and over a WebSocket, with an MQTT client that is not ours (paho).
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion

from pitwall.app.brokers import RunningBroker
from pitwall.app.screen_answers import rights_told
from pitwall.bus.broker import BrokerLimits, EmbeddedBroker, users_from
from pitwall.bus.mosquitto import MosquittoBroker
from pitwall.bus.mosquitto_files import MosquittoOptions
from pitwall.bus.users import DAEMON, Role, account_of, logins_of
from tests.contract.bus_rigs import eventually
from tests.unit.test_bus_broker_defects import Raw

ROLES: tuple[Role, ...] = ("feed", "desk", "viewer", "admin")
ACCOUNTS = {role: account_of(role, f"token-of-{role}") for role in ROLES}
LOGINS = logins_of(ACCOUNTS, f"token-of-{DAEMON}")
AT = "pitwall/1/practice-1"
TOPICS = ("timing/crossing", "car/41/switch", "radio/41/channel", "desk/41/command", "prompt/41", "advice", "ladder",
          "health", "probe")
MAY_PUBLISH: dict[str, set[str]] = {
    "feed": {"timing/crossing", "car/41/switch", "radio/41/channel"},
    "desk": {"desk/41/command"},
    "viewer": set(),
    "admin": set(TOPICS),
    DAEMON: set(TOPICS),
}
Broker = EmbeddedBroker | MosquittoBroker


@pytest.fixture(params=["embedded", "mosquitto"])
async def broker(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Broker]:
    """A broker of our own with one user a role, and a WebSocket listener."""
    if request.param == "embedded":
        made: Broker = EmbeddedBroker(websocket_port=0, limits=BrokerLimits(users=users_from(LOGINS)))
    else:
        made = MosquittoBroker(MosquittoOptions("127.0.0.1", 0, 0, LOGINS), tmp_path)
    async with made:
        yield made


def _client(transport: Any = "tcp") -> paho.Client:
    # Left to itself it tries again a second after a refusal, and leaving it would wait for that second.
    return paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv311, transport=transport,
                       reconnect_on_failure=False)


class Outsider:
    """paho, connected as a user, hearing what it is given of everything under the session."""

    def __init__(self, user: str, token: str | None = None, transport: Any = "tcp") -> None:
        self.verdicts: list[str] = []
        self.heard: list[tuple[str, bytes]] = []
        self.codes: list[int] = []
        self.client = _client(transport)
        self.client.username_pw_set(user, f"token-of-{user}" if token is None else token)
        self.client.on_connect = lambda client, data, flags, reason, more: self.verdicts.append(str(reason))
        self.client.on_message = lambda client, data, message: self.heard.append((message.topic, message.payload))
        self.client.on_subscribe = lambda client, data, mid, codes, more: self.codes.extend(c.value for c in codes)

    def publish(self, leaf: str, payload: bytes, retain: bool = False) -> None:
        """Publish below the session, at QoS 1."""
        self.client.publish(f"{AT}/{leaf}", payload, qos=1, retain=retain)

    async def subscribe(self, *leaves: str) -> None:
        """Subscribe below the session and wait for the broker's verdicts."""
        wanted = len(self.codes) + len(leaves)
        self.client.subscribe([(f"{AT}/{leaf}", 1) for leaf in leaves])
        await eventually(lambda: len(self.codes) == wanted, "the verdicts")


@asynccontextmanager
async def outsider(broker: Broker, user: str, token: str | None = None, websocket: bool = False
                   ) -> AsyncIterator[Outsider]:
    """An outsider for a while."""
    made = Outsider(user, token, "websockets" if websocket else "tcp")
    port = urlsplit(broker.websocket_address or "").port if websocket else broker.address.port
    assert port is not None
    await asyncio.to_thread(made.client.connect, "127.0.0.1", port)
    made.client.loop_start()
    try:
        await eventually(lambda: bool(made.verdicts), "an answer to CONNECT")
        yield made
    finally:
        made.client.disconnect()
        await asyncio.to_thread(made.client.loop_stop)


@pytest.mark.parametrize("websocket", [False, True], ids=["tcp", "websocket"])
async def test_each_role_publishes_what_it_may_and_nothing_else(broker: Broker, websocket: bool) -> None:
    """Every role tries every branch; the daemon hears exactly those of the matrix."""
    async with outsider(broker, DAEMON) as daemon:
        await daemon.subscribe("#")
        for user in (*ROLES, DAEMON):
            async with outsider(broker, user, websocket=websocket) as one:
                for leaf in TOPICS:
                    one.publish(leaf, user.encode())
                wanted = {(f"{AT}/{leaf}", user.encode()) for leaf in MAY_PUBLISH[user]}
                await eventually(lambda wanted=wanted: wanted <= set(daemon.heard), f"{user}: {wanted}")
        daemon.publish("end", b"end")
        await eventually(lambda: (f"{AT}/end", b"end") in daemon.heard, "the end")
        assert {(topic, said.decode()) for topic, said in daemon.heard} - {(f"{AT}/end", "end")} == {
            (f"{AT}/{leaf}", user) for user, leaves in MAY_PUBLISH.items() for leaf in leaves
        }


async def test_a_page_is_told_what_the_broker_takes(broker: Broker) -> None:
    """What the screen's server says that a user may give is what the broker lets through: of each role by its own name
    and token, of a wrong token nothing, and no more of one who is not there."""
    tell = rights_told(RunningBroker("embedded", broker.address, asks=True, accounts=ACCOUNTS))
    async with outsider(broker, DAEMON) as daemon:
        await daemon.subscribe("#")
        for user in ROLES:
            told = tell({"name": user, "token": f"token-of-{user}"})
            assert (told["known"], told["role"], told["reads"]) == (True, user, user != "feed")
            async with outsider(broker, user) as one:
                one.publish("desk/41/command", user.encode())
            assert bool(told["commands"]) is ("desk/41/command" in MAY_PUBLISH[user])
        daemon.publish("end", b"end")
        await eventually(lambda: (f"{AT}/end", b"end") in daemon.heard, "the end")
        took = {said.decode() for topic, said in daemon.heard if topic == f"{AT}/desk/41/command"}
        assert took == {user for user in ROLES if tell({"name": user, "token": f"token-of-{user}"})["commands"]}
    for wrong in ({"name": "desk", "token": "token-of-admin"}, {"name": "ghost", "token": ""}, {}, {"name": DAEMON}):
        assert tell(wrong) == {"known": True, "role": None, "reads": False, "commands": []}


async def test_a_feed_reads_no_plans_and_a_viewer_does(broker: Broker) -> None:
    """Retained state past a feed's rights reaches a viewer and not the feed; its health reaches both."""
    async with (
        outsider(broker, DAEMON) as daemon, outsider(broker, "feed") as feed, outsider(broker, "viewer") as viewer,
    ):  # fmt: skip
        daemon.publish("plan/41", b"run 3", retain=True)
        daemon.publish("advice", b"drop run 4", retain=True)
        daemon.publish("health", b"online", retain=True)
        await feed.subscribe("plan/41", "advice", "health")
        await viewer.subscribe("plan/41", "advice", "health")
        all_three = {(f"{AT}/plan/41", b"run 3"), (f"{AT}/advice", b"drop run 4"), (f"{AT}/health", b"online")}
        await eventually(lambda: set(viewer.heard) == all_three, "plan, advice and health")
        await eventually(lambda: (f"{AT}/health", b"online") in feed.heard, "health")
        daemon.publish("plan/41", b"run 4", retain=True)
        daemon.publish("health", b"again", retain=True)
        await eventually(lambda: (f"{AT}/health", b"again") in feed.heard, "health again")
        assert {topic for topic, _ in feed.heard} == {f"{AT}/health"}


async def test_a_will_obeys_the_rights_of_its_owner(broker: Broker) -> None:
    """A viewer's link breaks: what it left to be said as the daemon's health is not said; an admin's is."""
    async with outsider(broker, DAEMON) as daemon:
        await daemon.subscribe("#")
        for user, said in (("viewer", b"offline, says the viewer"), ("admin", b"offline, says the admin")):
            link = Raw(*await asyncio.open_connection("127.0.0.1", broker.address.port))
            link.connect(user, user=user, token=f"token-of-{user}", will=(f"{AT}/health", said))
            answer = await link.packet()
            assert answer[:3] == b"\x20\x02\x00" or user == "viewer", "a broker may refuse such a will at once"
            link.writer.transport.abort()
        await eventually(lambda: bool(daemon.heard), "the admin's will")
        daemon.publish("end", b"end")
        await eventually(lambda: (f"{AT}/end", b"end") in daemon.heard, "the end")
        assert daemon.heard == [(f"{AT}/health", b"offline, says the admin"), (f"{AT}/end", b"end")]


@pytest.mark.parametrize("websocket", [False, True], ids=["tcp", "websocket"])
@pytest.mark.parametrize(("user", "token"), [("desk", "wrong"), ("ghost", "token-of-desk"), ("desk", "")])
async def test_a_wrong_token_or_user_is_not_let_in(broker: Broker, user: str, token: str, websocket: bool) -> None:
    """CONNECT is answered with 'not authorised'."""
    async with outsider(broker, user, token, websocket) as one:
        assert one.verdicts[0] == "Not authorized"


async def test_nobody_comes_in_without_a_user(broker: Broker) -> None:
    """A client that gives neither user nor token is refused as well."""
    verdicts: list[str] = []
    client = _client()
    client.on_connect = lambda client, data, flags, reason, more: verdicts.append(str(reason))
    await asyncio.to_thread(client.connect, "127.0.0.1", broker.address.port)
    client.loop_start()
    await eventually(lambda: bool(verdicts), "an answer")
    client.disconnect()
    await asyncio.to_thread(client.loop_stop)
    assert verdicts[0] == "Not authorized"


async def test_a_screen_over_a_websocket_hears_a_desk_over_tcp(broker: Broker) -> None:
    """Two listeners, one broker: what comes in on one goes out on the other, retained state included."""
    async with outsider(broker, "desk") as desk, outsider(broker, DAEMON) as daemon:
        daemon.publish("health", b"online", retain=True)
        async with outsider(broker, "viewer", websocket=True) as screen:
            await screen.subscribe("#")
            await eventually(lambda: screen.heard == [(f"{AT}/health", b"online")], "the retained health")
            desk.publish("desk/41/command", b"said")
            await eventually(lambda: screen.heard[-1:] == [(f"{AT}/desk/41/command", b"said")], "the command")
