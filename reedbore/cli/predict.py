"""The command `predict`: what arithmetic says about sung and fingered notes, at once."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from cyclopts import Parameter

from reedbore import notes, pairs
from reedbore.cli.common import Flag, Signed, say, say_json, tell
from reedbore.errors import NoteError, ReedboreError
from reedbore.report.pairs import pair_document, pair_text

if TYPE_CHECKING:
    from reedbore.model.setup import Horn
    from reedbore.report.chart import Chart


def predict(
    *,
    fingered: str | None = None,
    sung: Annotated[str | None, Signed] = None,
    horn: str | None = None,
    voice: str | None = None,
    a4: Annotated[float, Signed] = notes.A4_HZ,
    written: Annotated[bool, Flag] = False,
    tolerance: Annotated[float, Signed] = notes.TOLERANCE_CENTS,
    atlas: Path | None = None,
    output: Annotated[Path | None, Parameter(name=["--output", "-o"])] = None,
    json: Annotated[bool, Flag] = False,
) -> None:
    """Say from arithmetic alone which third note a pair has, or chart a whole horn.

    Give --fingered and --sung for one pair; --horn and --voice for the chart of every fingered
    note against every note that can be sung.

    Parameters
    ----------
    fingered
        Fingered note: Bb2, F#3+14c or 220Hz.
    sung
        Sung note: as the fingered one, or from it: +7st, -5st, +702c, or the ratio 5/3, 5/3-4c.
        w:E5 is the note as written for the horn.
    horn
        Horn, by name or as a preset file.
    voice
        Voice, by name or as a preset file; makes a chart.
    a4
        Frequency of A4, 380 to 500 Hz.
    written
        Take the fingered note as written for the horn; a chart has both always.
    tolerance
        How far from a simple ratio the sung note may lie, 0 to 50 cents.
    atlas
        Mark in the chart what is simulated in this atlas of the horn, beside what `plan` has kept.
    output
        Write the chart to this file: .csv for a spreadsheet, .html for a page to print.
    json
        Print one JSON document.
    """
    instrument = _load_horn(horn)
    if written and instrument is None:
        raise ReedboreError("--written takes the fingered note as written for a --horn: name it")
    if voice is None and atlas is not None:
        raise ReedboreError("--atlas marks a chart: give --horn and --voice")
    settings: dict[str, Any] = {
        "a4": notes.check_a4(a4),
        "tolerance_cents": tolerance,
        "transposition": instrument and instrument.transposition,
    }
    fingered_hz = None if fingered is None else _read_fingered(fingered, settings, written)
    if voice is None and fingered_hz is not None and sung is not None:
        if output is not None:
            raise ReedboreError("-o writes a chart: give --voice in place of --sung")
        _say_pair(_read_pair(fingered_hz, sung, settings), json)
    elif voice is not None and sung is None and (instrument or fingered_hz):
        _say_chart(_chart(instrument, fingered_hz, voice, atlas, settings), output, json)
    else:
        raise NoteError(
            "give --fingered and --sung for one pair, or --horn and --voice for a chart"
        )


def _load_horn(name: str | None) -> "Horn | None":
    if name is None:
        return None
    from reedbore.model.presets import (  # noqa: PLC0415 - a pair without a horn starts faster
        load_horn,
    )

    return load_horn(name)


def _read_fingered(text: str, settings: dict[str, Any], written: bool) -> float:
    transposition = settings["transposition"]
    with _named("--fingered"):
        return notes.parse_pitch(text, settings["a4"], transposition=transposition, written=written)


def _read_pair(fingered_hz: float, sung: str, settings: dict[str, Any]) -> pairs.Prediction:
    a4, transposition = settings["a4"], settings["transposition"]
    with _named("--sung"):
        sung_hz = notes.parse_sung(sung, fingered_hz, a4, transposition=transposition)
        ratio = notes.parse_ratio(sung)
    return pairs.predict_pair(fingered_hz, sung_hz, ratio=ratio, **settings)


def _chart(
    horn: "Horn | None",
    fingered_hz: float | None,
    voice: str,
    atlas: Path | None,
    settings: dict[str, Any],
) -> "Chart":
    from reedbore.cli.work.known import known_pairs  # noqa: PLC0415
    from reedbore.model.presets import load_singer  # noqa: PLC0415
    from reedbore.report import chart  # noqa: PLC0415 - a pair starts faster without the chart
    from reedbore.verdict.kept import Player  # noqa: PLC0415
    from reedbore.verdict.planning import Fingered  # noqa: PLC0415

    a4 = settings["a4"]
    singer = load_singer(voice)
    fingered = [] if horn is None else chart.tempered_hz(horn.low_note, horn.high_note, a4)
    if fingered_hz is not None:
        fingered = [fingered_hz]
    sung = chart.tempered_hz(singer.low_note, singer.high_note, a4)
    title, known = notes.note_name(fingered[0], a4), {}
    if horn:
        title, player = horn.title, Player(horn=horn, singer=singer)
        known = known_pairs(player, map(Fingered, fingered), atlas, a4)
    return chart.make_chart(fingered, sung, horn=title, voice=singer.title, known=known, **settings)


def _say_pair(pair: pairs.Prediction, json: bool) -> None:
    if json:
        say_json(pair_document(pair))
    else:
        say(pair_text(pair))


def _say_chart(chart: "Chart", output: Path | None, json: bool) -> None:
    from reedbore.report.chart import chart_document, chart_text, save  # noqa: PLC0415

    if output is not None:
        save(chart, output)
        tell(f"wrote {output}")
    if json:
        say_json(chart_document(chart))
    elif output is None:
        say(chart_text(chart))


@contextmanager
def _named(option: str) -> Iterator[None]:
    """Put the name of the option in front of a sentence about its value."""
    try:
        yield
    except NoteError as error:
        raise NoteError(f"{option} {error}") from error
