"""Make again all that README, gallery, lesson and étude show of what the model does.

``python renders/make.py`` makes everything, in about an hour on two idle cores; with words
only these parts: ``notes`` (where étude, lesson and the pair of the demo sing), ``demo``,
``sheet`` (the étude's, for the stand), ``folds`` (the picture of a singer), ``maps`` (the atlas
too), ``readme`` (what it shows of the output of commands). Run it after every change of the sound,
then see what changed.
"""

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import soundfile

from reedbore.model.presets import load_horn, load_piece, load_singer, setup_for
from reedbore.model.setup import Setup
from reedbore.notes import MEASURED_LIMIT, cents, choose_ratio, midi_to_hz, parse_pitch, split_note
from reedbore.simulate.tuning import tune
from reedbore.verdict.locks import Table, lock_table
from reedbore.verdict.passage import AIM_NEAR_CENTS
from reedbore.verdict.singer import singer_row

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
MAPS = ROOT / "renders" / "README.md"
GALLERY = ROOT / "renders" / "gallery"
ETUDE = ROOT / "presets" / "passages" / "mill-race.toml"
LESSON = ROOT / "reedbore" / "page" / "lesson" / "steps.py"
PAIR = ROOT / "reedbore" / "simulate" / "request" / "take.py"
PAGE = ROOT / "reedbore" / "page" / "static" / "core" / "state.js"
DEMO = "mill-race"
TAUGHT = LESSON, PAIR, PAGE
SHEET = f"{DEMO}-sheet.svg"
NEAR_CENTS, INSIDE_CENTS = 20.0, 5.0

BLOCK = re.compile(r"```text\n\$ (reedbore [^\n]*)\n(.*?)```", re.S)
MAP = re.compile(
    r"^reedbore ((?:sweep|locks) .* -o (\S+)\.zarr) && reedbore picture \S+ -o (\S+\.png)$", re.M
)
ONE_PROCESSOR = {
    "OPENBLAS_CORETYPE": "Haswell",
    "NPY_DISABLE_CPU_FEATURES": "X86_V4 AVX512F AVX512_SKX AVX512_CLX AVX512_ICL AVX512_SPR",
}
"""Linear algebra sums in another order on another processor, and a singer's rows hang on that."""

_OFF = re.compile(r"([A-G][b#]?\d)([+-][\d.]+)c")
ELIDED = "…"


def blocks(readme: str) -> list[tuple[str, str]]:
    """Return each command that README shows together with what it shows of the output."""
    return BLOCK.findall(readme)


def pages() -> str:
    """Return all that shows pictures: README, and the page of renders."""
    return README.read_text(encoding="utf-8") + MAPS.read_text(encoding="utf-8")


def maps(readme: str) -> list[tuple[str, str, str]]:
    """Return sweeps and atlases that have a picture: command, name of store, of picture."""
    return MAP.findall(readme)


def renewed(shown: str, said: str) -> str:
    """Put what a command says now into the lines that README shows of it.

    Parameters
    ----------
    shown : str
        Lines of README; one with ``…`` stands for any number of lines.
    said : str
        All that the command says.

    Returns
    -------
    str
        As many lines, each from `said`. After ``…`` a line is found by its first word.

    Raises
    ------
    ValueError
        If a line is not said any more, or more is said than shown.
    """
    lines, place, elided, found = said.rstrip("\n").split("\n"), 0, False, []
    for line in shown.rstrip("\n").split("\n"):
        if line.strip() == ELIDED:
            found.append(line)
            elided = True
            continue
        if elided:
            first = line.split()[:1]
            place = next((k for k in range(place, len(lines)) if lines[k].split()[:1] == first), -1)
        if not 0 <= place < len(lines):
            raise ValueError(f"{line!r} is not said any more")
        found.append(lines[place])
        place, elided = place + 1, False
    if not elided and place < len(lines):
        raise ValueError(f"{lines[place]!r} is said, and not shown")
    return "".join(f"{line}\n" for line in found)


def run(command: str, folder: Path) -> str:
    """Run a ``reedbore`` command in a folder and return what it says, on any processor the same."""
    words = [sys.executable, "-m", "reedbore", *shlex.split(command.removeprefix("reedbore "))]
    return subprocess.run(
        words, cwd=folder, env=known(folder), check=True, stdout=subprocess.PIPE, text=True
    ).stdout


def known(folder: Path) -> dict[str, str]:
    """Return what a process has to know so that it finds the same anywhere.

    What it solves it keeps in the folder: lengths and folds that were found without these words
    would be others in their last digits.
    """
    return os.environ | ONE_PROCESSOR | {"XDG_CACHE_HOME": str(folder / "cache")}


# --- the parts -----------------------------------------------------------------------------------


def make_notes(_: Path) -> None:
    """Write where the locks lie: into étude and README, the lesson and the pair of the demo."""
    piece = load_piece(DEMO)
    horn, singer = load_horn(piece.horn), load_singer(piece.voice)
    voice = setup_for(horn, singer).voice
    bounds = tuple(midi_to_hz(midi) for midi in singer.midi_range)
    setups = {
        note: tune(horn, parse_pitch(note)).model_copy(update={"voice": voice})
        for note in ("Bb2", "D3")
    }
    tables = {
        note: lock_table(setup, parse_pitch(note), voice_range=bounds)
        for note, setup in setups.items()
    }
    hummed, taught = {}, {}
    etude = ETUDE.read_text(encoding="utf-8")
    lesson = LESSON.read_text(encoding="utf-8")
    low, high = etude.partition("rest:1 Bb3")[::2]
    for note, text in (("Bb2", low), ("D3", high)):
        setup = setups[note].with_value("voice.drive", piece.drive)
        for name, off in _sung(text):
            hummed[name + off] = aimed_at(setup, tables[note], name, off)
    for note, name, off in locked_in(lesson):
        taught[name + off] = aimed(tables[note], name, off)
    for path, changed in ((ETUDE, hummed), (README, hummed), *((path, taught) for path in TAUGHT)):
        text = path.read_text(encoding="utf-8")
        for old, new in changed.items():
            text = text.replace(f"{old}c", new)
        path.write_text(text, encoding="utf-8")


