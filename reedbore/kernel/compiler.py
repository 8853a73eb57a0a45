"""How the time step is compiled: the flags, and a cache that an edit makes new.

numba's own cache sees edits of the file that a function stands in, but not of the files that it
calls into: an edited formula would leave the old machine code running. So the cache folder is
named after a hash of all sources that compiled code is made from.
"""

import hashlib
import os
from pathlib import Path

PACKAGE = Path(__file__).parent.parent


def compiled_sources() -> list[Path]:
    """List the files that compiled code is made from."""
    return [*sorted((PACKAGE / "kernel").glob("*.py")), PACKAGE / "physics" / "reed.py"]


def cache_folder(sources: list[Path], kind: str = "compiled") -> Path:
    """Return the folder of things of a kind that were made from these sources as they are now."""
    digest = hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()[:16]
    home = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(home) / "reedbore" / kind / digest


if "NUMBA_CACHE_DIR" not in os.environ:
    os.environ["NUMBA_CACHE_DIR"] = str(cache_folder(compiled_sources()))

import numba  # noqa: E402 - reads the variable above when it is imported

setattr(numba.config, "CACHE_DIR", os.environ["NUMBA_CACHE_DIR"])  # noqa: B010 - no type knows it
# Straight code may become vector code too: it makes the lanes a seventh faster.
setattr(numba.config, "SLP_VECTORIZE", 1)  # noqa: B010

compiled = numba.njit(cache=True, nogil=True, error_model="numpy")
"""Compile a function and keep the code. No fastmath: all kernels must agree."""

compiled_part = numba.njit(nogil=True, error_model="numpy", forceinline=True)
"""Compile a part of a compiled function; its code is kept with the whole.

It is written into the whole: a loop over lanes becomes vector code only if it calls nothing.
"""
