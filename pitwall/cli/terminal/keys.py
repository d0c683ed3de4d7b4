"""Single key presses from the terminal, without waiting for Enter; nothing at all where there is no terminal."""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from collections.abc import Callable, Iterator

KEY_NAMES = {"\x1b[A": "up", "\x1b[B": "down", "\t": "tab", "\r": "enter", "\n": "enter", "\x7f": "backspace",
             "\x08": "backspace", "\x1b": "escape"}  # fmt: skip
WINDOWS_NAMES = {"H": "up", "P": "down"}
WINDOWS_POLL_S = 0.05


@contextlib.contextmanager
def key_presses(pressed: Callable[[str], None]) -> Iterator[None]:
    """Call ``pressed`` with each key (a letter, or up, down, tab, enter, escape, backspace) while the block lasts.

    Must be entered inside a running loop. The terminal is put back as it was, whatever happens.
    """
    # A program without a console (pythonw) has no standard input at all.
    if sys.stdin is None or not sys.stdin.isatty():
        yield
    elif sys.platform == "win32":
        with _windows(pressed):
            yield
    else:
        with _posix(pressed):
            yield


def split_keys(text: str) -> list[str]:
    """The keys in what a terminal sent at once: an arrow comes as three characters, unknown sequences are dropped."""
    keys: list[str] = []
    while text:
        if text.startswith("\x1b["):
            keys += [KEY_NAMES[text[:3]]] if text[:3] in KEY_NAMES else []
            text = text[3:]
        else:
            # The key itself comes alone; before other characters it begins something that no key here sends.
            keys += [KEY_NAMES.get(text[0], text[0])] if text[0] != "\x1b" or len(text) == 1 else []
            text = text[1:]
    return keys


@contextlib.contextmanager
def _posix(pressed: Callable[[str], None]) -> Iterator[None]:
    try:
        import termios
        import tty
    except ImportError:  # a system that is neither Windows nor POSIX: the view is shown, without keys
        yield
        return
    loop, descriptor = asyncio.get_running_loop(), sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)

    def ready() -> None:
        text = os.read(descriptor, 64).decode(errors="ignore")
        if not text:  # the terminal went away
            loop.remove_reader(descriptor)
        for key in split_keys(text):
            pressed(key)

    tty.setcbreak(descriptor)
    loop.add_reader(descriptor, ready)
    try:
        yield
    finally:
        loop.remove_reader(descriptor)
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


@contextlib.contextmanager
def _windows(pressed: Callable[[str], None]) -> Iterator[None]:
    if sys.platform != "win32":  # for the type checker: msvcrt exists there alone
        raise RuntimeError("only on Windows")
    import msvcrt

    loop = asyncio.get_running_loop()
    handle: asyncio.TimerHandle | None = None

    def poll() -> None:
        nonlocal handle
        while msvcrt.kbhit():
            key = msvcrt.getwch()
            if key in ("\x00", "\xe0"):  # an arrow comes as two
                name = WINDOWS_NAMES.get(msvcrt.getwch())
                if name:
                    pressed(name)
            else:
                pressed(KEY_NAMES.get(key, key))
        handle = loop.call_later(WINDOWS_POLL_S, poll)

    poll()
    try:
        yield
    finally:
        if handle is not None:
            handle.cancel()