def _sung(text: str) -> list[tuple[str, str]]:
    return _OFF.findall(text)


def locked_in(lesson: str) -> list[tuple[str, str, str]]:
    """List fingered note, sung note and cents of all steps of the lesson that lock off the note."""
    step = re.compile(
        rf'"fingered": "(\w+)", "sung": "{_OFF.pattern}"(?:(?!claim=).)*claim=\(State\.LOCKED', re.S
    )
    return step.findall(lesson)


def aimed(table: Table, name: str, off: str) -> str:
    """Write the middle of the lock nearest to a sung note, to a tenth of a cent."""
    hz = parse_pitch(f"{name}{off}c")
    near = min(table.rows, key=lambda row: abs(cents(row.sung_hz, hz)))
    if abs(cents(near.sung_hz, hz)) > NEAR_CENTS:
        raise ValueError(f"no lock lies near {name}{off}c over {table.fingered_hz:.2f} Hz")
    there, cents_off = split_note(near.sung_hz)
    return f"{there}{round(cents_off, 1):+g}c"


def aimed_at(setup: Setup, table: Table, name: str, off: str) -> str:
    """Write where a singer has to aim: at a clock's lock if that will surely do, or the middle."""
    ratio = choose_ratio(
        parse_pitch(f"{name}{off}c") / table.fingered_hz, AIM_NEAR_CENTS, MEASURED_LIMIT
    )
    if ratio is None:
        raise ValueError(f"no ratio lies near {name}{off}c over {table.fingered_hz:.2f} Hz")
    (clock,) = [row for row in table.rows if row.ratio == ratio]
    singer = singer_row(setup, table.voice_off_hz, ratio)
    if singer.low is None or singer.high is None:
        raise ValueError(f"folds do not keep step near {name}{off}c")
    low, high = singer.low.inside, singer.high.inside
    if low + INSIDE_CENTS < cents(clock.sung_hz, singer.just_hz) < high - INSIDE_CENTS:
        return aimed(table, name, f"{cents(clock.sung_hz, parse_pitch(name)):+.1f}")
    middle = singer.just_hz * 2.0 ** ((low + high) / 2400.0)
    there, cents_off = split_note(middle)
    return f"{there}{round(cents_off):+d}c"


def make_demo(folder: Path) -> None:
    """Render the étude: its picture, and its sound packed."""
    run(f"reedbore render -o {DEMO}.wav", folder)
    shutil.copy(folder / f"{DEMO}.png", GALLERY)
    samples, rate = soundfile.read(folder / f"{DEMO}.wav")
    packed = GALLERY / f"{DEMO}.ogg"
    soundfile.write(packed, samples, rate, format="OGG", subtype="OPUS")


def make_sheet(folder: Path) -> None:
    """Plan the étude and draw its practice sheet."""
    run(f"reedbore plan --passage {DEMO} -o {SHEET}", folder)
    shutil.copy(folder / SHEET, GALLERY)


def make_folds(folder: Path) -> None:
    """Render the pair that README shows of a singer with folds, for its picture."""
    (command,) = [one for one, _ in blocks(README.read_text(encoding="utf-8")) if "folds" in one]
    run(f"{command} -o folds.wav", folder)
    shutil.copy(folder / "folds.png", GALLERY)


def make_maps(folder: Path) -> None:
    """Make and draw every map and atlas that README and the page of renders show."""
    for sweep, store, picture in maps(pages()):
        run(f"reedbore {sweep}", folder)
        run(f"reedbore picture {store}.zarr -o {picture}", folder)
        shutil.copy(folder / picture, GALLERY)


def make_readme(folder: Path) -> None:
    """Put what the commands say now into README."""
    text = README.read_text(encoding="utf-8")
    for command, shown in blocks(text):
        text = text.replace(shown, renewed(shown, run(command, folder)))
    README.write_text(text, encoding="utf-8")


PARTS = {
    "notes": make_notes,
    "demo": make_demo,
    "sheet": make_sheet,
    "folds": make_folds,
    "maps": make_maps,
    "readme": make_readme,
}


def main(wanted: list[str]) -> None:
    """Make the parts that are asked for, by default all."""
    if unknown := sorted(set(wanted) - set(PARTS)):
        sys.exit(f"{unknown[0]} is no part; there are {', '.join(PARTS)}")
    for name, make in PARTS.items():
        if not wanted or name in wanted:
            sys.stderr.write(f"{name} ...\n")
            with tempfile.TemporaryDirectory() as folder:
                make(Path(folder))


if __name__ == "__main__":
    if ONE_PROCESSOR.items() <= os.environ.items():
        main(sys.argv[1:])
    else:  # they are read when numpy is loaded, as it is by now
        with tempfile.TemporaryDirectory() as folder:
            again = subprocess.run(
                [sys.executable, *sys.argv], env=known(Path(folder)), check=False
            )
        sys.exit(again.returncode)
