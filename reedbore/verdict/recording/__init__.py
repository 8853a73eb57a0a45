"""What a recording of horn and voice holds, note by note, and what it cannot tell.

In: a `Sounds` that hands out pieces of a recording, thinned, and what is known of it. Out:
a `Found` for each note. Nothing is guessed: what cannot be told from what was given is None, and
`cannot` says why.

*Locked* is said only where p·φ1 - q·φ2 stays within a quarter of a cycle over the note, and lines
n·f1 ± f2 show that the reed mixed both, and the voice itself strayed so far that a horn which did
not go along would have been left behind. Else notes in tune are *undecided*.
"""

from reedbore.verdict.recording.alone import MEMBER_CENTS
from reedbore.verdict.recording.found import NOTHING, Found, Known, Sounds
from reedbore.verdict.recording.notes import analyse

__all__ = ["MEMBER_CENTS", "NOTHING", "Found", "Known", "Sounds", "analyse"]
