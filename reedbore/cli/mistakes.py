"""What the command line has that no command takes: said in one sentence of our own.

In: what the framework found. Out: option, value, and what the option's help says it should be.
"""

import difflib
import re
from collections.abc import Callable, Iterable
from typing import get_args

from cyclopts import App, Argument, CycloptsError, UnknownCommandError, UnusedCliTokensError
from cyclopts.exceptions import (
    CoercionError,
    MissingArgumentError,
    RepeatArgumentError,
    UnknownOptionError,
)

RENAMED = {"--resultant": "--third"}
NEEDED = {"float": "a number", "int": "a whole number"}


def sentence(error: CycloptsError, app: App) -> str:
    """Say what is wrong with the command line.

    Parameters
    ----------
    error : CycloptsError
        What the framework found.
    app : App
        All commands.

    Returns
    -------
    str
        One line without full stop.
    """
    tell = next((TOLD[kind] for kind in type(error).__mro__ if kind in TOLD), None)
    if tell is None:
        return f"{_command(error)} cannot read what was typed; see {_command(error)} --help"
    return tell(error, app)


def _command(error: CycloptsError) -> str:
    return " ".join(("reedbore", *(error.command_chain or ())))


def _near(word: str, known: Iterable[str], otherwise: str) -> str:
    near = difflib.get_close_matches(word, list(known), n=1)
    return f"did you mean {near[0]}?" if near else otherwise


def _no_command(error: UnknownCommandError, app: App) -> str:
    word = (error.unused_tokens or [""])[0]
    commands = [name for name in app if not name.startswith("-")]
    return f"{word!r} is no command; {_near(word, commands, 'there are ' + ', '.join(commands))}"


def _one_too_many(error: UnusedCliTokensError, _: App) -> str:
    word = (error.unused_tokens or [""])[0]
    return f"{word!r} is one word too many; see {_command(error)} --help"


def _no_option(error: UnknownOptionError, _: App) -> str:
    word, command = error.token.keyword or error.token.value, _command(error)
    if word in RENAMED:
        return f"{word} is now called {RENAMED[word]}"
    known = [name for argument in error.argument_collection for name in argument.names]
    return f"{word} is no option of {command}; {_near(word, known, f'see {command} --help')}"


def _given_twice(error: RepeatArgumentError, _: App) -> str:
    return f"{error.token.keyword} is given twice; once is enough"


def _missing(error: MissingArgumentError, _: App) -> str:
    assert error.argument is not None
    typed, name = error.tokens_so_far, error.keyword or error.argument.name
    about = _about(error)
    if error.keyword is None and not typed:
        return f"{name} is missing: {about}"
    needed = error.argument.token_count()[0]
    words = "a value" if needed == 1 else f"{needed} words, and has {len(typed)}"
    return f"{name} needs {words}: {about}"


def _unfit(error: CoercionError, _: App) -> str:
    assert error.argument is not None
    name = error.argument.name
    value = error.token.value if error.token is not None else ""
    kind = next((word for word in NEEDED if word in str(error.argument.hint)), None)
    if kind is None and (choices := get_args(error.argument.hint)):
        return f"{name} is {value!r}; allowed {', '.join(map(str, choices))} ({_about(error)})"
    if kind is None:
        return f"{name} takes no value, and has {value!r}"
    return f"{name} is {value!r}; it must be {NEEDED[kind]} ({_about(error)})"


def _about(error: CycloptsError) -> str:
    """Say what an option is, as its help does in its first words; the range stands there."""
    assert error.argument is not None
    assert error.app is not None
    found: Iterable[Argument] = error.app.assemble_argument_collection(parse_docstring=True)
    told = next((one.parameter.help for one in found if one.name == error.argument.name), None)
    first = re.split(r"[.;] | \[default|\.$", " ".join((told or "").split()))[0]
    return first[:1].lower() + first[1:] if first[1:2].islower() or first[1:2] == " " else first


TOLD: dict[type, Callable[..., str]] = {
    UnknownCommandError: _no_command,
    UnusedCliTokensError: _one_too_many,
    UnknownOptionError: _no_option,
    RepeatArgumentError: _given_twice,
    MissingArgumentError: _missing,
    CoercionError: _unfit,
}
