"""How the time step is compiled: the flags, a cache that an edit makes new, loops made of parts.

numba's own cache sees edits of the file that a function stands in, but not of the files that it
calls into: an edited formula would leave the old machine code running. So the cache folder is
named after a hash of all sources that compiled code is made from.
"""

import logging
import os
from collections.abc import Callable
from pathlib import Path
from types import FunctionType
from typing import Any

from reedbore.files import PACKAGE, cache_folder, unkept


def compiled_sources() -> list[Path]:
    """List the files that compiled code is made from."""
    formulas = (PACKAGE / "physics" / f"{name}.py" for name in ("airway_cells", "folds", "reed"))
    return [*sorted((PACKAGE / "kernel").glob("*.py")), *formulas]


if "NUMBA_CACHE_DIR" not in os.environ:
    os.environ["NUMBA_CACHE_DIR"] = str(cache_folder(compiled_sources(), "compiled"))

import numba  # noqa: E402 - reads the variable above when it is imported
from numba.core import caching, runtime  # noqa: E402

_running: Any = runtime

setattr(numba.config, "CACHE_DIR", os.environ["NUMBA_CACHE_DIR"])  # noqa: B010 - no type knows it
# Straight code may become vector code too: it makes the lanes a seventh faster.
setattr(numba.config, "SLP_VECTORIZE", 1)  # noqa: B010

_why_not = unkept(Path(os.environ["NUMBA_CACHE_DIR"]))
if _why_not:
    logging.getLogger("reedbore").warning(
        "compiled code cannot be kept in %s (%s), so each start compiles it again",
        os.environ["NUMBA_CACHE_DIR"],
        _why_not,
    )

_FLAGS: dict[str, Any] = {"nogil": True, "error_model": "numpy"}
# Nobody calls a part from Python: wrappers for that made up a third of the time to compile a take.
_PART = _FLAGS | {"forceinline": True, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}

KEPT = not _why_not
"""Whether compiled code is kept."""


_cache: Any = caching.FunctionCache


class _KeptCode(_cache):  # type: ignore[misc]
    """A cache that loads no more of the compiler than it takes to run kept code.

    numba's own makes ready for compiling before it looks whether there is anything to compile: a
    quarter of a second at each start.
    """

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        _running.rtsys.initialize(target_context)
        with self._guard_against_spurious_io_errors():
            return self._load_overload(sig, target_context)


def compiled(function: Any) -> Any:
    """Compile a function and keep the code. No fastmath: all kernels must agree."""
    made: Any = numba.njit(**_FLAGS)(function)
    if KEPT and made is not function:  # told to compile nothing, numba hands it back
        made._cache = _KeptCode(function)
    return made


compiled_part = numba.njit(**_PART)
"""Compile a part of a compiled function; its code is kept with the whole.

It is written into the whole: a loop over lanes becomes vector code only if it calls nothing.
References to arrays are counted in it: told to leave that out, it took memory away from others.
"""

Compile = Callable[[Any], Any]


def plain(function: Any) -> Any:
    """Compile nothing: what is made this way can be stepped through in a debugger."""
    return function


def called(function: FunctionType, chosen: dict[str, Any]) -> dict[str, FunctionType]:
    """Return the functions of this package that a function calls by name.

    Parameters
    ----------
    function : function
        The caller.
    chosen : dict
        What stands in place of some names.

    Returns
    -------
    dict of str to function
        By name.
    """
    names = {name: chosen.get(name, function.__globals__.get(name)) for name in _read(function)}
    own = PACKAGE.name + "."
    return {
        name: value
        for name, value in names.items()
        if isinstance(value, FunctionType) and value.__module__.startswith(own)
    }


def _read(function: FunctionType) -> list[str]:
    """List the global names that a function reads."""
    return [name for name in function.__code__.co_names if name in function.__globals__]


def assembled(
    whole: Callable[..., Any],
    name: str,
    compile_whole: Compile = compiled,
    compile_part: Compile | None = None,
    **chosen: Any,
) -> Any:
    """Compile a function with all that it calls, some names of the text standing for others.

    Parameters
    ----------
    whole : function
        Its text, and that of the functions of this package that it calls by their bare names, runs
        as it stands, for the usual kind of setup.
    name : str
        Of what is made: its code is kept under it.
    compile_whole, compile_part : callable
        Turn a plain function into the one that runs: a compiler, or `plain`; by default kept code,
        and for what is called `compiled_part` or that which was given for the whole.
    **chosen
        Functions and constants for another kind, by the global names that they replace everywhere.

    Returns
    -------
    callable
        `whole` for that kind.

    Raises
    ------
    NameError
        If nothing that is called reads a chosen name.

    Notes
    -----
    What is called is reached as a global name, not as a closure: compiled code of a closure is
    never found again in the cache.
    """
    part = compile_part or (compiled_part if compile_whole is compiled else compile_whole)
    made: dict[FunctionType, Any] = {}
    read: set[str] = set()

    def bound(function: FunctionType) -> FunctionType:
        read.update(_read(function))
        parts = {}
        for word, other in called(function, chosen).items():
            if other not in made:
                made[other] = part(bound(other))
            parts[word] = made[other]
        scope = function.__globals__ | chosen | parts
        return FunctionType(function.__code__, scope, function.__name__)

    assert isinstance(whole, FunctionType)
    loop = bound(whole)
    if strange := chosen.keys() - read:
        raise NameError(f"{whole.__name__} reads no {', '.join(sorted(strange))}")
    loop.__qualname__ = loop.__name__ = name
    return compile_whole(loop)
