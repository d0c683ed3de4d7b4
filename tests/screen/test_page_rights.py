"""A page sends only what its user may: the rest is hidden, refused before it is sent, and dropped by the broker."""

from __future__ import annotations

import json

from playwright.sync_api import Page

from tests.acceptance.processes import Processes
from tests.screen.conftest import Open
from tests.screen.serving import begun, call_to_make, commands, give, hides, press, shows, until
from tests.screen.test_page_reads_well import violations

GIVING = (".say-keys button", ".alerts .do button", ".comments h2 button", ".comments button.noted", ".owed button",
          "footer .said-here button")  # fmt: skip
"""What gives a command on the engineer's page."""


def _users(processes: Processes, **roles: str) -> tuple[str, dict[str, str]]:
    """A users file with these, and their tokens."""
    users, tokens = str(processes.folder / "users.yaml"), {}
    for name, role in roles.items():
        added = processes.run("users", "add", name, "--role", role, "--file", users, "--json")
        assert added.returncode == 0, added.stderr
        tokens[name] = json.loads(added.stdout)["token"]
    return users, tokens


def _come_in(page: Page, name: str, token: str) -> None:
    page.locator("input[name=name]").fill(name)
    page.locator("input[name=token]").fill(token)
    page.locator(".login button").click()


def _begun_by_hand(page: Page) -> None:
    """Green, and car 41 leaves, by keys of this page: nobody without a token could give them."""
    for key, words, where in (("g", "green", ".status"), ("o", "out-lap", ".cars")):
        press(page, key)
        shows(page, words, where)


def test_an_onlooker_sees_all_and_sends_nothing(processes: Processes, open_page: Open) -> None:
    """Two users: a wrong token is told. The desk's page gives commands; beside it the viewer's shows the same without
    a button or a key that would, in the help neither; a key says why not and nothing leaves the page; and what a page
    that was tampered with sends all the same, the broker drops (as mosquitto does: the contract of both)."""
    users, tokens = _users(processes, ann="desk", flo="viewer", fred="feed")
    _, said = processes.serve("event.yaml", "--screen-port", "0", "--users", users)
    desk = open_page(said["screen"], "", live=False)
    _come_in(desk, "ann", "wrong")
    shows(desk, "wrong", ".login [role=alert]")
    blind = open_page(said["screen"], "", live=False)
    _come_in(blind, "fred", tokens["fred"])
    shows(blind, "fred is a feed: such a user may not read the session", ".gone")
    blind.close()
    assert violations(desk) == []
    _come_in(desk, "ann", tokens["ann"])
    shows(desk, "ann, desk", ".rights")
    _begun_by_hand(desk)
    press(desk, "k")
    desk.locator(".owed button").wait_for()

    viewer = open_page(said["screen"], "", live=False)
    _come_in(viewer, "flo", tokens["flo"])
    shows(viewer, "flo is a viewer: looks on and gives no commands", ".rights")
    assert call_to_make(viewer) == call_to_make(desk)
    assert [where for where in GIVING if viewer.locator(where).count()] == []
    assert viewer.locator(".owed").count() == 1
    viewer.keyboard.press("?")
    shows(viewer, "looks on", ".over .rights")
    assert set(viewer.locator(".over dt kbd").all_inner_texts()) == {"↓ ↑", "→ ←", "p", "1–9", "t", "?", "Esc"}
    viewer.keyboard.press("Escape")
    sent = _sent(viewer)
    for key in "sxdrcmkwnbvaliofegu":
        viewer.keyboard.press(key)
        shows(viewer, "not sent: flo is a viewer", ".said-here")
        assert viewer.locator(".comments form").count() == 0
    assert viewer.evaluate("() => window.sent") == sent == []
    _tampered_with(viewer)
    press(desk, "s")
    until(lambda: len(commands(said, "said")) == 1)
    assert commands(said, "said")[0].by == "ann"
    assert [len(commands(said, name)) for name in ("status", "pit", "asked", "quiet", "comment")] == [1, 1, 1, 0, 0]


def _sent(page: Page) -> list[str]:
    """From now on the page notes what it sends that is a command."""
    page.evaluate("""() => {
      window.sent = [];
      const send = WebSocket.prototype.send;
      WebSocket.prototype.send = function (data) {
        window.socket = this;
        const text = new TextDecoder().decode(data);
        if (text.includes("/command")) window.sent.push(text);
        return send.call(this, data);
      };
    }""")
    page.wait_for_function("() => window.socket")  # it says something every few seconds, to stay joined
    noted: list[str] = page.evaluate("() => window.sent")
    return noted


def _tampered_with(page: Page) -> None:
    """A command past the page's own refusal, as MQTT packs it (3.1.1, section 3.3, with quality of service 0)."""
    page.evaluate("""() => {
      const topic = new TextEncoder().encode("pitwall/1/practice-1/desk/41/command");
      const body = new TextEncoder().encode('{"id":"bad-1","command":"quiet","by":"flo"}');
      window.socket.send(new Uint8Array([0x30, 2 + topic.length + body.length, 0, topic.length, ...topic, ...body]));
    }""")


def test_each_page_offers_the_keys_that_it_takes(processes: Processes, open_page: Open) -> None:
    """Who may give everything may do so at the desk. The help of another page has only that page's keys, and the others
    say there that they are the desk's."""
    _, said = begun(processes)
    give(processes, said, "asked", "text=gap behind?")
    page = open_page(said["screen"])
    shows(page, "gap behind?", ".owed")
    for name, offered in (("team", {"a"}), ("garage", set()), ("sheet", set())):
        page.evaluate("hash => { location.hash = hash; }", f"/{name}/41")
        page.locator(f".page-{name}").wait_for()
        page.keyboard.press("?")
        page.locator(".over .sheet").wait_for()
        assert set(page.locator(".over dt kbd").all_inner_texts()) & set("sxdrcmkwnbvaliofegu") == offered
        page.keyboard.press("Escape")
        hides(page, ".over")
        page.keyboard.press("w")
        shows(page, "that is the desk's", ".said-here")
    assert commands(said, "answered") == []
