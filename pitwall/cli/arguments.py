"""What several commands share: argument types, which say what was expected when they refuse; the words of waiting."""

from __future__ import annotations

import argparse
import math
import sys
from datetime import date
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pitwall.app.screen import ScreenWishes

FASTEST = 1000.0


def speed(text: str) -> float:
    """A rate of time: above 0, at most 1000."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not 0 < value <= FASTEST:
        raise argparse.ArgumentTypeError(f"{text!r} is no speed: expected a number above 0, at most {FASTEST:g}")
    return value


def seed(text: str) -> int:
    """A seed: a whole number from 0 to 2147483647."""
    if not (text.isascii() and text.isdigit() and int(text) < 2**31):
        raise argparse.ArgumentTypeError(f"{text!r} is no seed: expected a whole number from 0 to {2**31 - 1}")
    return int(text)


def calendar_date(text: str) -> date:
    """A date as ISO 8601 writes it."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no date: expected one such as 2031-05-16") from None


def add_ca_file(parser: argparse.ArgumentParser) -> None:
    """The option for ``mqtts://`` brokers whose certificate this machine does not trust by itself."""
    parser.add_argument("--ca-file", metavar="FILE",
                        help="for mqtts://: the PEM file that the broker's certificate was signed with")


def port(text: str) -> int:
    """A TCP port; 0 means any free one."""
    if not (text.isascii() and text.isdigit() and int(text) <= 65_535):
        raise argparse.ArgumentTypeError(f"{text!r} is no port: expected a whole number from 0 (any free one) to 65535")
    return int(text)


def add_screen(parser: argparse.ArgumentParser) -> None:
    """The options of the second screen: a page for browsers."""
    parser.add_argument("--screen-port", type=port, metavar="N",
                        help="of the page for browsers (default 8200, or a free one if that is taken; 0: a free one)")
    parser.add_argument("--no-screen", action="store_true", help="without the page for browsers")


def screen_wishes(args: argparse.Namespace, bind: str = "127.0.0.1") -> ScreenWishes | None:
    """Where the screen is to be; None for no screen."""
    from pitwall.app.screen import ScreenWishes

    return None if args.no_screen else ScreenWishes(bind, args.screen_port)


def say_that_it_waits(reason: str) -> None:
    """Tell, on standard error, why there is no link to the broker yet."""
    print(f"pitwall: {reason}\nwaiting for it and trying again; Ctrl-C ends", file=sys.stderr, flush=True)
