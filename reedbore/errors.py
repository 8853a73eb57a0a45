"""The exceptions that reedbore raises on purpose.

::

    ReedboreError           something the user can put right; its text is one clear sentence
    ├── NoteError           a note, interval, ratio or frequency that cannot be read
    ├── ModelError          a quantity outside its range, or a setup that cannot be rendered
    ├── PresetError         a preset file that cannot be read; lists all its mistakes, one a line
    └── AudioError          a sound file or a sound device that cannot be used

The command line prints the text and exits with status 2. Any other exception is our mistake.
"""


class ReedboreError(Exception):
    """Something the user can put right; the text says what, value, unit, range and where."""


class NoteError(ReedboreError):
    """A note, interval, ratio or frequency that cannot be read."""


class ModelError(ReedboreError):
    """A quantity outside its allowed range, or a setup that cannot be rendered."""


class PresetError(ReedboreError):
    """A preset file that cannot be read; the text lists all its mistakes, one a line."""


class AudioError(ReedboreError):
    """A sound file or a sound device that cannot be used."""
