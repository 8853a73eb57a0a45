"""Pictures of a take: what the air does, which notes the sound is made of, how it goes on.

In: a take and its verdict. Out: a PNG. Voice, horn and what they make together are told apart
by marker and label as well as by colour.

Only matplotlib's figure and canvas are imported: its pyplot, with its windows, takes twice as long.
"""

import io
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray

from reedbore import notes
from reedbore.files import write_whole
from reedbore.measures import spectrum
from reedbore.report.figures.style import (
    DOTS_PER_INCH,
    FAINT,
    HORN_BLUE,
    INK,
    PAPER,
    TOGETHER,
    VOICE_ORANGE,
)
from reedbore.report.figures.text_fit import fit
from reedbore.simulate import mouth
from reedbore.simulate.outside import SOUND_RATE
from reedbore.sound import mute_broken
from reedbore.verdict.state import State

if TYPE_CHECKING:
    from reedbore.simulate.take import Take
    from reedbore.verdict.result import Verdict

SIZE_INCHES = (10.0, 11.5)
TITLE_SIZES = 15, 11  # [points]
SPECTROGRAM_TOP = 3000.0  # [Hz]
SPECTRUM_FLOOR_DB = -60.0
LISTEN_S = 1.5  # [s], the end of the take that the spectrum is made from
COMMON_PERIODS = 3
MATCH_HZ = 2.0
SKIRT_HZ, SKIRT_DB = 8.0, 25.0
MOVED_SHARE, MOVED_MATCH = 0.012, 0.003
"""Width of a partial of a player who moves, and how far its strongest line may lie off."""
NOISE_HZ, NOISE_LINES, NOISE_DB = 150.0, 25, 12.0
"""So many lines so near are noise, but for those that stand so far above the rest."""
NOISE_FLOOR_DB = -52.0
"""Below it, against the strongest, single lines of a player who moves may be noise too."""
NEAR_SHARE = 0.25  # of the resultant: so near its partials lie the lines of a drifting pair
LABEL_WIDTH = 0.075  # as a share of the axis
LABEL_HEIGHT_DB = 6.0
UNSEEN_DB = -46.0  # how high the place of a fundamental is marked that is too weak to see


class Kind(NamedTuple):
    """How a kind of line is drawn, and what it is called; {0} stands for a note."""

    says: str
    marker: str
    colour: str


KINDS = {
    "horn": Kind("partials of the note on the horn, {0}", "o", HORN_BLUE),
    "voice": Kind("partials of the sung note, {0}", "^", VOICE_ORANGE),
    "both": Kind("partials of both", "s", INK),
    "third": Kind("partials of the third note alone, {0}", "D", TOGETHER),
    "mixed": Kind("sums and differences of the two", "x", FAINT),
}


def name_lines(
    hz: NDArray[np.float64],
    played_hz: float | None,
    sung_hz: float | None,
    resultant_hz: float | None,
    *,
    moves: bool = False,
) -> list[str]:
    """Say of each line of a sound whose partial it is.

    Parameters
    ----------
    hz : ndarray, shape (n,)
        Frequencies of the lines. [Hz]
    played_hz, sung_hz, resultant_hz : float or None
        Fundamentals of the horn, of the voice and of both together, as measured. [Hz]
    moves : bool, optional
        Whether lip, breath or jet moved.

    Returns
    -------
    list of str
        One of `KINDS` for each line: ``horn``, ``voice``, ``both``, ``third`` for what only the
        resultant explains, ``mixed`` for the rest.
    """
    match = np.maximum(MATCH_HZ, MOVED_MATCH * hz) if moves else MATCH_HZ
    on_horn = _is_partial(hz, played_hz, match)
    on_voice = _is_partial(hz, sung_hz, match)
    near = np.maximum(match, NEAR_SHARE * (resultant_hz or 0.0))
    on_third = _is_partial(hz, resultant_hz, near)
    kinds = np.where(on_third, "third", "mixed")
    kinds = np.where(on_horn, "horn", np.where(on_voice, "voice", kinds))
    return [str(kind) for kind in np.where(on_horn & on_voice, "both", kinds)]


