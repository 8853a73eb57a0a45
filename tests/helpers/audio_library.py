"""librosa, loaded by one process at a time.

It compiles as it is loaded and keeps several kinds of a function in numbered files. Two processes
that do so at once take each other's numbers, and whoever reads them later calls the wrong kind:
a fault in memory.
"""

import fcntl
import tempfile
from pathlib import Path

with (Path(tempfile.gettempdir()) / "reedbore-tests-librosa.lock").open("w") as lock:
    fcntl.flock(lock, fcntl.LOCK_EX)
    import librosa

    # Parts are loaded when they are first asked for.
    PARTS = librosa.yin, librosa.pyin, librosa.effects.time_stretch, librosa.reassigned_spectrogram

__all__ = ["librosa"]
