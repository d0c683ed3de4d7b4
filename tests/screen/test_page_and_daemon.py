"""The page against a real daemon: what is shown, what a key does, and what is left in the journal."""

from __future__ import annotations

import pytest

from pitwall.model.comments import Remark
from tests.acceptance.processes import Processes
from tests.screen.conftest import Open
from tests.screen.serving import begun, call_to_make, commands, give, hides, press, shows, until


@pytest.mark.parametrize("broker", ["embedded", "mosquitto"])
def test_a_call_appears_and_one_key_says_it_was_made(processes: Processes, open_page: Open, broker: str) -> None:
    """The call to speak stands there in large letters; `s` is in the journal with the call that was seen, and the call
    is shown as said. The latest entry can be taken back for five seconds, and the page says so."""
    _, said = begun(processes, "--broker", broker)
    page = open_page(said["screen"])
    words = call_to_make(page)
    press(page, "s")
    until(lambda: len(commands(said, "said")) == 1)
    shows(page, "said", ".queue .state")
    given = commands(said, "said")[0]
    assert (given.car, given.by) == ("41", "screen")
    assert given.call
    assert words
    shows(page, "take back", "footer")


def test_an_entry_is_taken_back_with_one_key(processes: Processes, open_page: Open) -> None:
    """A skipped call goes; `u` takes that back, and the daemon's answer stands at the bottom. The offer to take
    something back stands for five seconds."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    call_to_make(page)
    press(page, "x")
    shows(page, "skipped", ".queue .state")
    press(page, "u")
    until(lambda: len(commands(said, "undo")) == 1)
    shows(page, "taken back", ".notes")
    before = page.evaluate("performance.now()")
    press(page, "k")
    shows(page, "take back", "footer")
    hides(page, "footer .said-here button")
    assert page.evaluate("performance.now()") - before >= 5000


def test_a_command_that_stands_is_not_taken_back_by_an_older_one(processes: Processes, open_page: Open) -> None:
    """A call is said, and confirmed: nobody takes a confirmation back, and the key then takes back neither that nor
    what was entered before it."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    call_to_make(page)
    press(page, "s")
    shows(page, "take back", "footer")
    press(page, "c")
    until(lambda: len(commands(said, "confirm")) == 1)
    hides(page, "footer .said-here button")
    page.keyboard.press("u")
    shows(page, "taken", ".said-here .bad")
    press(page, "k")
    until(lambda: len(commands(said, "asked")) == 1)
    assert commands(said, "undo") == []


def test_two_pages_stay_in_step(processes: Processes, open_page: Open) -> None:
    """What one seat does the other sees: a call said, a car kept quiet, a comment. Sounds are off until asked for, for
    the microphone is open, and on one page at a time: a page that is asked to sound silences the others."""
    _, said = begun(processes)
    one, other = open_page(said["screen"]), open_page(said["screen"])
    call_to_make(one)
    press(one, "m")
    shows(other, "quiet: on track session, safety and box only", ".queue")
    one.keyboard.press("n")
    one.keyboard.type("rear steps out in four")
    press(one, "Enter")
    shows(other, "turn 4: rear oversteer", ".comments")
    assert len(commands(said, "comment")) == 1
    for page in (one, other):
        page.keyboard.press("?")
        page.locator(".over .sheet").wait_for()
        assert page.locator(".settings input[type=checkbox]").count() == 3
        assert page.locator(".settings input:checked").count() == 0
    for page, silenced in ((one, other), (other, one)):
        page.locator(".settings input[type=checkbox]").first.check()
        page.locator(".settings input:checked").wait_for()
        until(lambda silenced=silenced: silenced.locator(".settings input:checked").count() == 0)  # type: ignore[misc]


