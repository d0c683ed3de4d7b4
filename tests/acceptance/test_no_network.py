"""A circuit without any network: everything on this machine works with no route and no names to look up."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from pitwall.app.scenarios import load_rehearsal
from pitwall.app.wiring import Audience, rehearse_at_speed
from pitwall.model.outputs import Prompt


def _refuse_beyond_loopback(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """No connection and no datagram beyond loopback, no look-up of a name; returns what was tried."""
    tried: list[object] = []

    def is_here(host: object) -> bool:
        try:
            return host in ("", None) or ipaddress.ip_address(str(host)).is_loopback
        except ValueError:
            return False

    def guard(owner: Any, name: str, host_of: Callable[..., object]) -> None:
        real = getattr(owner, name)

        def guarded(*given: Any, **named: Any) -> Any:
            host = host_of(*given, **named)
            if not is_here(host):
                tried.append((name, host))
                raise OSError(101, "Network is unreachable")
            return real(*given, **named)

        monkeypatch.setattr(owner, name, guarded)

    def of_address(connection: socket.socket, address: Any, *rest: Any) -> object:
        return address[0] if connection.family in (socket.AF_INET, socket.AF_INET6) else None

    for name in ("connect", "connect_ex", "bind"):
        guard(socket.socket, name, of_address)
    guard(socket, "getaddrinfo", lambda host, *rest, **named: host)
    guard(socket, "gethostbyname", lambda host: host)
    return tried


async def test_rehearsal_over_mqtt_without_a_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Broker, daemon, world and a screen, with everything beyond loopback refused: prompts come, and nothing was even
    tried elsewhere."""
    tried = _refuse_beyond_loopback(monkeypatch)
    whole = load_rehearsal("practice_hour.yaml", seed=3)
    scenario = whole.scenario.model_copy(update={"duration_s": 500.0, "close_after_s": 20.0})
    rehearsal = replace(whole, scenario=scenario, setup=scenario.fitted(whole.setup))
    addresses: list[str] = []
    seen: list[object] = []
    audience = Audience(lambda address, page: addresses.append(address), seen.append, lambda alert: None)
    report = await rehearse_at_speed(rehearsal, 150.0, audience=audience)
    assert report is not None
    assert report["calls"]["planned"] > 10
    assert any(isinstance(one, Prompt) for one in seen)
    assert addresses[0].startswith("mqtt://127.0.0.1:")
    assert tried == []
