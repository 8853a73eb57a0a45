"""Frames into files: video through the encoder of imageio-ffmpeg, GIF also without it.

In: pixels frame after frame. Out: a file that appears under its name only when it is whole. What
kinds of files there are stands here too, for whoever must know them before anything is drawn.
"""

import contextlib
import importlib
import io
import subprocess
import tempfile
from collections.abc import Iterable, Iterator
from itertools import chain
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from reedbore.errors import ReedboreError
from reedbore.files import write_whole
from reedbore.simulate.outside import SOUND_RATE
from reedbore.sound import write

FILMS = {".mp4": 30, ".webm": 30, ".gif": 20}
"""Kinds of moving pictures, and their frames a second: a GIF counts in hundredths of one."""

STILLS = (".svg", ".png", ".pdf")
"""Kinds of pictures that stand still."""

MOST_INSTANTS = 12
"""Instants that a page of them holds."""

GIF_WIDTH = 640  # [pixels]
GIF_COLOURS = 128
SHADES_HIGH = 60  # room of the colours of the air among those of the first frame [pixels]

PIPE_BYTES = 1 << 20  # a frame is 3.7 MB: with the usual 64 kB the two programs wait for each other

# The fastest presets: their pictures are nearer to what was drawn than those of the next slower one
# at this quality, for half of its work; only the file is larger.
# H.264, VP9, AAC and Opus play in every browser: common practice, no source.
# Pictures of this size are read with the colour matrix of ITU-R BT.709 (from memory).
COLOURS = (
    "-vf scale=out_color_matrix=bt709 -colorspace bt709 -color_primaries bt709 -color_trc bt709"
)
VIDEO = {
    "mp4": (
        f"{COLOURS} -c:v libx264 -preset ultrafast -coder 1 -crf 21 -pix_fmt yuv420p "
        "-movflags +faststart",
        "-c:a aac -aac_coder fast -b:a 192k",
    ),
    "webm": (
        f"{COLOURS} -c:v libvpx-vp9 -pix_fmt yuv420p -deadline realtime -cpu-used 8 -row-mt 1 "
        "-b:v 0 -crf 32",
        "-c:a libopus -b:a 128k",
    ),
    "gif": (
        f"-vf scale={GIF_WIDTH}:-1:flags=lanczos,split[a][b];[a]palettegen=max_colors={GIF_COLOURS}"
        "[p];[b][p]paletteuse=dither=none",
        "",
    ),
}

Frames = Iterable[memoryview]


def encoder(path: Path) -> str | None:
    """Find the program that makes videos.

    Parameters
    ----------
    path : Path
        The file that is wanted.

    Returns
    -------
    str or None
        The program; None if there is none and a GIF is wanted, which does without.

    Raises
    ------
    ReedboreError
        If there is none and the file needs it.
    """
    try:
        found: Any = importlib.import_module("imageio_ffmpeg")
        return str(found.get_ffmpeg_exe())
    except (ImportError, RuntimeError) as error:
        if path.suffix.lower() == ".gif":
            return None
        raise ReedboreError(
            f"{path} needs the video encoder of imageio-ffmpeg, which is not installed: "
            "pip install 'reedbore[video]', or write a .gif"
        ) from error


def write_video(
    path: Path,
    frames: Frames,
    size: tuple[int, int],
    rate: int,
    sound: NDArray[np.float64] | None = None,
) -> None:
    """Write frames, and a sound with them, as MP4, WebM or GIF.

    Parameters
    ----------
    path : Path
        Ends in .mp4, .webm or .gif; missing folders are made.
    frames : iterable of memoryview
        Red, green, blue and opacity of each pixel, a byte each; each valid until the next one.
    size : (int, int)
        Width and height. [pixels]
    rate : int
        Frames a second.
    sound : ndarray, shape (n,), optional
        As long as the frames, on `SOUND_RATE`; not for GIF. [full scale]

    Raises
    ------
    ReedboreError
        If there is no encoder, or the file cannot be written.
    """
    program = encoder(path)
    if program is None:
        write_whole(path, _gif(frames, size, rate))
        return
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / f"film{path.suffix.lower()}"
        heard: list[str] = []
        if sound is not None:
            write(Path(folder) / "sound.wav", sound, SOUND_RATE)
            heard = ["-i", str(Path(folder) / "sound.wav")]
        _encode(
            [program, *_raw(size, rate), *heard, *_kind(path, sound is not None), str(made)], frames
        )
        write_whole(path, made.read_bytes())


def _raw(size: tuple[int, int], rate: int) -> list[str]:
    words = f"-y -loglevel error -f rawvideo -pix_fmt rgba -s {size[0]}x{size[1]} -r {rate} -i -"
    return words.split()


def _kind(path: Path, heard: bool) -> list[str]:
    seen, sound = VIDEO[path.suffix.lower()[1:]]
    return [*seen.split(), *(sound.split() if heard else ["-an"])]


def _encode(command: list[str], frames: Frames) -> None:
    """Feed an encoder; it is ended whatever happens, and what it complains about is an error."""
    with tempfile.TemporaryFile() as complaints:
        process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=complaints,
            pipesize=PIPE_BYTES,
        )  # fmt: skip
        assert process.stdin is not None
        try:
            with contextlib.suppress(BrokenPipeError):
                for frame in frames:
                    process.stdin.write(frame)
                process.stdin.close()
            status = process.wait()
        finally:
            process.kill()
            process.wait()
            with contextlib.suppress(BrokenPipeError):
                process.stdin.close()
        if status:
            complaints.seek(0)
            told = complaints.read().decode(errors="replace").strip().splitlines()
            raise RuntimeError(f"the video encoder failed: {told[-1] if told else status}")


def _gif(frames: Frames, size: tuple[int, int], rate: int) -> bytes:
    """Make a GIF with one palette for all frames: the first one's, and all colours of the air."""
    from reedbore.report.figures.film.look import SHADES  # noqa: PLC0415 - loads what draws

    pictures = _small(frames, size)
    first = next(pictures)
    shades = Image.fromarray(np.rint(255.0 * SHADES[np.newaxis, :, :3]).astype(np.uint8))
    sample = first.copy()
    sample.paste(shades.resize((sample.width, SHADES_HIGH)), (0, 0))
    palette = sample.quantize(GIF_COLOURS, dither=Image.Dither.NONE)
    whole = (
        picture.quantize(palette=palette, dither=Image.Dither.NONE)
        for picture in chain([first], pictures)
    )
    memory = io.BytesIO()
    next(whole).save(
        memory, format="GIF", save_all=True, append_images=whole, duration=1000 // rate, loop=0
    )
    return memory.getvalue()


def _small(frames: Frames, size: tuple[int, int]) -> Iterator[Image.Image]:
    small = (GIF_WIDTH, GIF_WIDTH * size[1] // size[0])
    for frame in frames:
        whole = Image.frombytes("RGBA", size, bytes(frame)).convert("RGB")
        yield whole.resize(small, Image.Resampling.LANCZOS)
