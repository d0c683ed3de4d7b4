"""``pitwall rehearse``: run a session against a simulated world."""

from __future__ import annotations

import argparse
import asyncio
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

if TYPE_CHECKING:
    from pitwall.app.scenarios import Rehearsal
    from pitwall.app.wiring import Report

HELP = "run a session against a simulated world"
EXAMPLE = "pitwall rehearse practice_hour.yaml --event config/event.yaml --instant --seed 7"
DEFAULT_SPEED = 30.0
SPEED_OF_MEANING = 200.0
TOLD_EVERY_S = 0.5

ABOUT = """Without --instant or --speed the session runs 30 times faster than life, over MQTT on the embedded
broker, and the prompts are printed as they come. The scenario says what kind of day it is; --event puts your event
with its plans in the place of the one that the scenario names. With --instant one scenario, one event and one seed are
one session, always, and give the same report to the byte. At a speed the run follows the real clock, and with it what
happens may differ a little from run to run."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    from pitwall.cli.arguments import add_ca_file, add_screen, port, seed, speed

    parser: argparse.ArgumentParser = subparsers.add_parser("rehearse", help=HELP, description=f"{HELP}.\n{ABOUT}")
    parser.add_argument("scenario", metavar="SCENARIO", help="a scenario file, or the name of a shipped one")
    parser.add_argument("--event", metavar="EVENT", help="rehearse this event and its plans (default: the scenario's)")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--instant", action="store_true", help="on virtual time, without a broker: an hour in seconds")
    how.add_argument("--speed", type=speed, metavar="N", help="session seconds in a real second (default 30)")
    parser.add_argument("--seed", type=seed, metavar="N", help="another day of its kind (default: the scenario's)")
    parser.add_argument("--attach", metavar="URL", help="run the world alone, against the daemon on this broker")
    add_ca_file(parser)
    parser.add_argument("--port", type=port, default=0, metavar="N", help="of the embedded broker (default: any free)")
    add_screen(parser)
    parser.add_argument("--journal", metavar="FILE", help="keep the journal there; an older one is put aside")
    parser.add_argument("--json", action="store_true", help="print the report as JSON; prompts go to standard error")


def run(args: argparse.Namespace) -> int:
    """Rehearse and print the report; 1 when it was broken off."""
    from pitwall.app import lifecycle
    from pitwall.app.report import as_json, as_text
    from pitwall.app.scenarios import load_rehearsal
    from pitwall.errors import UserError

    if args.attach and (args.instant or args.journal):
        raise UserError("--attach runs the world alone: it goes with --speed, not with --instant or --journal")
    rehearsal = load_rehearsal(args.scenario, args.seed, args.event)
    print(rehearsal.in_words(), file=sys.stderr if args.instant or args.json else sys.stdout, flush=True)
    report = lifecycle.run(_timed(rehearsal, args))
    if report is None:
        print("pitwall: broken off before the session was over; no report", file=sys.stderr)
        return 1
    print(as_json(report) if args.json else as_text(report))
    return 0


async def _timed(rehearsal: Rehearsal, args: argparse.Namespace) -> Report | None:
    loop = asyncio.get_running_loop()
    began = loop.time()
    report = await _rehearse(rehearsal, args)
    # Not in the report: the same seed must give the same report on any machine.
    print(f"took {loop.time() - began:.1f} s", file=sys.stderr)
    return report


async def _rehearse(rehearsal: Rehearsal, args: argparse.Namespace) -> Report | None:
    from pitwall.app.brokers import client_address
    from pitwall.app.settings import load_settings
    from pitwall.app.wiring import Audience, rehearse_at_speed, rehearse_attached, rehearse_instant
    from pitwall.cli.arguments import screen_wishes
    from pitwall.cli.terminal.live import LinePrinter

    rate = args.speed or DEFAULT_SPEED
    if rate > SPEED_OF_MEANING and not args.instant:
        print(f"pitwall: at {rate:g} times life a tenth of a second in this machine is {rate / 10:g} s of the session: "
              f"calls come late that would not in life. Take --instant or a --speed up to {SPEED_OF_MEANING:g} for "
              "figures that mean something.", file=sys.stderr)
    journal = Path(args.journal) if args.journal else None
    if args.instant:
        line = ProgressLine(rehearsal.setup.duration_s, sys.stderr, asyncio.get_running_loop().time)
        try:
            return await rehearse_instant(rehearsal, journal, progress=line.at if sys.stderr.isatty() else None)
        finally:
            line.clear()
    printer = LinePrinter(sys.stderr if args.json else sys.stdout)
    audience = Audience(told=_say, hear=printer.hear, alert_over=printer.alert_over)
    if args.attach:
        address = client_address(load_settings(), args.attach, args.ca_file)
        return await rehearse_attached(rehearsal, address, rate, audience)
    return await rehearse_at_speed(rehearsal, rate, port=args.port, journal_file=journal, audience=audience,
                                   screen=screen_wishes(args))


class ProgressLine:
    """How far a rehearsal is, on one line of a terminal that is written over about twice a second.

    Args:
        whole_s: length of the session.
        stream: the terminal.
        now: seconds of a clock that goes on.
    """

    def __init__(self, whole_s: float, stream: TextIO, now: Callable[[], float]) -> None:
        self._whole_s, self._stream, self._now = whole_s, stream, now
        self._told_at, self._width = now(), 0

    def at(self, t: float) -> None:
        """The session is at this second; said when the last time is half a second ago."""
        if self._now() - self._told_at < TOLD_EVERY_S:
            return
        from pitwall.model.units import clock_text

        self._told_at = self._now()
        text = f"session {clock_text(max(t, 0.0))} of {clock_text(self._whole_s)}"
        self._stream.write(f"\r{text.ljust(self._width)}")
        self._stream.flush()
        self._width = len(text)

    def clear(self) -> None:
        """Leave the line as if nothing had been there."""
        if self._width:
            self._stream.write(f"\r{' ' * self._width}\r")
            self._stream.flush()
            self._width = 0


def _say(address: str, page: str | None) -> None:
    print(f"broker on {address}; look on with: pitwall watch --broker {address}", file=sys.stderr, flush=True)
    if page is not None:
        print(f"the screen, in a browser: {page}", file=sys.stderr, flush=True)