def test_a_comment_carries_the_moment_of_the_key(processes: Processes, open_page: Open) -> None:
    """`n` stamps; the words come later. A usual comment is eight keystrokes at most, and is noted as remarks."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    page.keyboard.press("n")
    stamped = page.locator(".comments label").first.inner_text()
    then = page.locator(".time b").inner_text()
    until(lambda: page.locator(".time b").inner_text() != then)
    usual = "4eu3"
    page.keyboard.type(usual)
    press(page, "Enter")
    assert len(("n", *usual, "Enter")) <= 8
    shows(page, "turn 4 entry: understeer, severity 3", ".comments ol")
    given = commands(said, "comment")[0]
    assert given.remarks == (Remark(turn=4, phase="entry", what="understeer", severity=3),)
    minutes, seconds = stamped.split()[2].split(":")
    assert abs(given.t - (60 * int(minutes) + int(seconds))) <= 1.0
    hides(page, ".comments form")


def test_the_text_field_reads_shorthand(processes: Processes, open_page: Open) -> None:
    """What reads is counted; other words are kept and marked; a turn that is not there is refused, the pad is back."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    for typed in ("t4 mid us 3: second lap", "it wallows"):
        page.keyboard.press("n")
        page.keyboard.type(typed)
        press(page, "Enter")
        hides(page, ".comments form")
    shows(page, "turn 4 mid: understeer, severity 3", ".comments ol")
    shows(page, "words, not counted", ".comments ol")
    for typed, told in (("14eu3", "there is no turn 14"), ("t14 mid us 3", "no turn 14, expected a turn from 1 to")):
        page.keyboard.press("n")
        page.keyboard.type(typed)
        press(page, "Enter")
        shows(page, told, ".said-here")
        assert page.locator(".comments input[name=text]:focus").input_value() == typed
        page.keyboard.press("Escape")
    assert len(commands(said, "comment")) == 2


def test_the_shorthand_is_offered_word_by_word(processes: Processes, open_page: Open) -> None:
    """While it is typed the page tells how it reads, and which words may come next; an arrow or a press takes one. It
    is the daemon's own reading: what the page read is what is noted."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    page.keyboard.press("n")
    field = page.locator(".comments input[name=text]")
    field.fill("t4 mi")
    marked = page.locator(".offers [aria-selected=true]")
    marked.filter(has_text="mid").wait_for()
    assert field.get_attribute("aria-activedescendant") == marked.get_attribute("id")
    page.keyboard.press("ArrowRight")
    until(lambda: field.input_value() == "t4 mid ")
    page.keyboard.type("underst")
    shows(page, "understeer", ".offers li")
    page.locator(".offers li").first.click()
    until(lambda: field.input_value() == "t4 mid understeer ")
    page.keyboard.type("3")
    shows(page, "reads: turn 4 mid: understeer, severity 3", ".comments .reads")
    press(page, "Enter")
    shows(page, "turn 4 mid: understeer, severity 3", ".comments ol")
    (given,) = commands(said, "comment")
    assert given.shorthand == "t4 mid understeer 3"


def test_a_comment_gets_its_tags_afterwards(processes: Processes, open_page: Open) -> None:
    """Free text first; `b` opens the last comment again, and buttons or letters tag it. The words stay."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    page.keyboard.press("n")
    page.keyboard.type("it turns too much")
    press(page, "Enter")
    shows(page, "it turns too much", ".comments ol")
    press(page, "b")
    page.locator(".comments input[name=tags]").fill("9x")
    for name in ("o oversteer", "4 costs much"):
        page.get_by_role("button", name=name).click()
    shows(page, "reads: turn 9 exit: oversteer, severity 4", ".comments")
    press(page, "Enter")
    shows(page, "turn 9 exit: oversteer, severity 4", ".comments ol")
    first, second = commands(said, "comment")
    assert (first.text, second.text, second.comment) == ("it turns too much", None, 1)
    shows(page, "it turns too much", ".comments ol")