def _is_partial(hz: NDArray[np.float64], fundamental: float | None, near: Any) -> Any:
    """Tell which frequencies lie so near to a partial; none if there is no fundamental."""
    if not fundamental:
        return np.zeros(len(hz), dtype=bool)
    order = np.maximum(np.rint(hz / fundamental), 1.0)
    return np.abs(hz - order * fundamental) < near


def take_picture(
    take: "Take",
    verdict: "Verdict",
    path: Path,
    *,
    title: str,
    says: str = "",
    a4: float = notes.A4_HZ,
) -> None:
    """Draw a take into a PNG file, which appears only when it is whole; else as `take_png`.

    Parameters
    ----------
    take, verdict : Take, Verdict
        What was rendered, and what was measured on it.
    path : Path
        Where to.
    title, says, a4 : str, str, float
        As for `take_png`.

    Raises
    ------
    ReedboreError
        If the folder cannot be written to.
    """
    write_whole(path, take_png(take, verdict, title=title, says=says, a4=a4))


def take_png(
    take: "Take",
    verdict: "Verdict",
    *,
    title: str,
    says: str = "",
    a4: float = notes.A4_HZ,
) -> bytes:
    """Draw a take.

    Parameters
    ----------
    take : Take
        What was rendered.
    verdict : Verdict
        What was measured on it.
    title : str
        What was played and sung.
    says : str, optional
        What became of it, in a sentence or two.
    a4 : float, optional
        Frequency of A4, for the names of notes. [Hz]

    Returns
    -------
    bytes
        A PNG file.
    """
    figure = Figure(figsize=SIZE_INCHES, dpi=DOTS_PER_INCH, facecolor=PAPER)
    FigureCanvasAgg(figure)
    heights = [1.0, 1.3, 0.42, 2.2, 0.42, 2.0]
    grid = figure.add_gridspec(
        len(heights), 1, height_ratios=heights, left=0.09, right=0.975, top=0.885, bottom=0.05,
        hspace=0.12,
    )  # fmt: skip
    head = figure.text(0.09, 0.972, title, weight="bold", color=INK, va="top", parse_math=False)
    fit(head, (0.975 - 0.09) * SIZE_INCHES[0], *TITLE_SIZES)
    figure.text(0.09, 0.944, says, size=10.5, color=INK, va="top", wrap=True)
    axes = [_plain_axes(figure, grid[row]) for row in (0, 1, 3, 5)]
    _draw_waves(axes[0], axes[1], take, verdict)
    sound = mute_broken(take.sound, SOUND_RATE)[0]
    _draw_spectrum(axes[2], sound, verdict, a4)
    _draw_spectrogram(axes[3], sound)
    memory = io.BytesIO()
    figure.savefig(memory, format="png", facecolor=PAPER)
    return memory.getvalue()


def _plain_axes(figure: Figure, place: Any) -> Axes:
    axes = figure.add_subplot(place, facecolor=PAPER)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines[["left", "bottom"]].set_color(FAINT)
    axes.tick_params(colors=INK, labelsize=9)
    axes.yaxis.set_label_coords(-0.052, 0.5)
    return axes


def _heading(axes: Axes, text: str) -> None:
    axes.set_title(text, loc="left", size=11, weight="bold", color=INK, pad=6)


# --- waves ---------------------------------------------------------------------------------------


