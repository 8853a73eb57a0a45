"""One channel of a Standard MIDI File: its line of notes and the curves of its controllers.

In: the messages of a file in order of time. Out: a `Line`, points of curves, and one sentence for
everything that a single line cannot hold; `midi` says what stands for what.
"""

from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Sequence
from itertools import pairwise
from typing import Any, NamedTuple

from reedbore.model.line import Line, Note, check_length
from reedbore.model.midi import write
from reedbore.model.midi.tidy import Key
from reedbore.model.passage import Point
from reedbore.notes import midi_name

RPN_PARTS, NRPN_PARTS, DATA_PARTS = {100, 101}, {98, 99}, {6, 38}
SILENCERS = {120, 123}  # all sound off, all notes off
RESET = 121
HANDLED = frozenset(RPN_PARTS | NRPN_PARTS | DATA_PARTS | SILENCERS | {RESET})
NO_RPN = (127, 127)
CENTS_PER_STEP = 100.0 * write.BEND_SEMITONES / write.BEND_STEPS
STRAIGHT = 2.0  # controller steps: two values rounded by half a step, and their line, by as much


class Event(NamedTuple):
    """A message of a file, with its tick and the number of its track."""

    tick: int
    track: int
    message: Any


class Channel:
    """What happens on one channel.

    Parameters
    ----------
    number : int
        The channel, counted from 0 as in the bytes.
    events : sequence of Event
        All messages of the file, in order of time.

    Attributes
    ----------
    said : list of str
        What its line cannot hold; filled by `line`.
    """

    def __init__(self, number: int, events: Sequence[Event]) -> None:
        self.number = number
        self.said: list[str] = []
        self._keys: list[Key] = []
        self._held: dict[int, deque[int]] = {}  # keys that are down: when each was struck
        self._bends: list[tuple[int, float]] = []  # tick, cents
        self._values: list[tuple[int, int, int]] = []  # tick, controller, value
        self._tracks: set[int] = set()
        self._end = 0
        self._names = _fingerings(events) if number == write.FINGERED else {}
        self._range, self._bend = write.BEND_SEMITONES, 0
        self._rpn = list(NO_RPN)
        for event in events:
            if getattr(event.message, "channel", None) == number:
                self._take(event)

    def _take(self, event: Event) -> None:
        tick, track, message = event
        if message.type == "note_on" and message.velocity > 0:
            self._held.setdefault(message.note, deque()).append(tick)
            self._tracks.add(track)
        elif message.type in {"note_on", "note_off"}:
            # Of two that sound on one key the older one ends.
            if held := self._held.get(message.note):
                self._keys.append(_key(held.popleft(), tick, message.note))
        elif message.type == "pitchwheel":
            self._set_bend(tick, message.pitch)
        elif message.type == "control_change":
            self._control(tick, message.control, message.value)

    def _control(self, tick: int, number: int, value: int) -> None:
        if number in RPN_PARTS:
            self._rpn[101 - number] = value
        elif number in NRPN_PARTS:
            self._rpn = list(NO_RPN)
        elif number in DATA_PARTS and self._rpn == [0, 0]:
            semitones, cents = divmod(round(100.0 * self._range), 100)
            semitones, cents = (value, cents) if number == 6 else (semitones, value)
            self._range = semitones + cents / 100.0
            self._set_bend(tick, self._bend)
        elif number in SILENCERS:
            self._end_all(tick)
        elif number == RESET:
            self._set_bend(tick, 0)
        else:
            self._values.append((tick, number, value))

    def _set_bend(self, tick: int, bend: int) -> None:
        self._bend = bend
        self._bends.append((tick, 100.0 * self._range * bend / write.BEND_STEPS))

    def _end_all(self, tick: int) -> None:
        for number, held in self._held.items():
            self._keys += [_key(start, tick, number) for start in held]
            held.clear()

    def keys(self, ends: Sequence[int]) -> list[Key]:
        """Return the keys in the order in which they were struck.

        Parameters
        ----------
        ends : sequence of int
            Tick at which each track ends, and with it what is still held.
        """
        self._end = max((ends[track] for track in self._tracks), default=0)
        self._end_all(self._end)
        check_length(len(self._keys))
        return sorted(self._keys, key=lambda key: (key.start, key.number))

    def line(self, keys: Sequence[Key], ticks: int, *, to_end: bool = True) -> Line:
        """Make one line of what sounds: overlapping is a slur, a gap is a rest.

        Parameters
        ----------
        keys : sequence of Key
            From `keys`, tidied or not.
        ticks : int
            Ticks in a beat.
        to_end : bool
            Whether silence after the last note goes on to the end of its track.

        Returns
        -------
        Line
            It has no notes if the channel has none.
        """
        keys = self._one_by_one(keys)
        if not keys:
            return Line()
        end = max(self._end if to_end else 0, keys[-1].end)
        starts = [key.start for key in keys[1:]] + [end]
        notes = [Note(None, keys[0].start / ticks)] if keys[0].start else []
        for key, following in zip(keys, starts, strict=True):
            until, slurred = min(key.end, following), key.end > following
            pitch, name = (
                _pitch(key.number, self._cents(key.struck)),
                self._names.get(key.struck, ""),
            )
            notes.append(Note(pitch, (until - key.start) / ticks, name, slurred))
            if until < following:
                notes.append(Note(None, (following - until) / ticks))
        self._say_bends(keys, starts)
        return Line(tuple(notes))

    def _one_by_one(self, keys: Sequence[Key]) -> list[Key]:
        """Keep the highest of those that begin together, and none that lasts no time."""
        kept = {
            key.start: key
            for key in sorted(keys, key=lambda key: key.number)
            if key.end > key.start
        }
        many = len(keys) - len(kept)
        if many:
            self.said.append(
                f"channel {self.number + 1} is one line: {_counted(many, 'note')} left out, which "
                "began together with a higher one or lasted no time"
            )
        return [kept[start] for start in sorted(kept)]

    def _cents(self, tick: int) -> float:
        place = bisect_right(self._bends, tick, key=lambda bend: bend[0])
        return self._bends[place - 1][1] if place else 0.0

    def _say_bends(self, keys: Sequence[Key], starts: Sequence[int]) -> None:
        ticks = [tick for tick, _ in self._bends]
        spans = zip(keys, starts, strict=True)
        bent = sum(
            bisect_right(ticks, key.struck) < bisect_left(ticks, min(key.end, following))
            for key, following in spans
        )
        if bent:
            self.said.append(
                f"pitch bend within {_counted(bent, 'note')} of channel {self.number + 1} left "
                "out; a note keeps the pitch it begins with"
            )

    def curve(
        self, number: int, ticks: int, names: Sequence[float] = (), most: float = 1.0
    ) -> list[Point]:
        """Make a curve of a controller.

        Parameters
        ----------
        number : int
            The controller, its coarse part.
        ticks : int
            Ticks in a beat.
        names : sequence of float
            Values that have a name; one closer than half a step is meant.
        most : float
            What the largest value of the controller means.

        Returns
        -------
        list of Point
            Values from 0 to `most`; none if the file does not use the controller.
        """
        now = (0, 0)
        found: dict[int, tuple[int, int]] = {}
        for tick, which, value in self._values:
            if which in {number, number + write.FINE}:
                now = (value, 0) if which == number else (now[0], value)
                found[tick] = now
        fine = any(which == number + write.FINE for _, which, _ in self._values)
        full = write.FULL if fine else 127
        steps = [
            (tick, 128 * coarse + part if fine else coarse)
            for tick, (coarse, part) in found.items()
        ]
        kept = _thinned(_joined(steps, write.RAMP_STEP * ticks / write.TICKS))
        one = most / full
        return [Point(tick / ticks, _named(one * step, 0.5 * one, names)) for tick, step in kept]