def test_a_refused_comment_is_not_lost(processes: Processes, open_page: Open) -> None:
    """Tags that nobody can read are refused with the word that is wrong, and the pad opens again with it."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    page.keyboard.press("n")
    page.locator(".comments input[name=tags]").fill("t4 mid undersomething")
    press(page, "Enter")
    shows(page, "undersomething", ".said-here")
    until(lambda: page.locator(".comments input[name=tags]").input_value() == "t4 mid undersomething")
    page.locator(".comments input[name=tags]").fill("t4 mid us 2")
    press(page, "Enter")
    shows(page, "turn 4 mid: understeer, severity 2", ".comments ol")


def test_the_field_of_a_comment_has_the_focus_as_it_appears(processes: Processes, open_page: Open) -> None:
    """A hand that is on the tags a moment later is not drawn back into the words by a focus that comes with a frame to
    follow: what is typed would then be kept as words, and counted as nothing."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    page.evaluate("""() => { new MutationObserver(() => {
        const field = document.querySelector(".comments input[name=text]");
        if (field) window.focused ??= document.activeElement === field;
    }).observe(document.body, { childList: true, subtree: true }); }""")
    page.keyboard.press("n")
    page.locator(".comments input[name=text]").wait_for()
    assert page.evaluate("window.focused") is True


def test_what_others_write_stays_text(processes: Processes, open_page: Open) -> None:
    """A comment and a question that are made of markup are shown letter by letter, and run nothing."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    hostile = "<img src=x onerror=document.title=1>"
    give(processes, said, "comment", f"text={hostile}")
    give(processes, said, "asked", f"text={hostile}")
    shows(page, hostile, ".comments ol")
    shows(page, hostile, ".owed")
    assert page.locator(".comments img, .owed img, .comments script").count() == 0
    assert page.title() == "pitwall"


@pytest.mark.parametrize(("by", "broker"), [("keys", "mosquitto"), ("a press on the plan", "embedded")])
def test_a_changed_plan_is_looked_at_and_adopted(processes: Processes, open_page: Open, by: str, broker: str) -> None:
    """A plan file is saved: the page says that a changed plan waits; `p` shows it, `y` adopts it, plan and calls
    change: the run is gone, and so is the call of the item that the file does not have any more. So does a press on a
    run of the plan, which tells why it stands as it does and what would help, and one on adopt."""
    event = processes.copy_demo()
    _, said = processes.serve(str(event), "--screen-port", "0", "--broker", broker)
    give(processes, said, "status", "status=green")
    page = open_page(said["screen"])
    call = page.locator(".queue .text", has_text="Systems")
    call.wait_for()
    plan = event.parents[1] / "simulations" / "plans" / "demo_41.yaml"
    page.locator(".lanes li").first.wait_for()
    before = page.locator(".lanes li").count()
    text = plan.read_text(encoding="utf-8")
    head, _, rest = text.rpartition("\n  - run: ")
    item = "      - {do: systems_check, on: in}\n"
    assert rest
    assert item in head
    plan.write_text(head.replace(item, "") + "\n", encoding="utf-8")
    shows(page, "changed plan", ".plan")
    if by == "keys":
        page.keyboard.press("p")
        page.locator(".over .sheet li").first.wait_for()
        press(page, "y")
    else:
        page.locator(".lanes button").last.click()
        shows(page, "in eight of ten futures", ".over .times")
        page.locator(".over .offer").get_by_role("button", name="adopt").click()
    hides(page, ".over")
    until(lambda: len(commands(said, "adopt")) == 1)
    until(lambda: page.locator(".lanes li").count() < before)
    until(lambda: call.count() == 0)


