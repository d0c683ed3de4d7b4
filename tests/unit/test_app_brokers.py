"""Which broker a daemon uses: what is chosen from options and settings, what is refused, and what auto does."""

from __future__ import annotations

import socket
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pytest
from structlog.testing import capture_logs

from pitwall.app import brokers
from pitwall.app.brokers import BrokerChoice, BrokerWishes, chosen_broker, client_address, start_broker
from pitwall.app.lifecycle import Lifecycle
from pitwall.app.settings import Settings
from pitwall.app.user_files import add_user
from pitwall.bus.address import BrokerAddress
from pitwall.bus.mqtt import MqttBus
from pitwall.errors import BrokerError, FileProblem, UserError
from tests.contract.bus_rigs import QUICK


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """A machine with its state in a folder of its own."""
    return Settings(state_dir=tmp_path)


@pytest.fixture
async def life() -> AsyncIterator[Lifecycle]:
    """Stops what a test started."""
    async with Lifecycle() as made:
        yield made


def _own(choice: BrokerChoice, tmp_path: Path) -> BrokerChoice:
    return replace(choice, records=tmp_path / "records")


def test_default_is_embedded_on_this_machine_for_anybody(settings: Settings) -> None:
    """Without a word: embedded, loopback, port 1883, no users, no WebSocket."""
    choice = chosen_broker(settings, BrokerWishes())
    assert (choice.kind, choice.bind, choice.port, choice.accounts) == ("embedded", "127.0.0.1", 1883, None)
    assert choice.websocket_port is None


def test_options_win_over_settings(tmp_path: Path) -> None:
    """Each wish stands before the machine's setting, also a port of 0."""
    settings = Settings(state_dir=tmp_path, broker="auto", port=1999, websocket_port=8083)
    assert chosen_broker(settings, BrokerWishes()).kind == "auto"
    choice = chosen_broker(settings, BrokerWishes("mosquitto", 0, "localhost", 0))
    assert (choice.kind, choice.port, choice.bind, choice.websocket_port) == ("mosquitto", 0, "127.0.0.1", 0)
    elsewhere = chosen_broker(settings, BrokerWishes("mqtt://10.0.0.5"))
    assert (elsewhere.kind, elsewhere.address) == ("elsewhere", BrokerAddress("10.0.0.5", 1883))


def test_what_is_no_broker_is_refused_with_both_kinds_of_remedy(settings: Settings) -> None:
    """A slip in the word names the addresses and the words that there are."""
    with pytest.raises(UserError, match=r"mqtt://.*one of our own: embedded, mosquitto, auto"):
        chosen_broker(settings, BrokerWishes("mosquito"))
    with pytest.raises(UserError, match="no IPv4 address"):
        chosen_broker(settings, BrokerWishes(bind="the network"))


@pytest.mark.parametrize("kind", ["embedded", "mosquitto", "auto"])
def test_no_network_without_users(settings: Settings, tmp_path: Path, kind: str) -> None:
    """Beyond loopback a users file with somebody in it is demanded; the message holds the command that makes one."""
    wish = BrokerWishes(kind, bind="0.0.0.0")
    with pytest.raises(UserError, match=r"anybody on the network.*users\.yaml; add one: pitwall users add"):
        chosen_broker(settings, wish)
    (tmp_path / "users.yaml").write_text("users: 1\n", encoding="utf-8")
    with pytest.raises(UserError, match="has no users"):
        chosen_broker(settings, wish)
    (tmp_path / "users.yaml").unlink()
    add_user(tmp_path / "users.yaml", "wall", "viewer")
    accounts = chosen_broker(settings, wish).accounts
    assert accounts is not None
    assert set(accounts) == {"wall"}


def test_users_on_this_machine_only_when_they_are_named(settings: Settings, tmp_path: Path) -> None:
    """On loopback the state folder's file is not asked for; a named one is, and must be there and sound."""
    add_user(tmp_path / "users.yaml", "wall", "viewer")
    assert chosen_broker(settings, BrokerWishes()).accounts is None
    assert chosen_broker(settings, BrokerWishes(users=str(tmp_path / "users.yaml"))).accounts
    with pytest.raises(UserError, match="no such users file"):
        chosen_broker(settings, BrokerWishes(users=str(tmp_path / "other.yaml")))
    (tmp_path / "broken.yaml").write_text("users: 1\naccounts: {wall: {role: viewer}}\n", encoding="utf-8")
    with pytest.raises(FileProblem, match=r"broken\.yaml:2: accounts\.wall"):
        chosen_broker(settings, BrokerWishes(users=str(tmp_path / "broken.yaml")))


