"""The command `page`: one local page in a browser for all that is worth seeing or hearing."""

import contextlib
from pathlib import Path
from typing import Annotated

from reedbore.cli.common import Flag, Whole, say, say_json, tell

PORTS = 1, 65535


def page(
    *,
    port: Annotated[int | None, Whole] = None,
    no_browser: Annotated[bool, Flag] = False,
    atlas: Path | None = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Open a page in the browser: choose, hear, see and compare; Ctrl-C ends it.

    Nothing leaves this machine, and nothing on it can be reached from another one.

    Parameters
    ----------
    port
        Port to listen on, 1 to 65535. [default: 7463, or a free one]
    no_browser
        Only say the address.
    atlas
        Show this atlas, of locks --every-note, in place of what the page would make.
    json
        Print the address as one JSON document.
    """
    from reedbore.errors import ReedboreError  # noqa: PLC0415 - help starts faster
    from reedbore.page.serve import serve  # noqa: PLC0415

    if port is not None and not PORTS[0] <= port <= PORTS[1]:
        raise ReedboreError(f"--port is {port}; allowed {PORTS[0]} to {PORTS[1]}")

    if atlas is not None:
        from reedbore.verdict.atlas import read  # noqa: PLC0415 - takes longer than the start

        read(atlas)

    def ready(address: str) -> None:
        if json:
            say_json({"address": address})
        else:
            say(address)
        tell("Ctrl-C ends the page")
        if not no_browser:
            _open(address)

    with contextlib.suppress(KeyboardInterrupt):  # which a server at work may have swallowed
        serve(port, ready, atlas)
    tell("the page is closed")
    _leave()


def _open(address: str) -> None:
    """Open the browser without waiting for it."""
    import threading  # noqa: PLC0415
    import webbrowser  # noqa: PLC0415

    threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


def _leave() -> None:
    """End at once, although threads may still calculate what nobody will see."""
    import os  # noqa: PLC0415
    import sys  # noqa: PLC0415
    import threading  # noqa: PLC0415

    mine = threading.current_thread()
    if any(not one.daemon for one in threading.enumerate() if one is not mine):
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(0)
