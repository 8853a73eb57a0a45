"""librosa, loaded by the first test that asks for it, and by one process at a time.

It compiles as it is loaded, half a minute in a new folder, and keeps several kinds of a function in
numbered files. Two processes that do so at once take each other's numbers, and whoever reads them
later calls the wrong kind: a fault in memory. So one waits for the other; loaded with the tests,
all of them would.
"""

import fcntl
import functools
import tempfile
from pathlib import Path
from types import ModuleType
from typing import Any


class _Late:
    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):  # pytest looks at all that it meets while it collects
            raise AttributeError(name)
        return getattr(_loaded(), name)


@functools.cache
def _loaded() -> ModuleType:
    with (Path(tempfile.gettempdir()) / "reedbore-tests-librosa.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        import librosa  # noqa: PLC0415 - see above

        # Parts are loaded when they are first asked for.
        _ = librosa.yin, librosa.pyin, librosa.effects.time_stretch, librosa.reassigned_spectrogram
    return librosa


librosa = _Late()

__all__ = ["librosa"]