def _draw_waves(upper: Axes, lower: Axes, take: "Take", verdict: "Verdict") -> None:
    rate = take.setup.time.rate
    period, span = _periods(verdict)
    count = min(round(span * rate), len(take.mouth))
    milliseconds = np.arange(count) / rate * 1e3
    mouthpiece = mute_broken(take.traces.pressure, rate)[0][-count:]
    lower.plot(milliseconds, mouthpiece / 1e3, color=HORN_BLUE, lw=1.5)
    _heading(upper, "The air, at the end of the take")
    if take.traces.half_gap.size:
        _draw_folds(upper, lower, take, milliseconds)
        told = "gap\n[mm]", "pressure\n[kPa]"
    else:
        sung = mouth.sung_pressure(take.setup) * take.sung[-count:]
        upper.plot(milliseconds, sung / 1e3, color=VOICE_ORANGE, lw=1.5)
        told = "sung\n[kPa]", "in the mouthpiece\n[kPa]"
    for axes, what in zip((upper, lower), told, strict=True):
        axes.set_ylabel(what, size=9, color=INK)
        axes.set_xlim(0.0, span * 1e3)
        axes.axhline(0.0, color=FAINT, lw=0.6)
    upper.tick_params(labelbottom=False)
    lower.set_xlabel("time [ms]", size=9, color=INK, labelpad=1)
    if not np.any(take.sung):
        upper.set_ylim(-1.0, 1.0)
        upper.set_yticks([0.0])
        upper.text(0.5, 0.62, "no voice", transform=upper.transAxes, ha="center", color=FAINT)
    low, high = upper.get_ylim()
    upper.set_ylim(low, high + 0.55 * (high - low))
    _mark_period(upper, lower, period, verdict)


def _draw_folds(upper: Axes, lower: Axes, take: "Take", milliseconds: NDArray[np.float64]) -> None:
    """Draw how far folds and reed stand open, and under the mouthpiece's the mouth's pressure."""
    late = slice(-milliseconds.size, None)
    gap = 2e3 * np.maximum(take.traces.half_gap[late], 0.0)
    reed = 1e3 * np.maximum(take.traces.opening[late], 0.0)
    upper.plot(milliseconds, gap, color=VOICE_ORANGE, lw=1.5, label="between the folds")
    upper.plot(milliseconds, reed, color=HORN_BLUE, lw=1.2, ls="--", label="under the reed")
    pressure = take.traces.mouth[late] / 1e3
    lower.plot(milliseconds, pressure, color=VOICE_ORANGE, lw=1.5, label="in the mouth")
    lower.lines[0].set_label("in the mouthpiece")
    for axes in (upper, lower):
        box = axes.legend(loc="lower right", ncols=2, fontsize=8.5, labelcolor=INK)
        box.get_frame().set(facecolor=PAPER, edgecolor="none", alpha=0.85)


def _periods(verdict: "Verdict") -> tuple[float | None, float]:
    """Return the common period, None if there is none, and the time to show, in seconds."""
    if verdict.resultant_hz:
        period = 1.0 / verdict.resultant_hz
        return period, COMMON_PERIODS * period
    slowest = min((hz for hz in (verdict.played_hz, verdict.sung_hz) if hz), default=100.0)
    return None, 2.0 * COMMON_PERIODS / slowest


def _mark_period(upper: Axes, lower: Axes, period: float | None, verdict: "Verdict") -> None:
    """Shade every other common period and say how many cycles of each note it holds."""
    low, high = upper.get_ylim()
    height = low + 0.84 * (high - low)
    if period is None or verdict.ratio is None:
        if verdict.state in {State.ROUGH, State.IRREGULAR}:
            says = "no common period: voice and horn never come round together"
            upper.text(0.5, 0.84, says, transform=upper.transAxes, ha="center", size=9.5, color=INK)
        return
    for start in range(0, COMMON_PERIODS, 2):
        for axes in (upper, lower):
            edges = (start * period * 1e3, (start + 1) * period * 1e3)
            axes.axvspan(*edges, color=TOGETHER, alpha=0.08, lw=0)
    p, q = verdict.ratio
    about = "" if verdict.state == State.LOCKED else "about "
    says = (
        f"one common period, {period * 1e3:.1f} ms: {about}{_count(q, 'cycle')} of the horn, "
        f"{_count(p, 'cycle')} of the voice"
    )
    arrow = {"arrowstyle": "<->", "color": TOGETHER, "lw": 1.3, "shrinkA": 0, "shrinkB": 0}
    upper.annotate("", (0.0, height), (period * 1e3, height), arrowprops=arrow)
    upper.text(period * 1e3 * 1.04, height, says, va="center", size=9.5, color=TOGETHER)


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


