"""On a laptop's screen of 1366 by 768 nothing that matters is cut while there is room beside it."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from tests.acceptance.processes import Processes
from tests.screen.conftest import Open
from tests.screen.serving import begun, give, until

LAPTOP, PHONE = (1366, 768), (420, 900)

CUT = """
([panel, parts]) => {
  const within = document.querySelector(panel).getBoundingClientRect();
  return [...document.querySelectorAll(`${panel} ${parts}`)].filter(one => {
    const box = one.getBoundingClientRect();
    return box.bottom > Math.min(within.bottom, innerHeight) || box.top < within.top;
  }).map(one => one.textContent);
}
"""
SHORTENED = """
parts => [...document.querySelectorAll(parts)].filter(one => one.scrollWidth > one.clientWidth + 1)
  .map(one => one.textContent)
"""


def opened(page: Page, size: tuple[int, int]) -> None:
    """The screen's size, and the desk's page on it."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.locator(".lanes li").first.wait_for()


ALERTS = """
texts => {
  const list = document.querySelector('.alerts ul');
  for (const text of texts) {
    const item = list.appendChild(document.createElement('li'));
    item.className = 'is-high';
    for (const [tag, name, words] of [['b', '', '▲▲ high · 41'], ['span', 'when', 'for 1:12'], ['span', 'do', ''],
                                      ['span', 'text', text], ['span', 'help', 'Tell the driver, or box.']]) {
      const part = item.appendChild(document.createElement(tag));
      part.className = name;
      part.textContent = words;
    }
    for (const words of ['acknowledge', 'shelve 10 min']) {
      const button = item.querySelector('.do').appendChild(document.createElement('button'));
      button.className = 'small';
      button.textContent = words;
    }
  }
}
"""
"""As the page writes them: a daemon ends at once what it did not raise itself, and three take their time."""


def test_two_comments_stand_whole_on_a_laptop(processes: Processes, open_page: Open) -> None:
    """Each has its line while the car is on its lap, and the newest of them are all in sight."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    opened(page, LAPTOP)
    page.locator(".strip").wait_for()
    for words in ("us t4 entry 3", "os t7 2"):
        give(processes, said, "comment", f"shorthand={words}")
    until(lambda: page.locator(".comments li").count() == 2)
    assert page.evaluate(CUT, [".comments", "li"]) == []
    assert page.evaluate(CUT, [".comments", "button"]) == []


def test_comments_that_find_no_room_are_counted(processes: Processes, open_page: Open) -> None:
    """The panel can be scrolled, which nobody sees; and of a long one its tags stand where its line is cut."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    opened(page, LAPTOP)
    page.locator(".strip").wait_for()
    for turn in range(1, 9):
        give(processes, said, "comment", f"shorthand=t{turn} us 3: {'and it does so on every lap of this run ' * 3}")
    until(lambda: page.locator(".comments li").count() == 8)
    hidden = len(page.evaluate(CUT, [".comments", "li"]))
    assert hidden > 0
    until(lambda: page.locator(".comments .below").inner_text() == f"+{hidden} more")
    first = page.locator(".comments li").first.inner_text()
    assert first.index("turn 8: understeer, severity 3") < first.index("and it does so")


def test_while_no_lap_is_to_be_shown_comments_have_its_room(processes: Processes, open_page: Open) -> None:
    """Four of them, one as long as people write, stand in whole lines, and no word of them is left out."""
    _, said = processes.serve("event.yaml", "--screen-port", "0")
    page = open_page(said["screen"])
    opened(page, LAPTOP)
    long = "rear is light in four, worse over the kerb than on the run before, and worst on the first lap of all"
    for words in (long, "brakes are long on the first stop", "the seat is loose", "mirrors shake"):
        give(processes, said, "comment", f"text={words}")
    until(lambda: page.locator(".comments li").count() == 4)
    assert page.evaluate(CUT, [".comments", "li"]) == []
    assert page.evaluate(SHORTENED, ".comments .noted") == []


