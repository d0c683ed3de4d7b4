"""Ports of this machine: is one taken, and which is free."""

from __future__ import annotations

import errno
import ipaddress
import os
import socket

from pitwall.errors import UserError

LOOPBACK, ANY = "127.0.0.1", "0.0.0.0"


def listening_address(text: str) -> str:
    """An IPv4 address to listen on, ``localhost`` read as ``127.0.0.1``.

    Raises:
        UserError: when it is none.
    """
    if text == "localhost":
        return LOOPBACK
    try:
        return str(ipaddress.IPv4Address(text))
    except ValueError:
        raise UserError(
            f"{text!r} is no IPv4 address to listen on: 127.0.0.1 is this machine alone, 0.0.0.0 every network it is on"
        ) from None


def is_loopback(host: str) -> bool:
    """True when only this machine can reach a listener there."""
    return ipaddress.IPv4Address(host).is_loopback


def reached_at(host: str) -> str:
    """Where this machine itself reaches a listener on ``host``."""
    return LOOPBACK if host == ANY else host


def is_taken(host: str, port: int) -> bool:
    """True when somebody listens there, or would be in our way.

    Two looks: some systems let one bind an address in front of a listener on all of them.
    """
    with socket.socket() as probe:
        probe.settimeout(0.5)
        if probe.connect_ex((reached_at(host), port)) == 0:
            return True
    with socket.socket() as probe:
        if os.name == "posix":  # a connection that lingers after its end is in nobody's way
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return True
    return False


def is_of_this_machine(host: str) -> bool:
    """True when this machine has that address, so that one may listen on it."""
    with socket.socket() as probe:
        try:
            probe.bind((host, 0))
        except OSError as refused:
            return refused.errno != errno.EADDRNOTAVAIL
    return True


def obstacle(host: str, port: int) -> str | None:
    """Why nobody can listen there now, in words; None when one can."""
    with socket.socket() as probe:
        if os.name == "posix":
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except PermissionError:
            return "this system keeps that port for its administrator"
        except OSError as refused:
            return "somebody listens there" if refused.errno == errno.EADDRINUSE else str(refused.strerror)
    return "somebody listens there" if is_taken(host, port) else None


def free_port(host: str = LOOPBACK) -> int:
    """A port that nobody uses now."""
    with socket.socket() as probe:
        probe.bind((host, 0))
        port: int = probe.getsockname()[1]
        return port
