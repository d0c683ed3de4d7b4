"""Which broker a daemon uses, and starting one of our own: embedded, or mosquitto as a child.

``embedded`` is in our own process and needs nothing; ``mosquitto`` outlives a daemon that is killed, so its will
speaks; ``auto`` takes mosquitto where there is one; an address is somebody else's broker, which is left as it is.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import structlog

from pitwall.app.lifecycle import Lifecycle
from pitwall.app.plain_words import near
from pitwall.app.settings import Settings, state_folder
from pitwall.app.user_files import open_to_others, read_users, users_file
from pitwall.bus.address import BrokerAddress, parse_address, tls_context
from pitwall.bus.broker import BrokerLimits, EmbeddedBroker, users_from
from pitwall.bus.mosquitto import MosquittoBroker
from pitwall.bus.mosquitto_files import MosquittoOptions, find_program
from pitwall.bus.sockets import (
    is_loopback,
    is_of_this_machine,
    is_taken,
    listening_address,
    obstacle,
    reached_at,
)
from pitwall.bus.users import DAEMON, Account, Login, logins_of, new_token
from pitwall.errors import BrokerError, UserError

__all__ = [
    "BrokerAddress", "BrokerChoice", "BrokerWishes", "RunningBroker", "chosen_broker", "client_address", "own_broker",
    "start_broker",
]  # fmt: skip

_log = structlog.get_logger(__name__)

LAST_WORD_S = 0.3

Stop = Callable[[], Awaitable[None]]
Kind = Literal["embedded", "mosquitto", "auto", "elsewhere"]
OWN: dict[str, Kind] = {"embedded": "embedded", "mosquitto": "mosquitto", "auto": "auto"}


@dataclass(frozen=True)
class BrokerChoice:
    """What was asked for. ``address`` is set for a broker elsewhere, the rest is for one of our own.

    ``records`` is the folder where running children are written down. Without ``accounts`` anybody on this machine
    may connect.
    """

    kind: Kind = "embedded"
    address: BrokerAddress | None = None
    port: int = 1883
    bind: str = "127.0.0.1"
    websocket_port: int | None = None
    accounts: Mapping[str, Account] | None = field(default=None, repr=False)
    records: Path | None = None


@dataclass(frozen=True)
class RunningBroker:
    """What the daemon connects to: ``address`` with its own user and token, which its text does not show."""

    kind: Literal["embedded", "mosquitto", "elsewhere"]
    address: BrokerAddress
    websocket: str | None = None
    notes: tuple[str, ...] = ()
    asks: bool = False
    """True when it asks for a user and a token."""
    accounts: Mapping[str, Account] | None = field(default=None, repr=False)
    """The users of one of our own that asks; those of a broker elsewhere nobody here knows."""

    @property
    def name(self) -> str:
        """Kind and address, for ``health``."""
        return f"{self.kind} {self.address}"


@dataclass(frozen=True)
class BrokerWishes:
    """A command line's options on brokers; None means that the settings decide."""

    broker: str | None = None
    port: int | None = None
    bind: str | None = None
    websocket_port: int | None = None
    users: str | None = None
    ca_file: str | None = None


def chosen_broker(settings: Settings, wishes: BrokerWishes) -> BrokerChoice:
    """Read what was asked for, before anything is started.

    Raises:
        UserError: when it is neither one of our own nor an address, or would be open to a network without users; when
            an option cannot apply to it, or both listeners would have one port.
        FileProblem: when the users file has faults.
    """
    text = wishes.broker or settings.broker
    _refuse_what_cannot_apply(wishes, text)
    if text not in OWN:
        return BrokerChoice("elsewhere", client_address(settings, text, wishes.ca_file))
    bind = listening_address(wishes.bind or settings.bind)
    port = settings.port if wishes.port is None else wishes.port
    websocket_port = settings.websocket_port if wishes.websocket_port is None else wishes.websocket_port
    if port and port == websocket_port:
        raise UserError(f"--port and --websocket-port are both {port}: give each listener a port of its own")
    return BrokerChoice(
        kind=OWN[text],
        port=port,
        bind=bind,
        websocket_port=websocket_port,
        accounts=_accounts(settings, wishes, bind),
        records=state_folder(settings) / "brokers",
    )


def _refuse_what_cannot_apply(wishes: BrokerWishes, text: str) -> None:
    """An option of the command line that would be ignored is a misunderstanding; settings serve every broker."""
    if text in OWN:
        if wishes.ca_file is not None:
            raise UserError(f"--ca-file belongs to a broker elsewhere (mqtts://), and --broker is {text}: leave it out")
        return
    given = {"--port": wishes.port, "--bind": wishes.bind, "--websocket-port": wishes.websocket_port,
             "--users": wishes.users}
    named = [option for option, value in given.items() if value is not None]
    if named:
        belongs = "belongs" if len(named) == 1 else "belong"
        raise UserError(f"{', '.join(named)} {belongs} to a broker of our own, and --broker names one elsewhere: leave "
                        f"{'it' if len(named) == 1 else 'them'} out, or take --broker {', '.join(OWN)}")


def _accounts(settings: Settings, wishes: BrokerWishes, bind: str) -> Mapping[str, Account] | None:
    named = wishes.users is not None or settings.users is not None
    path = users_file(settings, wishes.users)
    if is_loopback(bind) and not named:
        return None
    remedy = "add one: pitwall users add NAME --role viewer" + (f" --file {path}" if named else "")
    if not os.path.exists(path):  # False too where we may not look
        raise UserError(f"on {bind} anybody on the network could listen and give commands: there is no users file "
                        f"{path}; {remedy}" if not is_loopback(bind) else f"{path}: no such users file; {remedy}")
    accounts = read_users(path)
    if not accounts:
        raise UserError(f"{path} has no users, so nobody but the daemon could connect; {remedy}")
    if open_to_others(path):
        _log.warning("the users file may be read by others: chmod 600", file=str(path))
    return accounts