# --- spectrum ------------------------------------------------------------------------------------


def _draw_spectrum(axes: Axes, sound: NDArray[np.float64], verdict: "Verdict", a4: float) -> None:
    _heading(axes, "What the sound is made of")
    highest = _highest_hz(verdict)
    axes.set_xlim(0.0, highest)
    axes.set_ylim(SPECTRUM_FLOOR_DB, 26.0)
    axes.set_yticks([-60, -40, -20, 0])
    axes.set_xlabel("frequency [Hz]", size=9, color=INK, labelpad=1)
    axes.set_ylabel("level against the\nstrongest partial [dB]", size=9, color=INK)
    tail = sound[-round(LISTEN_S * SOUND_RATE) :]
    found = spectrum.lines(tail, SOUND_RATE, SPECTRUM_FLOOR_DB)
    moves = verdict.movement is not None
    shown = (found.hz < highest) & stands_out(found, moves=moves)
    if not shown.any():
        axes.text(0.5, 0.5, "silence", transform=axes.transAxes, ha="center", color=FAINT)
        return
    hz = found.hz[shown]
    level = spectrum.decibel(found.amplitude[shown] / found.amplitude.max())
    fundamentals = {
        "horn": verdict.played_hz,
        "voice": verdict.sung_hz,
        # With 1 in the ratio the resultant is one of the two notes, and there is no third.
        "third": None if 1 in (verdict.ratio or ()) else verdict.resultant_hz,
    }
    kinds = name_lines(hz, *fundamentals.values(), moves=moves)
    names = {kind: notes.note_name(value, a4) for kind, value in fundamentals.items() if value}
    _draw_lines(axes, hz, level, kinds, names)
    _name_fundamentals(axes, hz, level, fundamentals, names)


def stands_out(found: spectrum.Lines, *, moves: bool) -> NDArray[np.bool_]:
    """Tell lines that are more than the foot of a far stronger one beside them, which still moves.

    Parameters
    ----------
    found : Lines
        All lines of a sound, n of them.
    moves : bool
        Whether lip, breath or jet moved: then a partial is wider the higher it is, its strongest
        line alone stands for it, and what stands no higher than all around is noise.

    Returns
    -------
    ndarray of bool, shape (n,)
        True for those.
    """
    if not found.hz.size:
        return np.zeros(0, dtype=np.bool_)
    level = spectrum.decibel(found.amplitude)
    reach = np.maximum(SKIRT_HZ, MOVED_SHARE * found.hz) if moves else SKIRT_HZ
    beside = _each(level, found.hz, reach, np.max)
    if not moves:
        return level >= beside - SKIRT_DB
    crowd = np.array(_each(level, found.hz, NOISE_HZ, np.size)) >= NOISE_LINES
    around = _each(level, found.hz, NOISE_HZ, np.median)
    noise = (crowd & (level < around + NOISE_DB)) | (level < level.max() + NOISE_FLOOR_DB)
    return (level >= beside) & ~noise


def _each(values: Any, hz: NDArray[np.float64], reach: Any, what: Callable[[Any], Any]) -> Any:
    """Apply a function to the values of all lines nearer to each than its reach [Hz]."""
    begins = np.searchsorted(hz, hz - reach, side="right")
    ends = np.searchsorted(hz, hz + reach, side="left")
    return np.array([what(values[k:m]) for k, m in zip(begins, ends, strict=True)])


