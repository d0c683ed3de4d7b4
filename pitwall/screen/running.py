"""Running the screen's server inside the daemon's own loop."""

from __future__ import annotations

import asyncio
import contextlib
import socket
from collections.abc import Iterator

import uvicorn
from starlette.applications import Starlette

from pitwall.errors import UserError

STARTED_WITHIN_S = 5.0
STOPPED_WITHIN_S = 2.0
LARGEST_FRAME_BYTES = 256 * 1024
"""A command is a few hundred bytes, and the broker refuses what is over 64 KiB anyway."""


class _Quiet(uvicorn.Server):
    """uvicorn's server without its hands on the process's signals: the daemon's life cycle has them."""

    def __init__(self, config: uvicorn.Config) -> None:
        super().__init__(config)
        self.listening = asyncio.Event()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen, and say so."""
        await super().startup(sockets)
        self.listening.set()

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


class ScreenServer:
    """The server on one port. ``start`` returns once it listens; ``stop`` lets go of every page."""

    def __init__(self, app: Starlette, bind: str, port: int) -> None:
        """Prepare it.

        Args:
            app: see :func:`pitwall.screen.server.application`.
            bind: the address that it listens on.
            port: the port; 0 for a free one.
        """
        self._bind, self._wanted = bind, port
        self._config = uvicorn.Config(
            app, log_config=None, access_log=False, lifespan="off", ws="websockets-sansio", server_header=False,
            ws_max_size=LARGEST_FRAME_BYTES, timeout_graceful_shutdown=1, ws_per_message_deflate=False,
        )  # fmt: skip
        self._server = _Quiet(self._config)
        self._socket: socket.socket | None = None
        self._task: asyncio.Task[None] | None = None

    @property
    def port(self) -> int:
        """Where it listens, once started."""
        return self._socket.getsockname()[1] if self._socket is not None else self._wanted

    @property
    def address(self) -> str:
        """What to type into a browser on this machine."""
        host = "127.0.0.1" if self._bind == "0.0.0.0" else self._bind
        return f"http://{host}:{self.port}/"

    async def start(self) -> None:
        """Listen.

        Raises:
            UserError: when the port is taken or the address is none of this machine's.
        """
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind((self._bind, self._wanted))
        except OSError as problem:
            made.close()
            raise UserError(
                f"the screen cannot listen on {self._bind}:{self._wanted} ({problem.strerror}): "
                "give another --screen-port, 0 for any free one"
            ) from None
        self._socket = made
        self._task = asyncio.create_task(self._server.serve(sockets=[made]))
        await asyncio.wait_for(self._server.listening.wait(), STARTED_WITHIN_S)

    async def stop(self) -> None:
        """Let go of every page and of the port."""
        self._server.should_exit = True
        if self._task is not None:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._task, STOPPED_WITHIN_S)
        if self._socket is not None:
            self._socket.close()