def test_a_users_file_open_to_others_is_told(settings: Settings, tmp_path: Path) -> None:
    """It is used, with a warning that names the remedy."""
    path = tmp_path / "users.yaml"
    add_user(path, "wall", "viewer")
    path.chmod(0o644)
    with capture_logs() as logs:
        chosen_broker(settings, BrokerWishes(bind="0.0.0.0"))
    assert ["chmod 600" in line["event"] for line in logs] == [True]


@pytest.mark.parametrize(
    ("machine", "address"),
    [
        ({}, "mqtt://127.0.0.1:1883"),
        ({"broker": "mosquitto", "port": 1999}, "mqtt://127.0.0.1:1999"),
        ({"broker": "auto", "bind": "0.0.0.0", "port": 0}, "mqtt://127.0.0.1:1883"),
        ({"broker": "embedded", "bind": "192.168.1.5"}, "mqtt://192.168.1.5:1883"),
        ({"broker": "mqtt://10.0.0.5:1884"}, "mqtt://10.0.0.5:1884"),
    ],
)
def test_a_client_finds_the_broker_of_the_settings(tmp_path: Path, machine: dict[str, object], address: str) -> None:
    """`watch` without a word looks where `serve` without a word is."""
    settings = Settings.model_validate({"state_dir": tmp_path} | machine)
    assert str(client_address(settings, None)) == address
    assert str(client_address(settings, "mqtts://other")) == "mqtts://other:8883"


@pytest.mark.parametrize("kind", ["embedded", "mosquitto"])
async def test_the_daemon_has_a_user_and_a_token_of_its_own(
    settings: Settings, tmp_path: Path, life: Lifecycle, kind: str
) -> None:
    """With users the address carries the daemon's login, which no text shows; another token is refused, in words."""
    token = add_user(tmp_path / "users.yaml", "wall", "viewer")
    running = await start_broker(life, chosen_broker(settings, BrokerWishes(kind, 0, "0.0.0.0", 0)))
    assert (running.kind, running.asks) == (kind, True)
    assert "asks for a user" in running.notes[0]
    assert running.name == f"{kind} {running.address}"
    assert running.websocket is not None
    assert running.address.password is not None
    assert running.address.password not in f"{running!r} {running.name}"
    for user, word, allowed in (("wall", token, True), ("wall", "wrong", False), (None, None, False)):
        bus = MqttBus(replace(running.address, username=user, password=word), settings=QUICK)
        if allowed:
            await bus.start()
        else:
            with pytest.raises(BrokerError, match="not authorised: check user and password"):
                await bus.start()
        await bus.stop()
    daemon = MqttBus(running.address, settings=QUICK)
    await daemon.start()
    await daemon.stop()


async def test_auto_takes_mosquitto_where_there_is_one(tmp_path: Path, life: Lifecycle) -> None:
    """And moves out of the way of whoever has the port, with a note that names that broker too."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        running = await start_broker(life, _own(BrokerChoice("auto", port=port), tmp_path))
    assert running.kind == "mosquitto"
    assert running.address.port != port
    assert any(f"--broker mqtt://127.0.0.1:{port}" in note for note in running.notes)


async def test_auto_without_mosquitto_is_embedded_and_says_so(
    tmp_path: Path, life: Lifecycle, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It moves out of the way too: nobody who said auto wants to hear of ports."""
    monkeypatch.setattr(brokers, "find_program", lambda: None)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        running = await start_broker(life, _own(BrokerChoice("auto", port=port), tmp_path))
    assert running.kind == "embedded"
    assert running.notes[0] == "auto: mosquitto is not on this machine"
    assert any(f"port {port}" in note for note in running.notes)


