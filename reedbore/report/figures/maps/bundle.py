"""One script out of the modules of the page in the browser, for a page that stands alone.

In: the name of a module in ``page/static``. Out: text that needs no other file: each module it
imports, once and before whoever needs it, in a function of its own that returns what it exports.
Only the plain forms that the page's modules use are understood; any other is refused.
"""

import posixpath
import re
from collections.abc import Callable
from importlib import resources

from reedbore.errors import ReedboreError

IMPORT = re.compile(r'^import \{ ([^}]+) \} from "(\.[^"]+)";$', re.MULTILINE)
EXPORT = re.compile(
    r"^export (?=(?:const|class|function|async function)\b\*? ?(?:function\*? )?(\w+))",
    re.MULTILINE,
)
OTHER = re.compile(r"^(?:import|export)\b.*", re.MULTILINE)


def page_file(name: str) -> str:
    """Read a file of the page in the browser, named as in ``page/static``."""
    return resources.files("reedbore").joinpath("page", "static", name).read_text("utf-8")


def bundle(entry: str, read: Callable[[str], str] = page_file) -> str:
    """Join a module and all that it imports.

    Parameters
    ----------
    entry : str
        Name of the module that starts.
    read : callable, optional
        Gives the text of a module by its name; by default that of the page.

    Returns
    -------
    str
        A script.

    Raises
    ------
    ReedboreError
        If modules import each other in a circle, or import or export in another form.
    """
    done: dict[str, str] = {}

    def add(name: str, wanted_by: tuple[str, ...]) -> None:
        if name in wanted_by:
            raise ReedboreError(f"modules import each other: {' > '.join((*wanted_by, name))}")
        if name in done:
            return
        text = read(name)
        for found in IMPORT.finditer(text):
            add(_target(name, found[2]), (*wanted_by, name))
        done[name] = _closed(name, text)

    add(entry, ())
    return "\n".join(("const modules = {};", *done.values()))


def _target(name: str, path: str) -> str:
    return posixpath.normpath(posixpath.join(posixpath.dirname(name), path))


def _closed(name: str, text: str) -> str:
    """Put a module into a function that is called at once, and hands out what it exports."""

    def taken(found: re.Match[str]) -> str:
        names = found[1].replace(" as ", ": ")
        return f'const {{ {names} }} = modules["{_target(name, found[2])}"];'

    exported = ", ".join(found[1] for found in EXPORT.finditer(text))
    body = EXPORT.sub("", IMPORT.sub(taken, text))
    if other := OTHER.search(body):
        raise ReedboreError(f"{name}: {other[0]!r} is no form of import or export that is known")
    return f'modules["{name}"] = (() => {{\n{body}return {{ {exported} }};\n}})();'
