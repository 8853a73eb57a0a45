"""What a notebook shows: of a take its sound, picture and verdict, of a sweep its map.

In: a take, the sidecar of one that was kept, or the store of a sweep. Out: a piece of HTML that
needs nothing from outside. Notebooks ask a take for it by themselves, through `Take._repr_html_`.
"""

import base64
import html
from collections.abc import Mapping
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import Any

from reedbore.errors import ReedboreError
from reedbore.model import sidecar
from reedbore.model.setup import Setup, depth_name
from reedbore.notes import note_name
from reedbore.report import maps as maps_words
from reedbore.report import maps_data
from reedbore.report.figures.maps.picture import drawn
from reedbore.report.figures.take import take_png
from reedbore.report.verdict import summary
from reedbore.simulate import mouth
from reedbore.simulate.outside import SOUND_RATE, levelled
from reedbore.simulate.take import Take
from reedbore.sound import encode
from reedbore.verdict.result import Verdict
from reedbore.verdict.take import judge

WIDTH_PX = 760


@dataclass(frozen=True)
class Shown:
    """A piece of HTML that a notebook shows."""

    html: str

    def _repr_html_(self) -> str:
        return self.html


def take_html(take: Take) -> str:
    """Show a take: the verdict in a sentence, the sound, the picture, the numbers.

    Parameters
    ----------
    take : Take
        What was rendered; it is judged here, which takes some seconds.

    Returns
    -------
    str
        HTML. The sound is at the one full scale of all files, lowered only to hold the ceiling.
    """
    found = judge(take)
    title, says = _title(take.setup, found), summary(found)
    picture = take_png(take, found, title=title, says=says)
    sound, gain_db = _wav(take)
    lowered = f"<p>The sound was lowered by {-gain_db:.1f} dB.</p>" if gain_db < 0.0 else ""
    seen = "Waveforms, spectrum and spectrogram of the take."
    return (
        f"<section><h3>{html.escape(title)}</h3><p>{html.escape(says)}</p>"
        f'<audio controls aria-label="{html.escape(title)}" src="{_url("audio/wav", sound)}">'
        f"</audio>{lowered}{_image(picture, f'{seen} {says}')}{_numbers(found)}</section>"
    )


def kept(path: str | PathLike[str]) -> Shown:
    """Show what was rendered once and kept: what a sidecar says, and the files beside it.

    Parameters
    ----------
    path : str or Path
        The sidecar, of a take or a passage.

    Returns
    -------
    Shown
        The title, sound and picture, and which settings it was made with. A file that was not
        written with the sidecar is named and not shown.

    Raises
    ------
    ReedboreError
        If it cannot be read or is no sidecar.
    """
    place = Path(path)
    found = sidecar.read(place)
    there = sidecar.companions(found, place)
    title = str(found.request.get("title") or place.stem)
    warned = [*sidecar.differences(found), *sidecar.strangers(found, place)]
    told = "".join(f"<p>{html.escape(line)}.</p>" for line in warned)
    parts = [f"<section><h3>{html.escape(title)}</h3>{told}"]
    if "sound" in there:
        kind = "audio/flac" if there["sound"].suffix.lower() == ".flac" else "audio/wav"
        url = _url(kind, there["sound"].read_bytes())
        parts.append(f'<audio controls aria-label="{html.escape(title)}" src="{url}"></audio>')
    if "picture" in there:
        parts.append(_image(there["picture"].read_bytes(), f"The picture of {title}."))
    if isinstance(found, sidecar.Sidecar):
        parts.append(_rows(found.verdict))
    return Shown("".join([*parts, "</section>"]))


def lock_map(sweep: Any) -> Shown:
    """Show a sweep as a lock map, as far as it has been run.

    Parameters
    ----------
    sweep : str, Path or xarray.Dataset
        The store of a sweep, or what `xarray.open_zarr` made of it; of a selection the whole
        sweep is shown.

    Returns
    -------
    Shown
        The picture, and in words what to sing for each ratio that locks.

    Raises
    ------
    ReedboreError
        If there is no sweep.
    """
    found = maps_data.read(_store(sweep))
    title = html.escape(maps_words.title(found))
    told = [maps_words.aim_words(found, aim) for aim in maps_data.aims(found)]
    aims = [f"{ratio}: sing {note}, common note {third}" for ratio, note, third in told]
    notes = (
        maps_words.unfinished(found),
        maps_words.resolution(found),
        maps_words.care(found.sweep),
    )
    listed = "".join(f"<li>{html.escape(line)}</li>" for line in aims)
    under = "".join(f"<p>{html.escape(line)}</p>" for line in notes if line)
    seen = f"Lock map: {maps_words.title(found)}. {'; '.join(aims)}"
    picture = _image(drawn(found, "png"), seen)
    listed = f"<ul>{listed}</ul>" if listed else ""
    return Shown(f"<section><h3>{title}</h3>{picture}{listed}{under}</section>")


def _store(sweep: Any) -> Path:
    """Find the store: a path as it is, a data set by where it was opened."""
    source = sweep
    if not isinstance(sweep, str | PathLike):
        source = getattr(sweep, "encoding", {}).get("source")
    if source is None:
        raise ReedboreError(
            f"a {type(sweep).__name__} has no lock map; give the .zarr of a sweep, or what "
            "xarray.open_zarr makes of it"
        )
    return Path(source)


def _title(setup: Setup, found: Verdict) -> str:
    """Name the notes: those that were measured, else the sung one that was asked for."""
    voice = setup.voice
    played = (
        f"{note_name(found.played_hz)} on the horn" if found.played_hz else "No note on the horn"
    )
    if voice.source == "off":
        return f"{played}, nobody sings"
    sung_hz = found.sung_hz or (None if voice.source == "recording" else voice.frequency)
    sung = f"{note_name(sung_hz)} sung" if sung_hz else "a voice without a pitch"
    depth = mouth.depth(setup)
    return f"{played}, {sung}, depth {depth:.2g} ({depth_name(depth)})"


def _wav(take: Take) -> tuple[bytes, float]:
    """Return the sound as a 24-bit WAV, and by how much it was lowered. [dB]."""
    samples, level = levelled(take.sound)
    return encode(samples, SOUND_RATE), level["gain_db"]


def _url(kind: str, data: bytes) -> str:
    return f"data:{kind};base64,{base64.b64encode(data).decode()}"


def _image(png: bytes, seen: str) -> str:
    """Show a picture, with what is to be seen on it in words."""
    return (
        f'<p><img style="max-width: 100%" width="{WIDTH_PX}" alt="{html.escape(seen)}" '
        f'src="{_url("image/png", png)}"/></p>'
    )


def _numbers(found: Verdict) -> str:
    """List what was measured and has a meaning here, a click away."""
    return _rows(found.document())


def _rows(numbers: Mapping[str, Any]) -> str:
    told = {name: value for name, value in numbers.items() if value is not None}
    rows = "".join(
        f'<tr><th scope="row">{html.escape(name)}</th><td>{html.escape(_cell(value))}</td></tr>'
        for name, value in told.items()
    )
    return f"<details><summary>numbers</summary><table>{rows}</table></details>"


def _cell(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{name} {_cell(one)}" for name, one in value.items() if one is not None)
    return f"{value:.6g}" if isinstance(value, float) else str(value)
