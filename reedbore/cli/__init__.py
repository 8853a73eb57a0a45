"""The command line: one module for each command, imported only when that command runs.

Results go to stdout, all other messages to stderr. Status 0: done; 2: a mistake of the user's,
told in one sentence; 1: a mistake of ours, with its traceback; 130: stopped from the keyboard.
"""

import os
import sys
from collections.abc import Sequence

from cyclopts import App, CycloptsError

from reedbore import __version__
from reedbore.cli.common import prepare_streams, tell
from reedbore.cli.mistakes import sentence
from reedbore.errors import ReedboreError

MISTAKE, STOPPED = 2, 130


app = App(
    name="reedbore",
    help="A wind player sings into a reed horn: hear, see and measure what becomes of it.",
    version=__version__,
    help_format="plaintext",
    suppress_keyboard_interrupt=False,  # `main` says that it was stopped
)
app.command(
    "reedbore.cli.predict:predict",
    name="predict",
    help="Say from arithmetic alone which third note a pair has, or chart a whole horn.",
)
app.command(
    "reedbore.cli.render:render",
    name="render",
    help="Simulate a take or a passage: sound, picture, verdict; without options, an étude.",
)
app.command(
    "reedbore.cli.sweep:sweep",
    name="sweep",
    help="Move one to three quantities and see where voice and horn lock: a data set for a map.",
)
app.command(
    "reedbore.cli.locks:locks",
    name="locks",
    help="Make the lock table of a fingered note: what may be sung over it, and how exactly.",
)
app.command(
    "reedbore.cli.plan:plan",
    name="plan",
    help="Plan what to finger and sing: for a wanted third note, a whole horn, or a piece.",
)
app.command(
    "reedbore.cli.picture:picture",
    name="picture",
    help="Draw a sweep as a lock map, or as a page in which every cell can be asked.",
)
app.command(
    "reedbore.cli.analyse:analyse",
    name="analyse",
    help="Tell note by note what a recording of horn and voice holds.",
)
app.command(
    "reedbore.cli.fit:fit",
    name="fit",
    help="Find the breath and the reed with which a horn sounds most like a recorded note.",
)
app.command(
    "reedbore.cli.animate:animate",
    name="animate",
    help="Show in slow motion how wave, reed and voice work: a video, or pictures for a handout.",
)
app.command(
    "reedbore.cli.page:page",
    name="page",
    help="Open a page in the browser: choose, hear, see and compare.",
)
app.command(
    "reedbore.cli.presets:presets",
    name="presets",
    help="List the horns, voices and passages there are; show one, or check a file.",
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        What follows ``reedbore`` on the command line; by default that of this process.

    Returns
    -------
    int
        The exit status.
    """
    prepare_streams()
    try:
        status = app(
            sys.argv[1:] if arguments is None else list(arguments),
            exit_on_error=False,
            print_error=False,
            result_action="return_value",
        )
        sys.stdout.flush()
    except ReedboreError as error:
        tell(str(error))
        return MISTAKE
    except CycloptsError as error:
        tell(sentence(error, app))
        return MISTAKE
    except BrokenPipeError:
        # The reader has gone, as in `reedbore presets | head -1`; Python must not flush into it.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        tell("stopped")
        return STOPPED
    return status if isinstance(status, int) else 0
