"""How a daemon starts: at which second of the session, and its parts in their order."""

from __future__ import annotations

from pitwall.app.daemon import Daemon
from pitwall.app.lifecycle import Lifecycle
from pitwall.app.slow_work import Beside
from pitwall.model.setup import SessionSetup
from pitwall.runtime.clock import wall_seconds, wall_text

PREPARED_BEFORE_S = 60.0
LATEST_T, EARLIEST_T = 172_800.0, -86_400.0


def starting_second(setup: SessionSetup) -> float:
    """Session second now, before any feed has spoken: from the session's opening time, if that is today or so.

    A session without one, or long over (a demo), begins a minute before its green light.
    """
    window = setup.regulations.window(setup.session)
    if window is None or window.opens_at is None:
        return -PREPARED_BEFORE_S
    second = wall_seconds() - window.opens_at.timestamp()
    return second if EARLIEST_T < second < window.duration_s else -PREPARED_BEFORE_S


async def start_daemon(life: Lifecycle, daemon: Daemon, workers: Beside, t: float) -> bool:
    """Prepare the session at second ``t`` or go on with it, then link, host and pulse; True when it went on."""
    async def end_host() -> None:
        daemon.host.stop()
        await host

    async def end_link() -> None:
        daemon.say_goodbye()
        await daemon.bus.stop()

    await life.start("slow work", None, workers.stop)
    resumed = await daemon.prepare(t, wall_text())
    await life.start("daemon's link", daemon.bus.start, end_link)
    host = life.spawn("host", daemon.host.run(), stop=end_host)
    life.spawn("pulse", daemon.pulse())
    return resumed
