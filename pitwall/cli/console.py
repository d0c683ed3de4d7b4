"""Consoles that cannot show every character: what they lack is written as an escape, and nothing breaks off.

A Windows console or a redirected file may be in a code page of 256 characters, and a driver's name may not.
"""

from __future__ import annotations

import codecs
import io
from typing import TextIO

ESCAPES = "pitwall-escapes"


def _escaped(error: UnicodeError) -> tuple[str, int]:
    # As JSON escapes them, in UTF-16, so that --json stays JSON in any code page.
    if not isinstance(error, UnicodeEncodeError):
        raise error
    units = error.object[error.start:error.end].encode("utf-16-be", "surrogatepass")
    pairs = (units[at:at + 2].hex() for at in range(0, len(units), 2))
    return "".join(f"\\u{pair}" for pair in pairs), error.end


def take_every_character(*streams: TextIO | None) -> None:
    """Let these streams write an escape for what their encoding lacks. A stream that is not there is passed over."""
    codecs.register_error(ESCAPES, _escaped)
    for stream in streams:
        if isinstance(stream, io.TextIOWrapper) and (stream.encoding or "").lower().replace("-", "") != "utf8":
            stream.reconfigure(errors=ESCAPES)
