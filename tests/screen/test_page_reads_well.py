"""Can everybody read and use it: axe-core's rules on every page and theme, letters two metres away, small screens."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from pitwall.screen.server import FILES
from tests.acceptance.processes import Processes
from tests.screen.conftest import Open
from tests.screen.serving import begun, call_to_make, give, press, publish, until

AXE = Path(__file__).parent / "vendor" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PAGES = ("desk", "team", "garage", "sheet")
THEMES = ("light", "dark", "sunlight")
MM_PER_PX = 531.0 / 1920
"""Of a 24-inch screen of 1920 by 1080: 531 mm wide (16:9 by its diagonal)."""


def violations(page: Page) -> list[str]:
    """What axe-core finds wrong, a line each."""
    # As a test's own script through the browser's debugger: the page's policy lets no other one in.
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found: list[dict[str, Any]] = page.evaluate(
        "rules => axe.run(document, {runOnly: rules}).then(result => result.violations)", RULES
    )
    return [f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
            for one in found for node in one["nodes"]]


WEAK = """
([text, mark]) => {
  const parts = colour => (colour.match(/[\\d.]+/g) ?? []).map(Number);
  const linear = v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => [r, g, b].map(v => linear(v / 255))
    .reduce((sum, v, at) => sum + v * [0.2126, 0.7152, 0.0722][at], 0);
  const ratio = (a, b) => (Math.max(light(a), light(b)) + 0.05) / (Math.min(light(a), light(b)) + 0.05);
  const ground = node => {
    for (let at = node; at; at = at.parentElement) {
      const found = parts(getComputedStyle(at).backgroundColor);
      if (found.length === 3 || found[3] === 1) return found;
    }
    return [255, 255, 255];
  };
  const seen = node => node.checkVisibility() && node.getBoundingClientRect().width > 0
    && !node.closest('.unseen, .skip');
  const found = [];
  for (const node of document.querySelectorAll('body *')) {
    const shape = node instanceof SVGGeometryElement;
    const writes = [...node.childNodes].some(one => one.nodeType === 3 && one.data.trim());
    if (!seen(node) || !(shape || writes)) continue;
    const style = getComputedStyle(node), panel = ground(node.closest('svg') ?? node);
    const inks = shape ? [style.fill, style.stroke] : [node.closest('svg') ? style.fill : style.color];
    const best = Math.max(...inks.filter(ink => ink.startsWith('rgb')).map(ink => ratio(parts(ink), panel)));
    if (best < (shape ? mark : text)) found.push(`${best.toFixed(2)}: ${node.outerHTML.slice(0, 120)}`);
  }
  return found;
}
"""
GROUND = ("tick", "after", "under", "halo")
"""Not marks to be read: lines of a grid, the area after the flag, and what keeps a mark clear of what it stands on."""


def weak(page: Page, theme: str) -> list[str]:
    """Texts and marks as drawn whose contrast with what is behind them is too low (WCAG 2.2: 4.5 and 3; sunlight 7)."""
    found: list[str] = page.evaluate(WEAK, [7.0 if theme == "sunlight" else 4.5, 3.0])
    return [line for line in found if not re.search(rf'class="({"|".join(GROUND)})\b', line)]


def test_no_page_in_any_theme_breaks_a_rule_of_axe(processes: Processes, open_page: Open) -> None:
    """WCAG 2.2 A and AA, and axe-core's best practice, with a call to make, an alert, a question and a comment there;
    with the keys' overlay and the comment's field open as well. Every text and every mark as it is drawn has its
    contrast, which in sunlight is more than axe-core asks for."""
    _, said = begun(processes)
    give(processes, said, "asked", "text=gap behind?")
    give(processes, said, "comment", "text=rear is light in four")
    page = open_page(said["screen"])
    call_to_make(page)
    wrong: list[str] = []
    for theme in THEMES:
        page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
        for name in PAGES:
            page.evaluate("hash => { location.hash = hash; }", f"/{name}/41")
            page.locator(f".page-{name}").wait_for()
            wrong += [f"{theme} {name} {line}" for line in violations(page) + weak(page, theme)]
    page.evaluate("location.hash = '/desk/41'")
    for key, opened in (("?", ".over .sheet"), ("n", ".comments form")):
        page.keyboard.press(key)
        page.locator(opened).wait_for()
        wrong += [f"{key} {line}" for line in violations(page)]
        page.keyboard.press("Escape")
    assert not wrong, "\n".join(sorted(set(wrong)))


def test_what_opens_over_the_page_breaks_no_rule_either(processes: Processes, open_page: Open) -> None:
    """A changed plan, why a run stands as it does, the ladder under a red flag, and a page that is old."""
    event = processes.copy_demo()
    daemon, said = begun(processes, event=str(event))
    page = open_page(said["screen"])
    page.locator(".lanes li").first.wait_for()
    plan = event.parents[1] / "simulations" / "plans" / "demo_41.yaml"
    plan.write_text(plan.read_text(encoding="utf-8").rpartition("\n  - run: ")[0] + "\n", encoding="utf-8")
    page.locator(".plan .ask").wait_for()
    wrong: list[str] = []
    page.keyboard.press("p")
    page.locator(".over .sheet li").first.wait_for()
    wrong += violations(page)
    page.keyboard.press("Escape")
    page.locator(".lanes button").last.click()
    page.locator(".over .offer").wait_for()
    wrong += violations(page)
    page.keyboard.press("Escape")
    press(page, "e")
    page.locator(".ladder tr").first.wait_for()
    wrong += violations(page)
    daemon.kill()
    page.locator(".gone b").wait_for()
    wrong += violations(page)
    assert not wrong, "\n".join(sorted(set(wrong)))


LETTERS_MM = """
() => {
  const words = document.querySelector('.say .words'), style = getComputedStyle(words);
  const pen = document.createElement('canvas').getContext('2d');
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const whole = words.scrollHeight <= words.clientHeight + 2 && words.scrollWidth <= words.clientWidth;
  return [pen.measureText('H').actualBoundingBoxAscent, whole, words.textContent];
}
"""


def _letters(page: Page) -> tuple[float, bool, str]:
    """How high the call's capitals are on a 24-inch full-HD screen, whether its words are whole, and the words."""
    height_px, whole, words = page.evaluate(LETTERS_MM)
    return height_px * MM_PER_PX, whole, words


