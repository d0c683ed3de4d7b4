"""How soon the screen shows what was published, and whether it keeps up for an hour.

    python simulations/bench_screen.py [--probes 200] [--minutes 60] [--speed 5] [--json]

``publication to pixels``: a prompt is published by a client beside the daemon; a script in the page notes when the
frame that shows its words has been drawn. Both moments are of this machine's clock. Then a rehearsal with every car's
position ten times a second runs at speed, and the page's frames a second and its longest pause between frames are noted
each minute, and how much memory it holds: as it stands, and what is left of it once garbage is collected. What grows in
the latter is a leak. Needs Debian's chromium and the extra ``test``.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import yaml
from playwright.sync_api import CDPSession, Page, sync_playwright

ROOT = Path(__file__).resolve().parents[1]
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
         "--enable-precise-memory-info")  # fmt: skip
NOTE_PROBES = """
() => {
  window.seen = {};
  const look = () => {
    for (const node of document.querySelectorAll('.queue .text, .say .words')) {
      const text = node.textContent;
      if (text.startsWith('probe ') && !(text in window.seen)) {
        window.seen[text] = 0;
        requestAnimationFrame(() => requestAnimationFrame(() => {
          window.seen[text] = performance.timeOrigin + performance.now();
        }));
      }
    }
  };
  new MutationObserver(look).observe(document.body, {childList: true, subtree: true, characterData: true});
}
"""
KEPT = {"kept_mb": "kept once garbage is collected, MB, minute by minute", "nodes": "nodes", "listeners": "listeners"}
NOTE_FRAMES = """
() => {
  window.frames60 = {count: 0, longest: 0, last: performance.now()};
  const step = now => {
    const f = window.frames60;
    f.count += 1; f.longest = Math.max(f.longest, now - f.last); f.last = now;
    requestAnimationFrame(step);
  };
  requestAnimationFrame(step);
}
"""


def probes(page: Page, broker: str, count: int) -> dict[str, float]:
    """Milliseconds from publication to the drawn frame."""
    port = broker.rpartition(":")[2]
    program = shutil.which("mosquitto_pub")
    if program is None:
        raise SystemExit("mosquitto_pub is missing: apt-get install mosquitto-clients")
    page.evaluate(NOTE_PROBES)
    client = subprocess.Popen([program, "-h", "127.0.0.1", "-p", port, "-t", "pitwall/1/practice-1/prompt/41", "-l"],
                              stdin=subprocess.PIPE, text=True)  # fmt: skip
    assert client.stdin is not None
    sent: dict[str, float] = {}
    rng = random.Random(1)
    for number in range(count):
        text = f"probe {number}"
        prompt = {"type": "prompt", "id": f"p{number}", "t": 0.0, "car": "41", "call": "41-probe", "kind": "box",
                  "revision": number + 1, "text": text, "short": text, "say_from_s": 0.0, "say_by_s": 1.0,
                  "spoken_s": 1.0, "priority": 100, "state": "due", "medium": "two_way", "way": "full"}  # fmt: skip
        client.stdin.write(json.dumps(prompt) + "\n")
        client.stdin.flush()
        sent[text] = time.time() * 1000
        time.sleep(0.15 + 0.1 * rng.random())
    seen: dict[str, float] = page.evaluate("() => window.seen")
    client.kill()
    delays = sorted(seen[text] - at for text, at in sent.items() if seen.get(text))
    return {"probes": len(delays), "median_ms": round(statistics.median(delays), 1),
            "p99_ms": round(delays[min(len(delays) - 1, int(0.99 * len(delays)))], 1)}


def minute(page: Page, debugger: CDPSession, seconds: float) -> dict[str, float]:
    """One minute's frames a second, the longest pause between two frames, the heap before and after its garbage is
    collected, and how many nodes and listeners the page keeps."""
    page.evaluate("() => { window.frames60.count = 0; window.frames60.longest = 0; }")
    page.wait_for_timeout(seconds * 1000)
    frames, longest = page.evaluate("() => [window.frames60.count, window.frames60.longest]")
    heap = page.evaluate("() => performance.memory.usedJSHeapSize")
    debugger.send("HeapProfiler.collectGarbage")
    kept = {one["name"]: one["value"] for one in debugger.send("Performance.getMetrics")["metrics"]}
    return {"frames_per_s": round(frames / seconds, 1), "longest_ms": round(longest), "heap_mb": round(heap / 1e6, 1),
            "kept_mb": round(kept["JSHeapUsedSize"] / 1e6, 2), "nodes": int(kept["Nodes"]),
            "listeners": int(kept["JSEventListeners"])}


def busy_scenario(folder: Path) -> Path:
    """The practice hour with positions of the whole field ten times a second."""
    scenario = yaml.safe_load((ROOT / "simulations" / "practice_hour.yaml").read_text(encoding="utf-8"))
    scenario.setdefault("feed", {})["positions_hz"] = 10
    scenario["event"] = str(ROOT / "config" / "event.yaml")
    path = folder / "busy.yaml"
    path.write_text(yaml.safe_dump(scenario), encoding="utf-8")
    return path


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="how soon the screen shows it, and whether it keeps up")
    parser.add_argument("--probes", type=int, default=200)
    parser.add_argument("--minutes", type=float, default=60.0, help="session minutes")
    parser.add_argument("--speed", type=float, default=5.0)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    program = shutil.which("chromium")
    if program is None:
        raise SystemExit("chromium is missing: apt-get install chromium")
    found: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        words = [sys.executable, "-m", "pitwall", "rehearse", str(busy_scenario(Path(folder))), "--speed",
                 str(args.speed), "--screen-port", "0"]  # fmt: skip
        process = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        browser = play.chromium.launch(executable_path=program, args=list(FLAGS))
        try:
            broker, screen = _addresses(process)
            page = browser.new_page(viewport={"width": 1920, "height": 1080})
            page.goto(screen)
            page.locator(".frame:not(.is-old) .cars button").first.wait_for(timeout=60_000)
            found["publication_to_pixels"] = probes(page, broker, args.probes)
            page.evaluate(NOTE_FRAMES)
            debugger = page.context.new_cdp_session(page)
            debugger.send("Performance.enable")
            rounds = max(1, round(args.minutes / args.speed))
            found["minutes"] = [minute(page, debugger, 60.0) for _ in range(rounds)]
        finally:
            process.kill()
            process.communicate()
            browser.close()
    print(json.dumps(found) if args.json else _in_words(found))


def _addresses(process: subprocess.Popen[str]) -> tuple[str, str]:
    broker = ""
    assert process.stderr is not None
    for line in process.stderr:
        at_broker, at_screen = re.search(r"broker on (\S+);", line), re.search(r"in a browser: (\S+)", line)
        broker = at_broker[1] if at_broker else broker
        if at_screen:
            return broker, at_screen[1]
    raise SystemExit("the rehearsal did not start")


def _in_words(found: dict[str, Any]) -> str:
    pixels, minutes = found["publication_to_pixels"], found["minutes"]
    return "\n".join([
        f"publication to pixels: median {pixels['median_ms']} ms, p99 {pixels['p99_ms']} ms "
        f"({pixels['probes']} probes)",
        f"frames a second: least {min(m['frames_per_s'] for m in minutes)}, "
        f"longest pause {max(m['longest_ms'] for m in minutes)} ms",
        f"heap as it stands: {minutes[0]['heap_mb']} MB in the first minute, {minutes[-1]['heap_mb']} MB in the last",
        *(f"{words}: {' '.join(str(m[name]) for m in minutes)}" for name, words in KEPT.items()),
    ])  # fmt: skip


if __name__ == "__main__":
    main()
