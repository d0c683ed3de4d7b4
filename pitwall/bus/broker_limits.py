"""Who may use the embedded broker, and the bounds that it keeps its clients in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class BrokerUser:
    """One user of the embedded broker: the SHA-256 of a long random token (hex), and what it may do.

    A token of 32 random bytes needs no slow hash, and a slow hash would hold up the event loop at each login.
    """

    token_sha256: str
    may_publish: tuple[str, ...] = ("#",)
    may_read: tuple[str, ...] = ("#",)


@dataclass(frozen=True)
class BrokerLimits:
    """Bounds of the embedded broker."""

    packet_bytes: int = 2 * 1024 * 1024
    connect_s: float = 5.0
    takeover_s: float = 2.0
    pending: int = 5000
    users: Mapping[str, BrokerUser] | None = field(default=None, repr=False)
