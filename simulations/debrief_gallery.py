"""Pictures of a debrief, of a rehearsed hour with a red flag: to be looked at after a change, and shown in the README.

    python simulations/debrief_gallery.py [--journal FILE] [--into simulations/gallery]

Needs Debian's chromium and poppler-utils (``pdftoppm``) and the extra ``test``. One picture is in grey, as most
printers print it.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

HERE = Path(__file__).parent
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking")
SCENARIO = "red_flag.yaml"
DOTS_AN_INCH = 96
COLOURS = 24
PAGES = {1: "first", 2: "plan_and_laps", 4: "switches"}
"""Pages of paper that are shown, and what stands on them."""


def pitwall(*words: str) -> None:
    """Run a command of ours; its output is not ours to show."""
    subprocess.run([sys.executable, "-m", "pitwall", *words], check=True, capture_output=True)


def small(picture: Image.Image, path: Path, *, grey: bool = False) -> None:
    """Save it with few colours."""
    plain = picture.convert("L").convert("RGB") if grey else picture.convert("RGB")
    plain.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    print(f"{path}  {path.stat().st_size // 1024} kB")


def paper(folder: Path, into: Path) -> None:
    """Some pages of the PDF, one of them in grey as well."""
    pdftoppm = shutil.which("pdftoppm")
    if pdftoppm is None:
        raise SystemExit("needs Debian's package poppler-utils")
    subprocess.run([pdftoppm, "-r", str(DOTS_AN_INCH), "-l", str(max(PAGES)), "-png", "debrief.pdf", "page"],
                   cwd=folder, check=True)
    for file in sorted(folder.glob("page-*.png")):
        name = PAGES.get(int(file.stem.rpartition("-")[2]))
        if name is None:
            continue
        with Image.open(file) as picture:
            small(picture, into / f"debrief_{name}.png")
            if name == "plan_and_laps":
                small(picture, into / f"debrief_{name}_grey.png", grey=True)


def page(folder: Path, into: Path) -> None:
    """The top of the page in a browser, and on a phone."""
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=shutil.which("chromium"), args=list(FLAGS))
        for name, width, height in (("page", 1100, 1200), ("phone", 390, 844)):
            opened = browser.new_page(viewport={"width": width, "height": height})
            opened.goto((folder / "debrief.html").as_uri())
            opened.screenshot(path=folder / f"{name}.png")
            with Image.open(folder / f"{name}.png") as picture:
                small(picture, into / f"debrief_{name}.png")
        browser.close()


def main() -> None:
    """Rehearse unless there is a journal, make the debrief, take the pictures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--journal", type=Path, help="of another session than the rehearsed one")
    parser.add_argument("--into", type=Path, default=HERE / "gallery")
    args = parser.parse_args()
    args.into.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        journal = args.journal or folder / "practice-1.sqlite"
        if args.journal is None:
            pitwall("rehearse", SCENARIO, "--instant", "--journal", str(journal))
        pitwall("debrief", str(journal), "--out", str(folder))
        paper(folder, args.into)
        page(folder, args.into)


if __name__ == "__main__":
    main()