def test_alerts_take_room_before_one_of_them_is_cut(processes: Processes, open_page: Open) -> None:
    """Three alerts with help stand whole on a laptop, beside them calls and every switch; none of them runs into
    another."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    opened(page, LAPTOP)
    page.evaluate(ALERTS, [f"engine stands at {at}, this timed lap needs 2; flap is closed" for at in (3, 4, 5)])
    assert page.evaluate(CUT, [".alerts", "li"]) == []
    assert page.evaluate(CUT, [".switches", "li"]) == []
    assert page.locator(".queue").evaluate("one => one.clientHeight") > 80


def test_an_answer_that_is_owed_is_in_sight_however_many_calls_there_are(
    processes: Processes, open_page: Open
) -> None:
    """It stands above the calls, with its key, also on the smallest screen."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    opened(page, (1024, 600))
    give(processes, said, "asked", "text=gap behind?")
    page.locator(".owed").wait_for()
    assert page.locator(".queue li").count() > 3
    assert page.evaluate(CUT, [".queue", ".owed"]) == []


def test_under_a_red_flag_with_nothing_to_say_ladder_and_plan_stand_whole(
    processes: Processes, open_page: Open
) -> None:
    """Once the flag was told, what to do if it goes on takes the room of the words, and no row of either is cut."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    opened(page, LAPTOP)
    give(processes, said, "status", "status=red")
    page.locator(".ladder tr").first.wait_for()
    page.locator(".say .words", has_text="Red flag").wait_for()
    give(processes, said, "said")
    give(processes, said, "confirm")
    page.locator(".say.is-silent").wait_for()
    assert page.evaluate(CUT, [".ladder", "tr"]) == []
    assert page.evaluate(CUT, [".plan", ".lanes li"]) == []


@pytest.mark.parametrize("size", [LAPTOP, PHONE])
def test_a_long_name_never_hides_how_much_a_run_is_wanted(
    processes: Processes, open_page: Open, size: tuple[int, int]
) -> None:
    """The plan gives its names the room they ask for; where that is not enough the name gives way, its class never."""
    event = processes.copy_demo()
    plan = event.parents[1] / "simulations" / "plans" / "demo_41.yaml"
    text = plan.read_text(encoding="utf-8").replace("- run: checks", "- run: checks-of-systems-after-the-rain")
    plan.write_text(text.replace("[checks]", "[checks-of-systems-after-the-rain]"), encoding="utf-8")
    _, said = begun(processes, event=str(event))
    page = open_page(said["screen"])
    opened(page, size)
    page.locator(".lanes .name", has_text="after-the-rain").wait_for()
    assert page.evaluate(SHORTENED, ".lane .name") == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]


LONG = "the rear steps out over the kerb behind the hairpin, and the front waits for the line much longer than before"
OUTSIDE = """
() => [...document.querySelectorAll('.comments .noted')].filter(one => {
  const box = one.getBoundingClientRect(), column = one.closest('.runs > div').getBoundingClientRect();
  return box.right > Math.min(innerWidth, column.right) + 1
    || column.right > document.querySelector('.comments').getBoundingClientRect().right;
}).map(one => one.textContent)
"""
TURNS = """
() => {
  const parts = [...document.querySelectorAll('.desk-grid section')];
  const tops = parts.map(one => one.getBoundingClientRect().top);
  return parts.filter((one, at) => at && tops[at] < tops[at - 1]).map(one => one.className);
}
"""


@pytest.mark.parametrize("size", [LAPTOP, (1024, 768), PHONE])
def test_comments_of_two_runs_stand_beside_each_other_however_long(
    processes: Processes, open_page: Open, size: tuple[int, int]
) -> None:
    """Both columns are within their panel: what has no room ends in dots, and on a phone it stands in whole lines, one
    run below the other."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    opened(page, size)
    for number, run in enumerate(("checks", "holds")):
        give(processes, said, "set_car", f"run={run}")
        for words in (LONG, f"{LONG}, {number}"):
            give(processes, said, "comment", f"text={words}")
    until(lambda: page.locator(".comments .runs > div li").count() == 4)
    assert page.locator(".comments .runs > div:has(li)").count() == 2
    assert page.evaluate(OUTSIDE) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert bool(page.evaluate(SHORTENED, ".comments .noted")) == (size != PHONE)


def test_on_a_phone_the_parts_stand_in_the_order_of_the_keys(processes: Processes, open_page: Open) -> None:
    """Also while a comment is written: it stands behind the call for the eye and for the key (WCAG 2.2, 2.4.3)."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    opened(page, PHONE)
    assert page.evaluate(TURNS) == []
    page.keyboard.press("n")
    page.locator(".comments.writing input").first.wait_for()
    assert page.evaluate(TURNS) == []
    assert page.evaluate("document.activeElement.name") == "text"
    page.keyboard.type("floaty at the exit")
    page.keyboard.press("Escape")
    page.locator(".comments:not(.writing)").wait_for()
    assert page.evaluate(TURNS) == []