def test_the_check_list_is_read_group_by_group(processes: Processes, open_page: Open) -> None:
    """Before the release the switches are called in groups, each a call of its own: one key a group."""
    _, said = processes.serve("event.yaml", "--screen-port", "0")
    give(processes, said, "status", "status=green")
    page = open_page(said["screen"])
    for group in ("Switch check 1", "Switch check 2"):
        page.locator(".queue li button", has_text=group).click()
        shows(page, "Switch check:", ".say .words")
        press(page, "s")
        page.locator(".queue li.is-said", has_text=group).wait_for()
    calls = [one.call for one in commands(said, "said")]
    assert len(set(calls)) == len(calls) == 2


def test_all_of_it_over_mosquitto_too(processes: Processes, open_page: Open) -> None:
    """What the tests above show on the embedded broker holds on mosquitto: an entry is taken back, a comment is saved
    and stays text, and two pages stay in step."""
    _, said = begun(processes, "--broker", "mosquitto")
    page, other = open_page(said["screen"]), open_page(said["screen"])
    call_to_make(page)
    press(page, "m")
    shows(other, "quiet: on track session, safety and box only", ".queue")
    press(page, "u")
    hides(other, ".queue h2 em")
    page.keyboard.press("n")
    page.keyboard.type("<b>4</b> & more")
    press(page, "Enter")
    shows(other, "<b>4</b> & more", ".comments ol")
    page.keyboard.press("n")
    page.keyboard.type("4eu3")
    press(page, "Enter")
    shows(other, "turn 4 entry: understeer, severity 3", ".comments ol")
    assert [len(commands(said, name)) for name in ("quiet", "undo", "comment")] == [1, 1, 2]


def test_a_team_without_a_feed_works_from_the_page(processes: Processes, open_page: Open) -> None:
    """Green, out, the line, in, red: one key each, and each is on the page and in the journal."""
    _, said = processes.serve("event.yaml", "--screen-port", "0")
    page = open_page(said["screen"])
    steps = (("g", "green", ".status"), ("o", "lap", ".cars"), ("i", "in the pit lane", ".cars"),
             ("e", "red flag", ".status"))  # fmt: skip
    for key, words, where in steps:
        press(page, key)
        shows(page, words, where)
    assert [one.status for one in commands(said, "status")] == ["green", "red"]
    assert [one.where for one in commands(said, "pit")] == ["exit", "entry"]


def test_every_key_of_the_help_does_what_it_says_or_tells_why_not(processes: Processes, open_page: Open) -> None:
    """No key is dead: each gives a command, moves something, or leaves its reason in the line at the bottom."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    page.keyboard.press("?")
    shows(page, "quiet", ".over")
    keys = page.locator(".over dt kbd").all_inner_texts()
    page.keyboard.press("Escape")
    hides(page, ".over")
    assert set("sxdrcmkwnbpaulifoegt") <= set(keys)
    for key, words in (("w", "no answer is owed"), ("p", "no changed plan waits"), ("9", "there is no car 9")):
        page.keyboard.press(key)
        shows(page, words, ".said-here span:not(.bad)")  # nothing failed
    page.keyboard.press("t")
    assert page.evaluate("document.documentElement.dataset.theme") == "dark"


def test_the_crew_says_on_a_phone_that_it_has_seen_a_change(processes: Processes, open_page: Open) -> None:
    """The desk drops a run: the garage page shows each role what it has not seen, one press says that it has, and the
    desk sees who has not. The garage gives no other command."""
    _, said = begun(processes)
    phone, desk = open_page(said["screen"] + "#/garage/41"), open_page(said["screen"])
    give(processes, said, "drop", "run=long")
    shows(phone, "1 change not seen", ".role")
    shows(desk, "not seen by", ".plan")
    phone.keyboard.press("k")
    shows(phone, "that is the desk's", ".said-here")
    for left in range(phone.locator(".role button").count(), 0, -1):
        phone.locator(".role button").first.click()
        until(lambda left=left: phone.locator(".role button").count() < left)  # type: ignore[misc]
    until(lambda: len(commands(said, "seen")) >= 1)
    hides(desk, ".plan h2 em")
    assert commands(said, "asked") == []