def _highest_hz(verdict: "Verdict") -> float:
    """Choose the end of the frequency axis: six partials of the higher note."""
    highest = max((hz for hz in (verdict.played_hz, verdict.sung_hz) if hz), default=200.0)
    return min(max(6.4 * highest, 900.0), SPECTROGRAM_TOP)


def _draw_lines(
    axes: Axes,
    hz: NDArray[np.float64],
    level: NDArray[np.float64],
    kinds: Sequence[str],
    names: dict[str, str],
) -> None:
    for kind, style in KINDS.items():
        chosen = np.array([one == kind for one in kinds])
        if not chosen.any():
            continue
        axes.vlines(hz[chosen], SPECTRUM_FLOOR_DB, level[chosen], color=style.colour, lw=1.4)
        says = style.says.format(names.get(kind, "")).rstrip(", ")
        axes.plot(
            hz[chosen], level[chosen], style.marker, color=style.colour, ms=6.5, label=says,
            clip_on=False,
        )  # fmt: skip
    axes.legend(
        loc="upper right", ncols=2, fontsize=9, frameon=False, labelcolor=INK, handletextpad=0.3
    )


def _name_fundamentals(
    axes: Axes,
    hz: NDArray[np.float64],
    level: NDArray[np.float64],
    fundamentals: dict[str, float | None],
    names: dict[str, str],
) -> None:
    """Write each note over its fundamental, or where that would be if it is too weak to see."""
    span = axes.get_xlim()[1]
    placed: list[tuple[float, float]] = []
    for kind, value in fundamentals.items():
        if not value or value > span or any(abs(value - hz) < MATCH_HZ for hz, _ in placed):
            continue
        near = np.abs(hz - value) < MATCH_HZ
        top = float(level[near].max()) if near.any() else UNSEEN_DB
        if not near.any():
            axes.plot([value, value], [SPECTRUM_FLOOR_DB, top], ":", color=KINDS[kind].colour)
        if not near.any() and kind == "third":
            axes.text(
                1.0,
                1.03,
                "dotted: too weak to show; the ear builds the third note from its other partials",
                transform=axes.transAxes,
                ha="right",
                size=9,
                color=KINDS[kind].colour,
            )
        while any(
            abs(value - x) < LABEL_WIDTH * span and abs(top - y) < LABEL_HEIGHT_DB
            for x, y in placed
        ):
            top += 1.0
        placed.append((value, top))
        axes.annotate(
            names[kind], (value, top), (0, 8), textcoords="offset points", ha="center", size=10,
            weight="bold", color=KINDS[kind].colour,
            bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 0.3, "alpha": 0.85},
        )  # fmt: skip


# --- spectrogram ---------------------------------------------------------------------------------


def _draw_spectrogram(axes: Axes, sound: NDArray[np.float64]) -> None:
    _heading(axes, "The whole take: dark is loud")
    seen = spectrum.spectrogram(sound, SOUND_RATE)
    shown = seen.hz <= SPECTROGRAM_TOP
    level = seen.level_db[shown]
    loudest = max(float(level.max()), spectrum.SILENCE_DB + 80.0)
    step = seen.times[1] - seen.times[0] if len(seen.times) > 1 else len(sound) / SOUND_RATE
    edges = (
        seen.times[0] - 0.5 * step, seen.times[-1] + 0.5 * step, 0.0, float(seen.hz[shown][-1])
    )  # fmt: skip
    axes.imshow(
        level, origin="lower", aspect="auto", extent=edges, cmap="bone_r", vmin=loudest - 70.0,
        vmax=loudest, interpolation="nearest",
    )  # fmt: skip
    axes.set_xlim(0.0, len(sound) / SOUND_RATE)
    axes.set_ylim(0.0, SPECTROGRAM_TOP)
    axes.set_xlabel("time [s]", size=9, color=INK, labelpad=1)
    axes.set_ylabel("frequency [Hz]", size=9, color=INK)
