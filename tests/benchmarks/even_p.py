"""Lock widths of a cylinder and of a cone, ratio by ratio: which parity of p each prefers.

Run ``python tests/benchmarks/even_p.py [DEPTH [sine or pulse]] [tiny]``; it prints a table and
writes renders/even-p.png. The cylinder's standing wave has odd
partials almost alone, the cone's all of them.
"""

import sys
import time
from pathlib import Path

from reedbore.model import presets
from reedbore.notes import parse_pitch
from reedbore.report.figures.locks import even_p_picture, lock_width
from reedbore.simulate import tuning
from reedbore.verdict.locks import Table, lock_table

TINY = "tiny" in sys.argv[1:]
NOTES = {"plain-cylinder": "Bb2"} if TINY else {"plain-cylinder": "Bb2", "plain-cone": "Bb3"}
"""One note in the range of each."""

DEPTH = 0.1
RATE_HZ = 44100.0 if TINY else 96000.0


def table_of(name: str, note: str, depth: float, source: str) -> Table:
    """Make the lock table of one horn, its reed without mass.

    Where voice and reed have no memory but the bore, the bore's own preference shows. A sine
    reaches by itself only what lies at q = 1; a pulse reaches all ratios by its partials.
    """
    horn = presets.load_horn(name)
    hz = parse_pitch(note)
    voice = presets.setup_for(horn, presets.load_singer("low-male")).voice
    setup = tuning.tune(horn, hz, RATE_HZ).model_copy(update={"voice": voice})
    setup = setup.with_value("reed.dynamics", "massless").with_value("reed.area_mm2", 0.0)
    setup = setup.with_value("voice.source", source).with_value("voice.depth", depth)
    return lock_table(setup, hz, voice_range=(0.9 * hz, 1.05 * hz) if TINY else None)


def main() -> None:
    """Print the widths and draw them."""
    words = [word for word in sys.argv[1:] if word != "tiny"]
    depth = float(words[0]) if words else DEPTH
    source = words[1] if len(words) > 1 else "sine"
    tables = {}
    for name, note in NOTES.items():
        began = time.perf_counter()
        table = table_of(name, note, depth, source)
        tables[f"{presets.load_horn(name).title}, {note}"] = table
        print(f"{name}, {note}, {source}, depth {depth:g}: {time.perf_counter() - began:.1f} s")
        for row in table.rows:
            print(f"  {row.ratio[0]}/{row.ratio[1]} {row.state:8} {lock_width(row):7.2f} cents")
    path = Path("renders/even-p.png")
    even_p_picture(
        tables, f"Which ratios lock, a {source} sung at depth {depth:g}, reed without mass", path
    )
    print(f"wrote {path}")


if __name__ == "__main__":
    main()
