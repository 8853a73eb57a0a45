"""What an atlas is for: a horn, a voice, who plays; which notes, depths, ratios."""

from dataclasses import dataclass, field
from typing import Any

from reedbore import __version__
from reedbore.errors import ModelError, ReedboreError
from reedbore.model.setup import Horn, Setup, Singer
from reedbore.model.sidecar import model_hash
from reedbore.model.voice import COMPUTED
from reedbore.notes import midi_name, midi_to_hz, simple_ratios
from reedbore.simulate.request.take import Request, Words, parse_setting, read_request, tune_request
from reedbore.verdict.result import SIMPLE

RATIOS = tuple(simple_ratios(SIMPLE))
"""That each note is asked for, as far as the voice reaches."""

MOST_DEPTHS = 8
"""More have no room beside each other."""

SIDES = "low", "high"


@dataclass(frozen=True, kw_only=True)
class Atlas:
    """What an atlas is for.

    Attributes
    ----------
    horn : Horn
        The instrument, whole.
    singer : Singer
        The voice: its range bounds the ratios that are looked at.
    notes : tuple of int
        Fingered, as MIDI numbers of what sounds, rising.
    depths : tuple of float
        How strongly is sung, rising.
    voices : tuple of str
        Folds that were tried, names of `physics.folds.VOICES`; empty if none were.
    breath : str or None
        As typed.
    settings : tuple of str
        ``FIELD=VALUE``, as typed.
    a4 : float
        Frequency of A4. [Hz]
    all_ratios : bool
        Whether ratios beyond the range of the voice are looked at too.
    version : str
        Of reedbore.
    model : str or None
        `sidecar.model_hash` of what made it.
    """

    horn: Horn
    singer: Singer
    notes: tuple[int, ...]
    depths: tuple[float, ...]
    voices: tuple[str, ...] = ()
    breath: str | None = None
    settings: tuple[str, ...] = ()
    a4: float = 440.0
    all_ratios: bool = False
    version: str = __version__
    model: str | None = field(default_factory=model_hash)

    @property
    def reach(self) -> tuple[float, float] | None:
        """What is looked at, lowest and highest; None for all. [Hz]."""
        if self.all_ratios:
            return None
        low, high = (midi_to_hz(midi, self.a4) for midi in self.singer.midi_range)
        return low, high

    def request(self, midi: int, depth: float) -> Request:
        """Read what is asked for on one note, its bore not yet tuned; the sung note is any."""
        return read_request(
            Words(
                horn=self.horn.name, instrument=self.horn, voice=self.singer.name,
                singer=self.singer, fingered=midi_name(midi), sung="220Hz", depth=depth,
                breath=self.breath, settings=self.settings, a4=self.a4,
            ),
            still=True,
        )  # fmt: skip

    def setup(self, midi: int, depth: float) -> Setup:
        """Make the setup of one note, tuned, its voice a clock; a ModelError if there is none."""
        return tune_request(self.request(midi, depth)).setup


def check(atlas: Atlas) -> None:
    """Refuse an atlas that cannot be made, in one sentence."""
    if not 1 <= len(atlas.depths) <= MOST_DEPTHS:
        raise ReedboreError(f"{len(atlas.depths)} depths are asked for; allowed 1 to {MOST_DEPTHS}")
    if list(atlas.depths) != sorted(set(atlas.depths)):
        told = " ".join(f"{depth:g}" for depth in atlas.depths)
        raise ReedboreError(f"the depths are '{told}'; write each once, rising")
    for text in atlas.settings:
        if parse_setting(text)[0] == "voice.depth":
            raise ReedboreError(f"--set {text}: write the depths of an atlas as --depths")
    voice = atlas.request(atlas.notes[0], atlas.depths[-1]).setup.voice
    if voice.flows:
        raise ModelError(f"an atlas has its depths along an axis, but {COMPUTED}")
    if voice.folded:
        said = "an atlas has a clock and singers with folds side by side"
        raise ModelError(f"voice.drive is 'folds': leave it out; {said}")
    if voice.source not in ("pulse", "sine"):
        raise ModelError(f"voice.source is {voice.source!r}; an atlas needs 'pulse' or 'sine'")


def differs(one: Atlas, other: Atlas) -> str | None:
    """Say in what two atlases first differ, notes, depths and folds left aside; None if in nothing.

    Parameters
    ----------
    one, other : Atlas
        The first is told as that which is there, the other as what is here.

    Returns
    -------
    str or None
        Without a full stop.
    """
    known, wanted = _player(one), _player(other)
    for name in {**known, **wanted}:
        if known.get(name) != wanted.get(name):
            there, here = (words.get(name, "not set") for words in (known, wanted))
            return f"there {name} is {there}, here {here}"
    return None


def _player(atlas: Atlas) -> dict[str, Any]:
    """List all that the rows depend on, but for notes, depths and folds."""
    return {
        "the horn": atlas.horn.name,
        "the voice": atlas.singer.name,
        "--breath": atlas.breath or "not set",
        "--set": ", ".join(atlas.settings) or "not given",
        "A4": f"{atlas.a4:g} Hz",
        "--all-ratios": "given" if atlas.all_ratios else "not given",
        **_settings(atlas.horn, "the horn's "),
        **_settings(atlas.singer, "the voice's "),
    }


def _settings(preset: Horn | Singer, whose: str) -> dict[str, Any]:
    plain = preset.to_plain()
    told = ("name", "title", "sources")
    return {f"{whose}{key}": value for key, value in plain.items() if key not in told}