def test_the_call_can_be_read_from_two_metres(processes: Processes, open_page: Open) -> None:
    """Capitals of the call are at least 12 mm high on a 24-inch full-HD screen (20 minutes of arc at two metres,
    NUREG-0700's preferred height for text that matters, from memory). A brief that is far too long for the place is
    shown piece by piece, never smaller: every piece is whole, and together they are the brief."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    call_to_make(page)
    assert _letters(page)[0] >= 12.0
    brief = " ".join(f"Item {one}: on lap {one}, after turn {one}, hold gear five, count five." for one in range(1, 9))
    # Told later than any state of the desk in this test: such a state ends an older call that it does not list.
    publish(said, "prompt/41", {
        "type": "prompt", "id": "long-1", "t": 86_400.0, "car": "41", "call": "41-long", "kind": "brief", "revision": 1,
        "text": brief, "short": "Brief", "say_from_s": -2.0, "say_by_s": -1.0, "spoken_s": 30.0, "priority": 100,
        "state": "due", "way": "full", "parts": [], "parts_said": 0, "medium": "two_way", "board": [],
    })  # fmt: skip
    page.locator(".say .pieces").wait_for()
    shown: list[str] = []
    while not shown or page.get_by_role("button", name="then").count():
        if shown:
            page.keyboard.press("ArrowRight")
            until(lambda: _letters(page)[2] != shown[-1])
        height, whole, words = _letters(page)
        assert (height >= 12.0, whole) == (True, True), words
        shown.append(words)
    assert " ".join(shown) == brief
    assert len(shown) > 1


PARTS_IN_SIGHT = """
() => [...document.querySelectorAll('.desk-grid section')].filter(one => {
  const box = one.getBoundingClientRect();
  return box.height > 24 && box.top >= 0 && box.bottom <= innerHeight;
}).map(one => one.classList[0]).sort()
"""
SCREENS = ((1024, 600), (1366, 768), (1920, 1080), (3840, 2160), (390, 844))


def test_nothing_runs_out_of_any_screen(processes: Processes, open_page: Open) -> None:
    """From a small laptop to 4K and on a phone: no page is wider than the screen, and the call's words are whole."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    for width, height in SCREENS:
        page.set_viewport_size({"width": width, "height": height})
        for name in PAGES:
            page.evaluate("hash => { location.hash = hash; }", f"/{name}/41")
            page.locator(f".page-{name}").wait_for()
            until(lambda: page.evaluate("document.documentElement.scrollWidth <= innerWidth"))
        page.evaluate("location.hash = '/desk/41'")
        call_to_make(page)
        words = page.locator(".say .words")
        assert words.evaluate("element => element.scrollWidth <= element.clientWidth"), (width, height)
        if width > 700:  # a phone is scrolled; elsewhere each part stands in its place
            assert page.evaluate(PARTS_IN_SIGHT) == ["alerts", "comments", "plan", "queue", "say", "strip", "switches"]


