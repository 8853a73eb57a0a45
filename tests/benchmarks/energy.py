"""Energy over time of the worst of many drawn setups: what reed, lay and bore hold.

Run `python tests/benchmarks/energy.py [COUNT] [-o FILE] [tiny]`. So many fast, light, barely damped
reeds (200) are blown at 20 kPa for a quarter of a second; then the breath ends. Told are how many
diverge and by how much energy grows then, at most, with the lay as it is and with one that damps no
more than the reed; the worst is drawn into renders/energy.png, a log scale against time.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))

import energy
import matplotlib as mpl
import numpy as np

mpl.use("agg")
import matplotlib.pyplot as plt

TINY = "tiny" in sys.argv[1:]
COUNT = next((int(word) for word in sys.argv[1:] if word.isdecimal()), 2 if TINY else 200)
FILE = Path(sys.argv[sys.argv.index("-o") + 1] if "-o" in sys.argv else "renders/energy.png")
BEFORE_S, AFTER_S, FRAME_S = 0.01, 0.12, 0.02 if TINY else 0.0005
LOSSES = "lay that damps no more than the reed"


def told(what: str, gains: list[float | None]) -> None:
    """Print how many of some runs diverged or gained, and by how much at most."""
    known = [gain for gain in gains if gain is not None]
    grown = [gain for gain in known if gain > 1e-9]
    most = 100.0 * max(known, default=0.0)
    print(
        f"{what:38}{len(gains) - len(known):4} of {len(gains)} diverge, {len(grown)} gain from a "
        f"flight to the next, {most:.2g} % at most"
    )


def draw(seed: int, file: Path) -> None:
    """Draw the energies of a setup around the end of its breath."""
    setup = energy.bouncing(seed)
    found, before = energy.run(setup), energy.run(setup, lay_damps_more=False)
    rate = setup.time.rate
    ends = round(BEFORE_S * rate), round(AFTER_S * rate)
    steps = np.arange(found.off - ends[0], found.off + ends[1], round(FRAME_S * rate))
    bore = energy.in_bore(setup, found, steps)
    lines = {
        "bore": (bore, "#2a78b8", 1.2, "-"),
        "reed": (found.reed[steps], "#8a8a8a", 0.8, "-"),
        "lay": (found.lay[steps], "#b85c2a", 0.8, "-"),
        "all three": (bore + found.reed[steps] + found.lay[steps], "#14120f", 2.0, "-"),
    }
    if before is not None:
        whole = energy.in_bore(setup, before, steps) + before.reed[steps] + before.lay[steps]
        lines[f"all three with a\n{LOSSES}"] = (whole, "#14120f", 1.0, ":")
    figure, axes = plt.subplots(figsize=(8.0, 4.5), layout="constrained")
    time = 1e3 * (steps - found.off) / rate
    for name, (values, colour, width, style) in lines.items():
        shown = np.where(values > 0.0, values, np.nan)
        axes.semilogy(time, shown, style, color=colour, linewidth=width, label=name)
    axes.axvline(0.0, color="#14120f", linewidth=0.6, linestyle="--")
    axes.text(1.0, 0.97, "breath ends", va="top", transform=axes.get_xaxis_transform())
    reed = setup.reed.held()
    axes.set(
        xlabel="time after the end of the breath [ms]",
        ylabel="energy [J]",
        xlim=(time[0], time[-1]),
        ylim=(1e-6 * lines["all three"][0].max(), 3.0 * lines["all three"][0].max()),
        title=(
            f"Draw {seed}: reed {reed.frequency:.0f} Hz ({rate / reed.frequency:.0f} steps to a "
            f"period), damping {reed.damping:.2f}, lay {reed.contact:.0f} times as stiff"
        ),
    )
    axes.legend(loc="upper right", frameon=False)
    file.parent.mkdir(parents=True, exist_ok=True)
    figure.savefig(file, dpi=150)
    plt.close(figure)


def main() -> None:
    setups = {seed: setup for seed in range(COUNT) if (setup := energy.bouncing(seed)) is not None}
    gains: dict[bool, dict[int, float | None]] = {True: {}, False: {}}
    for more, gained in gains.items():
        for seed, setup in setups.items():
            found = energy.run(setup, lay_damps_more=more)
            gained[seed] = found and energy.gained(found)
        told("the lay as it is" if more else LOSSES, list(gained.values()))
    worst = max(gains[True], key=lambda seed: gains[True][seed] or 0.0)
    draw(worst, FILE)
    print(f"the worst is draw {worst}: {FILE}")


if __name__ == "__main__":
    main()