def client_address(settings: Settings, text: str | None, ca_file: str | None = None) -> BrokerAddress:
    """Where a client finds the broker: the address given, else the one of the settings, else our own on this machine.

    Raises:
        UserError: when it cannot be read, or the file of the authority cannot be used.
    """
    ca_file = ca_file or (str(settings.ca_file.expanduser()) if settings.ca_file is not None else None)
    text = text or settings.broker
    if text in OWN:
        bind = listening_address(settings.bind)
        return BrokerAddress("127.0.0.1" if bind == "0.0.0.0" else bind, settings.port or 1883)
    try:
        address = parse_address(text, ca_file)
    except UserError as problem:
        hint = near(text, list(OWN)) if "://" not in text else None
        said = f"no broker of that name: {hint} An address is written mqtt://127.0.0.1:1883" if hint else str(problem)
        raise UserError(f"{said}; or one of our own: {', '.join(OWN)}") from None
    tls_context(address)
    return address


async def start_broker(life: Lifecycle, choice: BrokerChoice) -> RunningBroker:
    """Start a broker of our own if that was asked for, as a part of ``life``.

    Raises:
        BrokerError: when it cannot be started, with the remedy.
    """
    if choice.address is not None:
        return RunningBroker("elsewhere", choice.address, asks=choice.address.username is not None)
    if not is_of_this_machine(choice.bind):
        raise BrokerError(f"{choice.bind} is no address of this machine (--bind): 127.0.0.1 is this machine alone, "
                          "0.0.0.0 every network it is on")
    daemon_token = new_token()
    logins = None if choice.accounts is None else logins_of(choice.accounts, daemon_token)
    if choice.kind == "embedded":
        running = await _embedded(life, choice, logins)
    elif choice.kind == "mosquitto":
        running = await _mosquitto(life, choice, logins)
    else:
        running = await _whichever(life, choice, logins)
    if logins is None:
        return running
    note = f"listens on {choice.bind} and asks for a user and a token: pitwall users list"
    return replace(running, address=replace(running.address, username=DAEMON, password=daemon_token),
                   notes=(note, *running.notes), asks=True, accounts=choice.accounts)


async def own_broker(life: Lifecycle, port: int) -> BrokerAddress:
    """An embedded broker on loopback for everybody on this machine: what rehearsals use.

    Raises:
        BrokerError: when the port is taken.
    """
    return (await start_broker(life, BrokerChoice(port=port))).address


async def _whichever(life: Lifecycle, choice: BrokerChoice, logins: Mapping[str, Login] | None) -> RunningBroker:
    if find_program() is None:
        why = "auto: mosquitto is not on this machine"
    else:
        try:
            return await _mosquitto(life, choice, logins)
        except BrokerError as failure:
            why = f"auto: {failure}"
            _log.warning("mosquitto does not start, so the embedded broker is used", reason=str(failure))
    notes = [why]
    if choice.port and is_taken(choice.bind, choice.port):
        notes.append(_moved(choice.port))
        choice = replace(choice, port=0)
    running = await _embedded(life, choice, logins)
    return replace(running, notes=(*notes, *running.notes))


async def _mosquitto(life: Lifecycle, choice: BrokerChoice, logins: Mapping[str, Login] | None) -> RunningBroker:
    assert choice.records is not None
    options = MosquittoOptions(choice.bind, choice.port, choice.websocket_port, logins)
    broker = MosquittoBroker(options, choice.records)
    await life.start("broker", broker.start, _after_the_last_word(broker))
    return RunningBroker("mosquitto", broker.address, broker.websocket_address, tuple(map(_moved, broker.moved)))


async def _embedded(life: Lifecycle, choice: BrokerChoice, logins: Mapping[str, Login] | None) -> RunningBroker:
    limits = BrokerLimits(users=None if logins is None else users_from(logins))
    broker = EmbeddedBroker(choice.port, choice.bind, choice.websocket_port, limits)
    try:
        await life.start("broker", broker.start, _after_the_last_word(broker))
    except BrokerError as failure:
        raise BrokerError(_why_not(choice) or str(failure)) from failure
    return RunningBroker("embedded", broker.address, broker.websocket_address)


def _why_not(choice: BrokerChoice) -> str:
    """Which port stands in the way, why, and what to do; nothing when both could be had now."""
    told = []
    for option, port in (("--port", choice.port), ("--websocket-port", choice.websocket_port)):
        reason = obstacle(choice.bind, port) if port else None
        if reason is not None:
            told.append(f"cannot listen on {choice.bind}:{port} ({option}): {reason}; choose another port, or 0 for a "
                        "free one")
    # Only a listener of MQTT's own kind may be a broker that one could use instead.
    if told and "(--port): somebody" in told[0]:
        told.append(f"or, if it is a broker, use that one: --broker mqtt://{reached_at(choice.bind)}:{choice.port}")
    return f"the embedded broker {'; '.join(told)}" if told else ""


def _after_the_last_word(broker: EmbeddedBroker | MosquittoBroker) -> Stop:
    async def stop() -> None:
        # Its clients' queues end with it: let them hear the daemon's last word first.
        await asyncio.sleep(LAST_WORD_S)
        await broker.stop()

    return stop


def _moved(port: int) -> str:
    return f"port {port} is another broker's, so a free one was taken; that broker: --broker mqtt://127.0.0.1:{port}"