def test_a_lane_of_the_plan_can_be_pressed_and_says_until_when_to_leave(processes: Processes, open_page: Open) -> None:
    """Lanes lie one on the other, so each is a target of 24 px at least on any screen (WCAG 2.2, 2.5.8). What is done
    after the flag has its moment to leave by as any run has: the car must be on track as the flag falls."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    page.evaluate("location.hash = '/desk/58'")
    starts = page.locator(".lanes li", has_text="starts")
    starts.first.wait_for()
    until(lambda: "leave by" in starts.inner_text())
    assert re.search(r"leave by\s*\d+:\d\d", starts.inner_text())
    for width, height in SCREENS:
        page.set_viewport_size({"width": width, "height": height})
        lanes = page.locator(".lanes button")
        heights = lanes.evaluate_all("all => all.map(one => one.getBoundingClientRect().height)")
        assert len(heights) > 3
        assert min(heights) >= 24, (width, height)


CALL_IS_WHOLE = """
() => {
  const say = document.querySelector('.say').getBoundingClientRect();
  return ['.words', '.say-keys'].every(one => {
    const part = document.querySelector('.say ' + one), box = part.getBoundingClientRect();
    return box.bottom <= say.bottom && box.top >= say.top && part.scrollHeight <= part.clientHeight + 2;
  });
}
"""


def test_under_a_red_flag_the_call_and_its_keys_stay_whole(processes: Processes, open_page: Open) -> None:
    """What to do if it goes on is long, and takes its place from the plan: never from the words that must be spoken."""
    _, said = begun(processes)
    page = open_page(said["screen"])
    page.locator(".lanes li").first.wait_for()
    give(processes, said, "status", "status=red")
    page.locator(".ladder tr").first.wait_for()
    page.locator(".say .words", has_text="Red flag").wait_for()
    for width, height in SCREENS:
        page.set_viewport_size({"width": width, "height": height})
        until(lambda: page.evaluate(CALL_IS_WHOLE))


# -- colours, by the figures of the style sheet --------------------------------------------------------------------

TEXT = (("ink", "ground"), ("ink", "panel"), ("ink", "raised"), ("faint", "ground"), ("faint", "panel"),
        ("faint", "raised"), ("act-ink", "act"), ("late-ink", "late"), ("some", "panel"), ("some", "raised"),
        ("some", "ground"), ("much", "panel"), ("much", "raised"), ("much", "ground"),
        ("mark-ink", "mark"))  # fmt: skip
MARKS = (("mark", "panel"), ("expected", "panel"), ("driven", "panel"), ("focus", "panel"), ("focus", "ground"),
         ("late", "panel"), ("some", "panel"), ("faint", "raised"), ("planned", "panel"), ("planned", "past"),
         ("expected", "past"), ("driven", "past"), ("ink", "past"), ("mark", "listen"), ("ink", "listen"))  # fmt: skip


def _themes() -> dict[str, dict[str, str]]:
    text = (FILES / "style" / "themes.css").read_text(encoding="utf-8")
    found = {}
    for theme in THEMES:
        block = re.search(rf'data-theme="{theme}"\] {{(.*?)}}', text, re.S)
        assert block
        found[theme] = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block[1]))
    return found


def luminance(colour: str) -> float:
    """Relative luminance of a colour ``#rrggbb`` (WCAG 2.2)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2)."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize(("colour", "ratio"), [("#767676", 4.54), ("#777777", 4.478), ("#949494", 3.03)])
def test_the_ratio_is_that_of_the_guidelines(colour: str, ratio: float) -> None:
    """Greys on white at the edges of 4.5 and 3 (computed from the formula of WCAG 2.2)."""
    assert contrast(colour, "#ffffff") == pytest.approx(ratio, abs=0.006)


@pytest.mark.parametrize("theme", THEMES)
def test_every_pair_of_colours_has_its_contrast(theme: str) -> None:
    """Text 4.5 to 1, marks 3 to 1; in sunlight text 7 to 1."""
    colours, least = _themes()[theme], 7.0 if theme == "sunlight" else 4.5
    weak = [(ink, on, round(contrast(colours[ink], colours[on]), 2)) for ink, on in TEXT
            if contrast(colours[ink], colours[on]) < least]  # fmt: skip
    weak += [(mark, on, round(contrast(colours[mark], colours[on]), 2)) for mark, on in MARKS
             if contrast(colours[mark], colours[on]) < 3.0]  # fmt: skip
    assert weak == []
