"""``pitwall replay``: publish a recorded session onto the bus, at any speed."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import Any

HELP = "publish a recorded session onto the bus"
EXAMPLE = "pitwall replay recordings/friday --speed 10 --session practice-1"

FORMAT = """a recording is a folder of CSV files, times in seconds since the recording began:
  meta.json    scheduled_s (length of the session), start_t_s (the green light)
  events.csv   t_s, car, kind (loop, lap, pit_in, pit_out), loop (the highest is the finish line), lap_no,
               lap_time_s, sector_time_s, compound, tyre_age, t_msg_s (when the source said so)
  status.csv   t_s, status, source, scope
  weather.csv  t_s, air_c, track_c, rain (may be missing)
Messages go out in the order in which the source said them, with the official clock once a session second."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    from pitwall.cli.arguments import add_ca_file, speed

    parser: argparse.ArgumentParser = subparsers.add_parser("replay", help=HELP, description=f"{HELP}.\n\n{FORMAT}")
    parser.add_argument("folder", metavar="FOLDER", help="the recording")
    parser.add_argument("--speed", type=speed, default=1.0, metavar="N", help="session seconds a second (default 1)")
    parser.add_argument("--broker", metavar="URL", help="address of the broker (default mqtt://127.0.0.1:1883)")
    add_ca_file(parser)
    parser.add_argument("--session", metavar="S", help="publish as this session (default: the one of the daemon there)")
    parser.add_argument("--from", dest="begin_s", type=float, metavar="SECONDS",
                        help="begin at this session second (default: a minute before the green light)")
    parser.add_argument("--json", action="store_true", help="print what was sent as one JSON object")


def run(args: argparse.Namespace) -> int:
    """Replay to the end; 1 when messages were lost or it was broken off."""
    from dataclasses import asdict

    from pitwall.app import lifecycle
    from pitwall.app.brokers import client_address
    from pitwall.app.replaying import recording_in, replay
    from pitwall.app.settings import load_settings
    from pitwall.app.watching import find_session, planned_cars

    recording = recording_in(Path(args.folder))  # before any link is made: its faults come before the broker's
    address = client_address(load_settings(), args.broker, args.ca_file)

    async def work() -> Any:
        session = args.session or await find_session(address)
        planned = await planned_cars(address, session)
        if missing := [car for car in planned if car not in recording.cars]:
            print(f"pitwall: the recording has cars {', '.join(recording.cars)}, the plan has {', '.join(planned)}: "
                  f"the daemon follows the field, and makes no calls on track for {', '.join(missing)}",
                  file=sys.stderr)
        print(f"replaying {args.folder} as {session} on {address}, {args.speed:g} times life", file=sys.stderr)
        return await replay(recording, address, session, args.speed, args.begin_s)

    done = lifecycle.run(work())
    if args.json:
        print(json.dumps(asdict(done), indent=2))
    else:
        print(f"{done.sent} of {done.of} messages sent as {done.session}{'' if done.finished else ', broken off'}")
    for word, count in done.unknown_words.items():
        print(f"pitwall: status word {word!r} is not known; left out {count} times", file=sys.stderr)
    if done.dropped:
        print(f"pitwall: {done.dropped} messages were lost on the link: choose a lower --speed", file=sys.stderr)
    return 0 if done.finished and not done.dropped else 1
