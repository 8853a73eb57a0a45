"""A practice track: count-in, guide, gap to sing in, answer, part by part.

In: a passage, and its sound if it was simulated. Out: what is heard when, as sound and as MIDI. A
part is a bar or two, small enough to be kept in mind: clicks count it in; the *guide* sings it over
a drone of what is fingered; in the *gap* drone and clicks go on alone; the *answer* is what it
should come to. Nothing is loud, and nothing begins at once.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reedbore.errors import ModelError
from reedbore.measures.loudness import loudness
from reedbore.model.line import Line, write_line
from reedbore.model.musicxml import bars
from reedbore.model.musicxml.write import Third
from reedbore.model.passage import (
    Passage,
    Point,
    write_breath,
    write_depth,
    write_meters,
    write_tempo_changes,
)
from reedbore.model.units import QUANTITIES, from_si
from reedbore.notes import A4_HZ, parse_pitch
from reedbore.simulate.outside import SOUND_RATE
from reedbore.sound import CEILING_DBTP, fade, true_peak

Samples = NDArray[np.float64]

PART_BARS = 2
"""So much is given at a time."""

LOOPS = 4
"""Bars that are asked for are gone through so often."""

SPEEDS = (0.4, 1.0)
"""Shares of the tempo that are practised."""

LONGEST_S = 900.0
"""A quarter of an hour is a long time to sing into a horn. [s]"""

GUIDE_LUFS, DRONE_LUFS, ANSWER_LUFS = -23.0, -35.0, -23.0
"""EBU R 128 asks for -23 LUFS; the drone is heard under it. [LUFS]"""

CLICK_PEAK = 0.2  # of full scale, -14 dB
CLICK_S = 0.03
CLICK_HZ = {True: 1760.0, False: 1320.0}  # of the first beat of a bar, and of the others
PARTIALS, FALL = 20, 0.7
"""Of a guide, and the power of its number by which each is weaker, about 4 dB an octave: a low note
is heard by its partials where a small loudspeaker has no fundamental."""

HIGHEST_HZ = 6000.0
EDGE_S = 0.015
"""In which a tone comes and goes; common practice, no source. [s]"""

GUIDE, GAP, ANSWER, COUNT = "guide", "gap", "answer", "count-in"


class Tone(NamedTuple):
    """A note: from when to when [s], its frequency [Hz], and what it is part of."""

    begin: float
    end: float
    hz: float
    role: str


class Click(NamedTuple):
    """A beat: when [s], and whether it is the first of its bar."""

    second: float
    strong: bool


class Section(NamedTuple):
    """A stretch of a track: what it is, from when to when, and from where in the passage. [s]."""

    name: str
    begin: float
    end: float
    source: float


@dataclass(frozen=True)
class Track:
    """What is heard when.

    Attributes
    ----------
    sections : tuple of Section
        One after the other.
    clicks : tuple of Click
        All beats.
    tones : tuple of Tone
        Their roles are ``drone``, ``guide``, and in the answer ``fingered``, ``sung``, ``third``.
    tempo : float
        Beats per second of its first bar. [Hz]
    """

    sections: tuple[Section, ...]
    clicks: tuple[Click, ...]
    tones: tuple[Tone, ...]
    tempo: float

    @property
    def seconds(self) -> float:
        """How long it lasts. [s]."""
        return self.sections[-1].end


def slowed(passage: Passage, speed: float) -> Passage:
    """Return a passage at a share of its tempo.

    Raises
    ------
    ModelError
        If the share is not allowed, or it would be slower than a passage may be.
    """
    low, high = SPEEDS
    if not low <= speed <= high:
        raise ModelError(
            f"--speed is {100.0 * speed:g} %; allowed {100.0 * low:g} to {100.0 * high:g} % "
            "(of the tempo)"
        )
    slowest = min(tempo.hz for tempo in passage.tempi) * speed
    tempo = QUANTITIES["passage.tempo_bpm"]
    if slowest < tempo.low:
        raise ModelError(
            f"--speed {100.0 * speed:g} makes {from_si(tempo, slowest):.3g} beats in a minute; "
            f"allowed {from_si(tempo, tempo.low):g} or more"
        )
    changes = [Point(change.beat, change.hz * speed) for change in passage.tempi[1:]]
    return passage.changed(tempo=passage.tempo * speed, tempo_changes=write_tempo_changes(changes))


def bars_cut(passage: Passage, first: int, last: int) -> Passage:
    """Return some bars of a passage as one of its own; a note that is held into them begins there.

    Parameters
    ----------
    passage : Passage
        The whole.
    first, last : int
        Bars, counted from 1.

    Raises
    ------
    ModelError
        If there are no such bars, or nothing is fingered in them.
    """
    measures = bars.bars_of(passage.meters, bars.exact(passage.beats))
    if not 1 <= first <= last <= len(measures):
        raise ModelError(f"--bars {first}-{last}: the passage has bars 1 to {len(measures)}")
    begin, end = float(measures[first - 1].start), float(measures[last - 1].end)
    fingered, sung = (_cut(line, begin, end) for line in (passage.fingered_line, passage.sung_line))
    if not any(fingered.pitches):
        raise ModelError(f"nothing is fingered in bars {first}-{last}, so there is nothing to play")
    tempi = [tempo for tempo in passage.tempi if tempo.beat < end]
    meters = [bar.meter._replace(beat=float(bar.start)) for bar in measures[first - 1 : last]]
    changes = [here for before, here in pairwise(meters) if here[1:] != before[1:]]
    return Passage(
        tempo=[tempo.hz for tempo in tempi if tempo.beat <= begin][-1],
        tempo_changes=write_tempo_changes(
            Point(tempo.beat - begin, tempo.hz) for tempo in tempi if tempo.beat > begin
        ),
        meter=write_meters(m._replace(beat=m.beat - begin) for m in [meters[0], *changes]),
        fingered=write_line(fingered),
        sung=write_line(sung) if any(sung.pitches) else "",
        breath=write_breath(_curve_from(passage.breath_curve, begin)),
        depth=write_depth(_curve_from(passage.depth_curve, begin)),
    )


def _cut(line: Line, begin: float, end: float) -> Line:
    found = []
    for note, (low, high) in zip(line.notes, pairwise(line.bounds), strict=True):
        start, until = max(low, begin), min(high, end)
        if start < until:
            found.append(note._replace(beats=until - start, slurred=note.slurred and high < end))
    return Line(tuple(found))


def _curve_from(points: Sequence[Point], begin: float) -> list[Point]:
    """Return a curve from a beat on, which begins with its value there."""
    if not points:
        return []
    now = float(np.interp(begin, [p.beat for p in points], [p.value for p in points]))
    later = [Point(p.beat - begin, p.value) for p in points if p.beat > begin]
    return [Point(0.0, now), *later]


def track_of(
    passage: Passage, third: Sequence[Third] = (), *, loops: int = 0, a4: float = A4_HZ
) -> Track:
    """Lay a track out.

    Parameters
    ----------
    passage : Passage
        At the tempo in which it is practised.
    third : sequence of Third
        Its third notes, for an answer that is not simulated.
    loops : int
        How often all of it is gone through at once; 0 for once, `PART_BARS` bars at a time.
    a4 : float
        Frequency of A4. [Hz]

    Returns
    -------
    Track
        It begins with one bar of clicks.

    Raises
    ------
    ModelError
        If nothing is sung, or it becomes longer than `LONGEST_S`.
    """
    maker = _Maker(passage, third, a4)
    for place, part in enumerate(_parts(maker, loops)):
        if place == 0:
            maker.count_in(part[0])
        for name in (GUIDE, GAP, ANSWER):
            maker.section(name, part)
    track = Track(tuple(maker.sections), tuple(maker.clicks), tuple(maker.tones), passage.tempo)
    if track.seconds > LONGEST_S:
        raise ModelError(
            f"the track would last {track.seconds:.0f} s; allowed up to {LONGEST_S:g} s: choose "
            "some bars (--bars)"
        )
    return track


def _parts(maker: "_Maker", loops: int) -> list[Sequence[bars.Bar]]:
    """List what is given at a time; bars in which nobody sings are left out."""
    measures = maker.measures
    size = len(measures) if loops else PART_BARS
    cut: list[Sequence[bars.Bar]] = [
        measures[place : place + size] for place in range(0, len(measures), size)
    ]
    found = [part for part in cut if maker.sings(part)] * max(loops, 1)
    if not found:
        raise ModelError("nothing is sung there, so there is nothing to practise")
    return found


class _Maker:
    """Puts a track together, section after section."""

    def __init__(self, passage: Passage, third: Sequence[Third], a4: float) -> None:
        self.passage = passage
        self.measures = bars.bars_of(passage.meters, bars.exact(passage.beats))
        self.sections: list[Section] = []
        self.clicks: list[Click] = []
        self.tones: list[Tone] = []
        self._lines = {
            "fingered": list(_notes(passage.fingered_line, a4)),
            "sung": list(_notes(passage.sung_line, a4)),
            "third": [(one.beat, one.beat + one.beats, one.hz) for one in third],
        }
        self._now = 0.0

    def sings(self, part: Sequence[bars.Bar]) -> bool:
        """Tell whether anything is sung in some bars."""
        start, end = float(part[0].start), float(part[-1].end)
        return any(begin < end and until > start for begin, until, _ in self._lines["sung"])

    def count_in(self, bar: bars.Bar) -> None:
        """Click one bar before anything sounds."""
        whole = bar._replace(end=bar.start + Fraction(4 * bar.meter.number, bar.meter.unit))
        self._begin(COUNT, [whole])

    def section(self, name: str, part: Sequence[bars.Bar]) -> None:
        """Go through some bars: their guide, their gap, or their answer."""
        roles = {GUIDE: {"fingered": "drone", "sung": "guide"}, GAP: {"fingered": "drone"}}
        begun, start = self._now, self._second(part[0].start)
        first, last = float(part[0].start), float(part[-1].end)
        for line, notes in self._lines.items():
            role = roles.get(name, {}).get(line, line if name == ANSWER else "")
            for begin, end, hz in notes if role else ():
                low, high = max(begin, first), min(end, last)
                if low < high:
                    from_, to = (begun + self._second(beat) - start for beat in (low, high))
                    self.tones.append(Tone(from_, to, hz, role))
        self._begin(name, part)

    def _begin(self, name: str, part: Sequence[bars.Bar]) -> None:
        start = self._second(part[0].start)
        for bar in part:
            step, beat = bars.beat_of(bar.meter), bar.start
            while beat < bar.end:
                second = self._now + self._second(beat) - start
                self.clicks.append(Click(second, beat == bar.start))
                beat += step
        end = self._now + self._second(part[-1].end) - start
        self.sections.append(Section(name, self._now, end, start))
        self._now = end

    def _second(self, beat: Fraction | float) -> float:
        return self.passage.seconds_at(float(beat))


def _notes(line: Line, a4: float) -> Iterator[tuple[float, float, float]]:
    for note, (begin, end) in zip(line.notes, pairwise(line.bounds), strict=True):
        if note.pitch is not None:
            yield begin, end, parse_pitch(note.pitch, a4)


# --- as sound ------------------------------------------------------------------------------------


def sound_of(track: Track, answer: Samples | None = None) -> Samples:
    """Turn a track into sound.

    Parameters
    ----------
    track : Track
        From `track_of`.
    answer : ndarray, shape (n,), optional
        Sound of the whole passage at `SOUND_RATE`, from its first beat on, in any unit; without it
        the answer is made of tones.

    Returns
    -------
    ndarray, shape (m,)
        At `SOUND_RATE`, at most `sound.CEILING_DBTP`. [full scale]
    """
    whole = np.zeros(round(track.seconds * SOUND_RATE) + 1)
    for click in track.clicks:
        _add(whole, click.second, _click(click.strong))
    for tone in track.tones:
        if answer is None or tone.role in {"guide", "drone"}:
            _add(whole, tone.begin, _tone(tone))
    if answer is not None:
        gain = _gain(answer, ANSWER_LUFS)
        for section in track.sections:
            if section.name == ANSWER:
                first = round(section.source * SOUND_RATE)
                count = round((section.end - section.begin) * SOUND_RATE)
                _add(
                    whole,
                    section.begin,
                    gain * fade(answer[first : first + count], SOUND_RATE, EDGE_S),
                )
    ceiling = 10.0 ** (CEILING_DBTP / 20.0)
    return whole * (ceiling / max(_peak(whole), ceiling))


LEVELS = {"guide": GUIDE_LUFS, "drone": DRONE_LUFS, "fingered": ANSWER_LUFS - 4.0}
LEVELS |= {"sung": ANSWER_LUFS - 4.0, "third": ANSWER_LUFS - 4.0}


def _tone(tone: Tone) -> Samples:
    """Make a note of partials, as loud as its role.

    References
    ----------
    .. [1] M. R. Schroeder, "Synthesis of low-peak-factor signals and binary sequences with low
       autocorrelation," IEEE Trans. Inf. Theory 16(1), 85-89, 1970 (from memory).
    """
    times = np.arange(round((tone.end - tone.begin) * SOUND_RATE)) / SOUND_RATE
    wave = np.zeros(times.size)
    for partial in range(1, PARTIALS + 1):
        if partial * tone.hz < HIGHEST_HZ:
            # Phases that keep the sum from rising to one peak [1]_.
            phase = 2.0 * np.pi * partial * tone.hz * times - np.pi * partial**2 / PARTIALS
            wave += np.sin(phase) / partial**FALL
    wave = fade(wave, SOUND_RATE, EDGE_S)
    return _gain(wave, LEVELS[tone.role]) * wave


def _click(strong: bool) -> Samples:
    times = np.arange(round(CLICK_S * SOUND_RATE)) / SOUND_RATE
    wave = np.sin(2.0 * np.pi * CLICK_HZ[strong] * times) * np.exp(-times / 0.006)
    return CLICK_PEAK * (1.0 if strong else 0.7) * fade(wave, SOUND_RATE, 0.0)


def _gain(samples: Samples, lufs: float) -> float:
    """Return what brings a sound to a loudness; nothing for silence."""
    found = loudness(samples)
    return float(10.0 ** ((lufs - found) / 20.0)) if np.isfinite(found) else 0.0


def _add(whole: Samples, second: float, part: Samples) -> None:
    first = round(second * SOUND_RATE)
    end = min(first + part.size, whole.size)
    whole[first:end] += part[: end - first]


def _peak(samples: Samples) -> float:
    """Return the true peak, stretch by stretch: an upper bound, for each is cut off."""
    size = 10 * SOUND_RATE
    return max(true_peak(samples[k : k + size]) for k in range(0, samples.size, size))
