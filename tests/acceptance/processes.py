"""`pitwall` as processes of its own, for the acceptance tests."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pitwall.bus.orphans import end_orphans

ROOT = Path(__file__).resolve().parents[2]
QUICK_DAY = Path(__file__).with_name("quick_day.yaml")
WAIT_S = 60.0


class Processes:
    """Starts `pitwall` processes and ends what is left of them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._running: list[subprocess.Popen[str]] = []
        self.environment = os.environ | {"PITWALL_STATE_DIR": str(folder / "state"), "PITWALL_LOG_FORMAT": "json"}

    def start(self, *arguments: str, out: Path | None = None) -> subprocess.Popen[str]:
        """Start a command; its output goes to ``out``, for a pipe that nobody reads would stop it."""
        process = subprocess.Popen(
            [sys.executable, "-m", "pitwall", *arguments], cwd=self.folder, env=self.environment, text=True,
            stdin=subprocess.DEVNULL, stdout=out.open("w") if out else subprocess.PIPE, stderr=subprocess.PIPE,
        )
        self._running.append(process)
        return process

    def serve(self, event: str = "event.yaml", *more: str) -> tuple[subprocess.Popen[str], dict[str, Any]]:
        """A daemon with a broker of its own unless one elsewhere is named, and what it said when it started."""
        port = () if any("://" in word for word in more) else ("--port", "0")
        process = self.start("serve", event, *port, "--json", *more)
        assert process.stdout is not None
        line = process.stdout.readline()
        if not line:
            raise AssertionError(process.communicate()[1])
        return process, json.loads(line)

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """Run a command to its end."""
        return subprocess.run(
            [sys.executable, "-m", "pitwall", *arguments], cwd=self.folder, env=self.environment, text=True,
            capture_output=True, stdin=subprocess.DEVNULL, check=False, timeout=300,
        )

    def copy_folder(self, *names: str) -> None:
        """Copies of these folders of the repository in this one."""
        for name in names:
            shutil.copytree(ROOT / name, self.folder / name, ignore=shutil.ignore_patterns("__pycache__"))

    def copy_demo(self) -> Path:
        """The demo event and the scenarios in this folder, with the plans of the short demo; its event file."""
        self.copy_folder("config", "simulations")
        event = self.folder / "config" / "event.yaml"
        text = event.read_text(encoding="utf-8")
        for car in ("41", "58"):
            text = text.replace(f"plans/plan_{car}.yaml", f"../simulations/plans/demo_{car}.yaml")
        event.write_text(text, encoding="utf-8")
        regulations = event.with_name("regulations.yaml")
        text = regulations.read_text(encoding="utf-8").replace("duration_s: 3600", "duration_s: 1200")
        regulations.write_text(text, encoding="utf-8")
        return event

    def end(self) -> None:
        """Kill what still runs, and the broker that a killed daemon leaves behind."""
        for process in self._running:
            if process.poll() is None:
                process.kill()
            process.communicate()
        end_orphans(self.folder / "state" / "brokers")


def leave(process: subprocess.Popen[str], number: signal.Signals = signal.SIGTERM) -> tuple[int, str, str]:
    """Ask a process to end; returns its exit code, output and errors."""
    process.send_signal(number)
    out, err = process.communicate(timeout=WAIT_S)
    return process.returncode, out, err


def until(done: Callable[[], bool], within_s: float = WAIT_S) -> None:
    """Wait for something that another process does."""
    end = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < end, "did not happen in time"
        time.sleep(0.05)
