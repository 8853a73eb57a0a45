"""The page's server from its first moment to its last.

It listens before anything heavy is loaded; the kernel is made ready meanwhile.
"""

import contextlib
import ctypes
import socket
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn
from starlette.applications import Starlette

from reedbore.errors import ReedboreError
from reedbore.page.app import make_app

if TYPE_CHECKING:
    from reedbore.page.ahead import Ahead

HOST = "127.0.0.1"
USUAL_PORT = 7463
M_ARENA_MAX = -8  # of glibc's malloc.h
SWITCH_S = 0.001
"""After so long a computation lets the one that answers have its turn; Python's own is five. [s]"""

GRACE_S = 2
"""How long answers under way may take once the program is to end. [s]"""


class Server(uvicorn.Server):
    """A server that says when it listens, and stops all work when it is to end."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self.ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to listen."""
        await super().startup(sockets)
        self.ready()

    def handle_exit(self, sig: int, frame: object) -> None:
        """End on a signal."""
        self.config.app.state.jobs.stop()  # type: ignore[union-attr]
        super().handle_exit(sig, frame)  # type: ignore[arg-type]


def listen(port: int | None) -> socket.socket:
    """Take a port of this machine, to be reached from this machine only.

    Parameters
    ----------
    port : int or None
        Which; None for the usual one, or any other if that is taken.

    Returns
    -------
    socket
        Which listens.

    Raises
    ------
    ReedboreError
        If the port cannot be had.
    """
    for wanted in [USUAL_PORT, 0] if port is None else [port]:
        found = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            found.bind((HOST, wanted))
            found.listen()
        except (OSError, OverflowError) as error:
            found.close()
            reason = getattr(error, "strerror", None) or str(error)
            told = f"port {wanted} of {HOST} cannot be had ({reason.lower()}); try another --port"
        else:
            return found
    raise ReedboreError(told)


def share_memory() -> None:
    """Let all threads take memory from one place, where the C library can be told so.

    glibc gives each thread a place of its own, which then stays as large as its largest take.
    """
    with contextlib.suppress(AttributeError, OSError, TypeError):  # another C library
        ctypes.CDLL(None).mallopt(M_ARENA_MAX, 1)


def solve_ahead(app: Starlette) -> "Ahead":
    """Have what may be asked next solved while no sound is asked for, the demo's notes at once."""
    from reedbore.page.ahead import Ahead  # noqa: PLC0415 - takes longer than the server's start

    found = Ahead(lambda: app.state.jobs.sounding)
    app.state.ahead = lambda body: found.about(body.get("words", {}))
    found.about({})
    return found


def warm() -> None:
    """Make ready what the first click needs: the compiled step, the demo's bore, the pictures."""
    from reedbore.page import api  # noqa: PLC0415 - takes longer than the server's start

    with contextlib.suppress(ReedboreError):
        api.sound({})
        api.look({})


def serve(port: int | None, ready: Callable[[str], None], atlas: Path | None = None) -> None:
    """Serve the page until a signal ends it.

    Parameters
    ----------
    port : int or None
        As for `listen`.
    ready : callable
        Told the address as soon as it can be opened.
    atlas : Path, optional
        The store of one that is shown, in place of what is made here.

    Raises
    ------
    ReedboreError
        If the port cannot be had.
    KeyboardInterrupt
        After everything has been closed.
    """
    share_memory()
    if atlas is not None:
        from reedbore.page.choices import given  # noqa: PLC0415 - the server must start at once

        given["atlas"] = atlas
    sys.setswitchinterval(SWITCH_S)
    taken = listen(port)
    app = make_app()
    address = f"http://{HOST}:{taken.getsockname()[1]}/"

    def begun() -> None:
        ready(address)
        threading.Thread(target=begin, daemon=True, name="warm").start()

    def begin() -> None:
        warm()
        app.state.jobs.at_end(solve_ahead(app).stop)

    config = uvicorn.Config(
        app, log_level="warning", access_log=False, lifespan="off", ws="none",
        proxy_headers=False, server_header=False, timeout_graceful_shutdown=GRACE_S,
    )  # fmt: skip
    with taken:
        Server(config, begun).run(sockets=[taken])
