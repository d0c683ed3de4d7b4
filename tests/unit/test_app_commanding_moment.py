"""``--at``: so long ago, or a session second, and nothing that could be either."""

from __future__ import annotations

import pytest

from pitwall.app.commanding import moment
from pitwall.errors import UserError


@pytest.mark.parametrize(
    ("text", "read"), [("-20s", (-20.0, True)), ("-20", (-20.0, True)), ("754.5", (754.5, False))]
)
def test_a_moment_is_so_long_ago_or_a_session_second(text: str, read: tuple[float, bool]) -> None:
    """A sign in front counts back from now; a plain number is the session's second."""
    assert moment(text) == read


def test_a_moment_with_a_plus_is_refused() -> None:
    """``+50s`` would lie ahead of now; taken for session second 50 it would put a comment where nobody made it."""
    with pytest.raises(UserError, match=r"'\+50s' lies ahead: so long ago is -50s, a session second 50"):
        moment("+50s")
