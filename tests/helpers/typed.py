"""A command as it is typed, in the process of the tests: loading takes longer than most work."""

import contextlib
import io
from pathlib import Path
from typing import NamedTuple

from reedbore.cli import main


class Done(NamedTuple):
    """What a command left behind: its exit status and both streams."""

    returncode: int
    stdout: str
    stderr: str


def typed(*words: str, folder: Path) -> Done:
    """Type a command in a folder."""
    out, err = io.StringIO(), io.StringIO()
    with (
        contextlib.chdir(folder),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        status = main(words)
    return Done(status, out.getvalue(), err.getvalue())
