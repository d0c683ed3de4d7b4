"""What was true a moment ago must not look true now: broker, daemon and server taken away and given back."""

from __future__ import annotations

import json
import signal

import pytest
from playwright.sync_api import Page

from pitwall.bus.sockets import free_port
from tests.acceptance.processes import Processes, leave
from tests.screen.conftest import Open, started_mosquitto
from tests.screen.serving import begun, call_to_make, commands, give, hides, press, publish, shows, until


def _colours(page: Page) -> str:
    return str(page.evaluate("getComputedStyle(document.querySelector('main')).filter"))


def test_the_broker_dies_and_comes_back(processes: Processes, open_page: Open) -> None:
    """Over a mosquitto elsewhere: killed, the page says that there is no link and looks old; a key then sends nothing
    and says so. Back, the page recovers by itself, nothing is doubled, and keys work again. Who may give commands is
    that broker's business: the page offers all, and says that it cannot know."""
    port = free_port()
    broker = started_mosquitto(port)
    try:
        _, said = begun(processes, "--broker", f"mqtt://127.0.0.1:{port}")
        page = open_page(said["screen"])
        call_to_make(page)
        shows(page, "the broker decides who may give commands", ".rights")
        calls = page.locator(".queue li").count()
        broker.kill()
        broker.wait()
        shows(page, "No link to the bus", ".gone")
        assert "grayscale" in _colours(page)
        page.keyboard.press("k")
        shows(page, "not sent", ".said-here")
        broker = started_mosquitto(port)
        hides(page, ".gone b")
        page.locator(".say .words, .next-up").first.wait_for()
        assert page.locator(".queue li").count() <= calls + 2
        assert commands(said, "asked") == []
        press(page, "k")
        page.locator(".owed").wait_for()
        assert len(commands(said, "asked")) == 1
    finally:
        broker.kill()
        broker.wait()


@pytest.mark.parametrize("broker", ["embedded", "mosquitto"])
def test_the_daemon_is_killed_and_started_again(processes: Processes, open_page: Open, broker: str) -> None:
    """Killed with its broker and its page's server: the page that is open says so. Started again on the same port it
    goes on from the journal, and the page with it."""
    port, screen = free_port(), free_port()
    where = ("--port", str(port), "--screen-port", str(screen), "--broker", broker)
    daemon, said = processes.serve("event.yaml", *where)
    give(processes, said, "status", "status=green")
    give(processes, said, "pit", "where=exit")
    page = open_page(said["screen"])
    call_to_make(page)
    press(page, "k")
    page.locator(".owed").wait_for()
    leave(daemon, signal.SIGKILL)
    shows(page, "No link to the bus", ".gone")
    _, again = processes.serve("event.yaml", *where)
    assert again["resumed"] is True
    hides(page, ".gone b")
    assert page.locator(".owed").count() == 1
    shows(page, "green", ".status")


def test_a_frozen_daemon_looks_old(processes: Processes, open_page: Open) -> None:
    """The links stand but nothing is said any more: within seconds the page says that the clock does not speak."""
    daemon, said = begun(processes, "--broker", "mosquitto")
    page = open_page(said["screen"])
    call_to_make(page)
    daemon.send_signal(signal.SIGSTOP)
    try:
        shows(page, "clock has not spoken", ".gone")
        stood = page.locator(".time b").inner_text()
        page.wait_for_timeout(1100)
        assert page.locator(".time b").inner_text() == stood != "–"
    finally:
        daemon.send_signal(signal.SIGCONT)
    hides(page, ".gone b")


def test_what_cannot_be_drawn_does_not_leave_an_old_picture(processes: Processes, open_page: Open) -> None:
    """Somebody publishes a plan that is none: the page says that it cannot draw it, and is whole again with the next
    plan of the daemon."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    call_to_make(page)
    publish(said, "plan/41", {"type": "plan_state", "id": "none", "t": 0.0, "car": "41", "revision": 99})
    shows(page, "cannot draw", "#failed")
    assert page.locator(".say").count() == 0
    give(processes, said, "drop", "run=long")
    hides(page, "#failed")
    page.locator(".say").wait_for()


def test_the_sheet_opens_when_the_server_is_gone(processes: Processes, open_page: Open) -> None:
    """Kept by the browser while all was well: with the server gone the sheet opens, with runs, times and calls."""
    daemon, said = begun(processes)
    page = open_page(said["screen"])
    call_to_make(page)
    until(lambda: bool(page.evaluate("localStorage.getItem('pitwall.sheet') !== null")))
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.reload()  # its files now pass through the worker, which keeps them
    page.locator(".cars button").first.wait_for()
    until(lambda: page.evaluate("caches.open('pitwall-page').then(c => c.keys()).then(k => k.length)") > 25)
    leave(daemon, signal.SIGKILL)
    page.goto(said["screen"] + "#/sheet/41")
    page.reload()
    shows(page, "baseline", ".grab table")
    assert page.locator(".grab ol li").count() >= 1


def test_pages_are_told_where_they_are(processes: Processes, open_page: Open) -> None:
    """The server says what it is; a foreign page, and a foreign name for this machine, are kept out. What may be asked
    is asked by our own page alone, in a body and never in an address, and nonsense is refused."""
    import http.client

    _, said = processes.serve("event.yaml", "--screen-port", "0")
    port = int(said["screen"].rstrip("/").rpartition(":")[2])

    def ask(path: str, body: str | None = None, **headers: str) -> tuple[int, dict[str, str]]:
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=300)
        link.request("GET" if body is None else "POST", path, body, headers)
        answer = link.getresponse()
        return answer.status, {name.lower(): value for name, value in answer.getheaders()}

    status, headers = ask("/")
    assert status == 200
    assert "connect-src 'self'" in headers["content-security-policy"]
    assert "unsafe" not in headers["content-security-policy"]
    assert ask("/", Host="elsewhere.example")[0] == 403
    assert ask("/nothing")[0] == 404
    upgrade = {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
               "Sec-WebSocket-Version": "13", "Sec-WebSocket-Protocol": "mqtt"}
    assert ask("/mqtt", **upgrade, Origin="http://elsewhere.example")[0] == 403
    assert ask("/mqtt", **upgrade)[0] == 403
    assert ask("/mqtt", **upgrade, Origin="http://[")[0] == 403, "no address at all"
    own = f"http://127.0.0.1:{port}"
    assert ask("/mqtt", **upgrade, Origin=own)[0] == 101
    for word in ("/rights", "/shorthand"):
        assert ask(word, "{}", Origin=own)[0] == 200
        assert (ask(word, "{}")[0], ask(word, "{}", Origin="http://elsewhere.example")[0]) == (403, 403)
        assert ask(f"{word}?name=ann&token=secret")[0] == 404
        assert [ask(word, body, Origin=own)[0] for body in ("[]", "{", "[" * 4000, '{"name": "\\ud800"}')] == [400] * 4
        assert ask(word, json.dumps({"text": "x" * 5000}), Origin=own)[0] == 413
