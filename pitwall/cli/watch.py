"""``pitwall watch``: clock, cars, prompts and alerts in the terminal, with keys for the desk."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pitwall.app.brokers import BrokerAddress

HELP = "show prompts, clock and alerts in the terminal"
EXAMPLE = "pitwall watch --broker mqtt://127.0.0.1:1883 --car 41"

KEYS = """keys: s said, x skip, d defer, r repeat, c confirm, m quiet, a acknowledge the first alert,
k the driver asked something, w it was answered, n note what the driver says, b the last note again,
v ask for advice, p look at a changed plan or advice that waits: y adopts it, n declines it,
tab or 1-9 choose the car, up and down choose the prompt, ? help, q leave. Without a timing feed, for
the car that is shown: l passed the line, i entered the pits, o left them, f a line press was forgotten,
e red flag, g green, u take back your last entry.
A broker that is not there yet is waited for. Without a terminal (a pipe, a file) it writes one plain
line for each thing that changes."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    from pitwall.cli.arguments import add_ca_file

    parser: argparse.ArgumentParser = subparsers.add_parser("watch", help=HELP, description=f"{HELP}.\n{KEYS}")
    parser.add_argument("--broker", metavar="URL", help="address of the broker (default mqtt://127.0.0.1:1883)")
    add_ca_file(parser)
    parser.add_argument("--session", metavar="S", help="which session (default: the first that speaks)")
    parser.add_argument("--car", metavar="N", help="begin with this car; with lines: this car alone")
    parser.add_argument("--by", default="watch", metavar="NAME", help="whose hand presses the keys, for the journal")
    parser.add_argument("--lines", action="store_true", help="plain lines although there is a terminal")
    parser.add_argument("--json", action="store_true", help="each message as a line of JSON")


def run(args: argparse.Namespace) -> int:
    """Watch until somebody leaves."""
    from pitwall.app import lifecycle
    from pitwall.app.brokers import client_address
    from pitwall.app.settings import load_settings

    address = client_address(load_settings(), args.broker, args.ca_file)
    lifecycle.run(_watch(address, args))
    return 0


async def _watch(address: BrokerAddress, args: argparse.Namespace) -> None:
    from pitwall.app.watching import watch
    from pitwall.cli.arguments import say_that_it_waits
    from pitwall.cli.terminal.live import LinePrinter, Picture, is_terminal

    if args.json or args.lines or not is_terminal():
        printer = LinePrinter(sys.stdout, args.car, args.json)
        await watch(address, args.session, printer.hear, printer.alert_over, printer.until_gone, say_that_it_waits)
        return
    picture = Picture(args.car, args.by)
    await watch(address, args.session, picture.hear, picture.board.clear_alert, picture.show, say_that_it_waits)