async def test_auto_with_a_mosquitto_that_does_not_start_is_embedded(
    tmp_path: Path, life: Lifecycle, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The reason is in the notes and in the log."""
    monkeypatch.setattr("pitwall.bus.mosquitto.find_program", lambda: "/nonexistent/mosquitto")
    with capture_logs() as logs:
        running = await start_broker(life, _own(BrokerChoice("auto", port=0), tmp_path))
    assert running.kind == "embedded"
    assert "cannot be started" in running.notes[0]
    assert any("embedded broker is used" in line["event"] for line in logs)


async def test_mosquitto_that_is_not_there_is_an_error(
    tmp_path: Path, life: Lifecycle, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who asked for mosquitto is told how to get it, and what works without."""
    monkeypatch.setattr("pitwall.bus.mosquitto.find_program", lambda: None)
    with pytest.raises(BrokerError, match=r"apt-get install mosquitto.*--broker embedded"):
        await start_broker(life, _own(BrokerChoice("mosquitto", port=0), tmp_path))


async def test_a_broker_elsewhere_is_left_as_it_is(life: Lifecycle) -> None:
    """Nothing is started; its own user and password are used."""
    address = BrokerAddress("10.0.0.5", 1883, "daemon", "word")
    running = await start_broker(life, BrokerChoice("elsewhere", address))
    assert running.address is address
    assert (running.name, running.asks) == ("elsewhere mqtt://10.0.0.5:1883", True)
    assert not (await start_broker(life, BrokerChoice("elsewhere", BrokerAddress("10.0.0.5", 1883)))).asks


async def test_embedded_with_a_taken_websocket_port_leaves_nothing_open(life: Lifecycle) -> None:
    """Its TCP listener was open already: it is closed again, and the message names the taken port and its option."""
    with socket.socket() as taken, socket.socket() as probe:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        probe.bind(("127.0.0.1", 0))
        port, websocket = probe.getsockname()[1], taken.getsockname()[1]
        probe.close()
        with pytest.raises(BrokerError, match=rf"127\.0\.0\.1:{websocket} \(--websocket-port\): somebody") as refused:
            await start_broker(life, BrokerChoice(port=port, websocket_port=websocket))
        assert "--port)" not in str(refused.value).replace("--websocket-port)", "")
        assert "--broker" not in str(refused.value), "what listens there is not said to be a broker to use"
        with socket.socket() as after:
            assert after.connect_ex(("127.0.0.1", port)) != 0


async def test_a_taken_port_names_itself_and_the_broker_that_may_be_there(life: Lifecycle) -> None:
    """Whoever has the port of MQTT may be a broker: then that one may be used."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(BrokerError, match=rf"{port} \(--port\): somebody.*--broker mqtt://127\.0\.0\.1:{port}"):
            await start_broker(life, BrokerChoice(port=port))


@pytest.mark.parametrize("kind", ["embedded", "mosquitto", "auto"])
async def test_an_address_of_another_machine_is_not_a_matter_of_ports(
    tmp_path: Path, life: Lifecycle, kind: Literal["embedded", "mosquitto", "auto"]
) -> None:
    """An address that this machine has not is told as that, with those it can have (192.0.2.0/24 is nobody's: RFC
    5737)."""
    choice = _own(BrokerChoice(kind, port=0, bind="192.0.2.7", accounts={}), tmp_path)
    with pytest.raises(BrokerError, match=r"192\.0\.2\.7 is no address of this machine \(--bind\)") as refused:
        await start_broker(life, choice)
    assert "port" not in str(refused.value)


def test_one_port_for_two_listeners(settings: Settings) -> None:
    """Found before anything is started; two free ones are two."""
    with pytest.raises(UserError, match="--port and --websocket-port are both 1990"):
        chosen_broker(settings, BrokerWishes(port=1990, websocket_port=1990))
    assert chosen_broker(settings, BrokerWishes(port=0, websocket_port=0)).websocket_port == 0


@pytest.mark.parametrize(
    ("wishes", "told"),
    [
        (BrokerWishes("mqtt://10.0.0.5", port=1884), "^--port belongs to a broker of our own"),
        (BrokerWishes("mqtt://10.0.0.5", port=0, websocket_port=9001), "^--port, --websocket-port belong to a broker"),
        (BrokerWishes("mqtt://10.0.0.5", users="nosuch.yaml"), "^--users belongs"),
        (BrokerWishes("mqtt://10.0.0.5", bind="0.0.0.0"), "^--bind belongs"),
        (BrokerWishes("embedded", ca_file="ca.pem"), "^--ca-file belongs to a broker elsewhere"),
    ],
)
def test_options_that_cannot_apply_are_refused(settings: Settings, wishes: BrokerWishes, told: str) -> None:
    """An option that would be ignored is a misunderstanding: wrong usage."""
    with pytest.raises(UserError, match=told):
        chosen_broker(settings, wishes)


def test_settings_of_a_broker_of_our_own_do_not_stand_in_the_way(tmp_path: Path) -> None:
    """The machine's settings serve every broker: an address is taken beside them."""
    settings = Settings(state_dir=tmp_path, port=1999, websocket_port=8083)
    assert chosen_broker(settings, BrokerWishes("mqtt://10.0.0.5")).kind == "elsewhere"


def test_a_slip_in_the_name_of_our_own_broker(settings: Settings) -> None:
    """A word near one of ours is taken for that, not for an address without its beginning."""
    with pytest.raises(UserError, match=r"did you mean 'mosquitto'\?") as refused:
        chosen_broker(settings, BrokerWishes("mosquito"))
    assert "at its start" not in str(refused.value)