def _key(start: int, end: int, number: int) -> Key:
    return Key(start, end, number, start)


def text_of(text: str) -> str:
    """Undo mido's Latin-1 where a file has UTF-8.

    Parameters
    ----------
    text : str
        Its bytes as Latin-1.

    Returns
    -------
    str
        The text.
    """
    try:
        return text.encode("latin-1").decode("utf-8")
    except UnicodeDecodeError:
        return text


def shortest(value: float, within: float) -> float:
    """Find the number with the fewest decimals that is near enough.

    Parameters
    ----------
    value, within : float
        The number, and how far the other may be from it.

    Returns
    -------
    float
        That number.
    """
    rounded = (round(value, digits) for digits in range(16))
    return next((near for near in rounded if abs(near - value) <= within), value)


def _named(value: float, within: float, names: Sequence[float]) -> float:
    near = next((name for name in names if abs(name - value) <= within), None)
    return shortest(value, within) if near is None else near


def _fingerings(events: Sequence[Event]) -> dict[int, str]:
    """Find the names of fingerings by the tick at which they begin."""
    return {
        event.tick: name
        for event in events
        if event.message.type == "text" and event.message.text.startswith(write.FINGERING)
        if (name := " ".join(text_of(event.message.text)[len(write.FINGERING) :].split()))
        and not {"(", ")"} & set(name)
    }


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _pitch(key: int, cents: float) -> str:
    """Name a bent key by the nearest note and its cents."""
    exact = shortest(100.0 * key + cents, CENTS_PER_STEP / 2.0)
    nearest = round(exact / 100.0)
    off = f"{exact - 100.0 * nearest:+.4f}".rstrip("0").rstrip(".")
    return midi_name(nearest) + (f"{off}c" if float(off) else "")


def _joined(steps: Sequence[tuple[float, float]], ramp: float) -> list[tuple[float, float]]:
    """Hold a value until shortly before the next where they stand further apart than a ramp's."""
    found = list(steps[:1])
    for (here, value), (there, following) in pairwise(steps):
        if there - here > ramp + 1.0:
            found.append((there - ramp, value))
        found.append((there, following))
    return found


def _thinned(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Leave out what lies on a straight line, to a step or two, between points that stay."""
    kept = list(points[:1])
    low, high = float("-inf"), float("inf")
    for last, (tick, value) in pairwise(points):
        run, rise = tick - kept[-1][0], value - kept[-1][1]
        if not low * run <= rise <= high * run:
            kept.append(last)
            run, rise = tick - last[0], value - last[1]
            low, high = float("-inf"), float("inf")
        low, high = max(low, (rise - STRAIGHT) / run), min(high, (rise + STRAIGHT) / run)
    return kept + list(points[-1:] if len(points) > 1 else ())
