"""The player's voice, and the mouth and throat that it sounds in: its numbers as they are set."""

from collections.abc import Mapping
from pathlib import Path
from typing import ClassVar, Literal, Self

from pydantic import model_validator

from reedbore.model.settings import Part, mistake
from reedbore.model.units import QUANTITIES, settle

Drive = Literal["pressure", "flow", "folds"]
"""What the voice is: a pressure as deep as is set, a flow through the tract, or folds."""

COMPUTED = "with voice.drive=flow the depth comes out of the flow"


class Voice(Part):
    """The sung part of the pressure in the mouth.

    What makes a voice human, from `vowel` on, is for made voices: a recording brings its own. A
    `vowel` is a shape of the tongue, for the lips are round a mouthpiece. `vibrato` is its rate
    [Hz], `scoop` the time that it takes [s].

    Sung by folds (`drive`), `frequency` is what the singer aims at, `depth` what it comes to where
    no horn sounds back; `fold_mass`, `fold_length` and `gap` are the singer's own. Where the
    pressure in the `lung` is given the breath follows it, else it follows the breath. With the
    `ear` on, the tension is corrected by what is heard.

    As a source of pressure the voice has the depth that is set; as a source of flow its `flow`,
    times `effort`, passes the tract, and the depth comes out of it (`kernel.mouth.depth`). A
    recording has been through a mouth already: it is a pressure of the depth that is set, whatever
    `drive` says.
    """

    section = "voice"
    source: Literal["pulse", "sine", "recording", "off"] = "pulse"
    frequency: float = 220.0
    depth: float = 0.1
    drive: Drive = "pressure"
    flow: float = settle(QUANTITIES["voice.flow_ml_per_s"], 1e-4)
    fold_mass: float = 3.0
    fold_length: float = settle(QUANTITIES["voice.fold_length_mm"], 14e-3)
    gap: float = settle(QUANTITIES["voice.gap_mm"], 0.3e-3)
    lung: float | None = None
    ear: Literal["off", "on"] = "off"
    effort: float = 1.0
    rd: float = 1.0
    fade: float = settle(QUANTITIES["voice.fade_ms"], 0.2)
    file: Path | None = None
    vowel: Literal["none", "neutral", "a", "i", "u"] = "none"
    jitter: float = 0.0
    shimmer_db: float = 0.0
    vibrato: float = 5.5
    vibrato_cents: float = 0.0
    vibrato_after: float = 0.0
    scoop: float = settle(QUANTITIES["voice.scoop_ms"], 0.15)
    scoop_cents: float = 0.0
    wander_cents: float = 0.0
    noise: float = 0.0
    false_folds: int = 1
    seed: int = 0

    @property
    def flows(self) -> bool:
        """Whether it is a source of flow, whose depth comes out of the flow and is not set."""
        return self.drive == "flow" and self.source in {"pulse", "sine"}

    @property
    def folded(self) -> bool:
        """Whether it is sung by folds that feel the horn, and `frequency` is what they aim at."""
        return self.drive == "folds" and self.source != "off"

    @property
    def unsteady(self) -> list[str]:
        """Settings that make each period differ from the one before, as users write them."""
        made = self.source in {"pulse", "sine"}
        names = ("jitter", "shimmer_db", "vibrato_cents", "wander_cents", "noise")
        return [f"voice.{name}" for name in names if made and getattr(self, name) > 0.0]

    @property
    def uneven(self) -> list[str]:
        """Those, and what keeps it from being one period of its note over and over again."""
        made = self.source in {"pulse", "sine"}
        gliding = ["voice.scoop_cents"] if made and self.scoop_cents > 0.0 else []
        return self.unsteady + gliding + ["voice.false_folds"] * (made and self.false_folds > 1)

    @model_validator(mode="after")
    def _check_folds(self) -> Self:
        """Refuse what only a clock can be told; folds make their pulse and its unevenness."""
        if self.drive != "folds":
            if self.ear == "on":
                raise mistake("is 'on'; only a voice with voice.drive=folds corrects itself", "ear")
            return self
        if self.source not in {"pulse", "off"}:
            raise mistake(
                f"is {self.source!r}; with voice.drive=folds the folds make the sound: 'pulse' or "
                "'off'",
                "source",
            )
        for name in ("jitter", "shimmer_db", "noise"):
            if getattr(self, name) > 0.0:
                raise mistake(
                    f"is {getattr(self, name):g}; with voice.drive=folds it is 0: the folds make "
                    "each period themselves",
                    name,
                )
        if self.false_folds > 1:
            raise mistake(
                f"is {self.false_folds}; with voice.drive=folds it is 1: the false folds are at "
                "rest",
                "false_folds",
            )
        return self

    @model_validator(mode="after")
    def _check_file(self) -> Self:
        if self.source == "recording" and self.file is None:
            raise mistake("is missing; voice.source is 'recording'", "file")
        return self


NOBODY = Voice(source="off")
"""Of a horn that is played alone."""


class Tract(Part):
    """The air upstream of the reed: mouth and throat of the player.

    Uncoupled, the reed does not act back on the pressure in the mouth. Coupled, mouth and bore
    stand in series at the reed. `volume` is the air in mouth and throat together: a tongue shape
    (`voice.vowel`) takes its share of it, the rest lies before the reed. `returned` is how much of
    a wave vocal folds send back that do not move of themselves. Folds that sing are always coupled.
    """

    section = "tract"
    renamed: ClassVar[Mapping[str, str]] = {"folds": "returned"}
    coupling: Literal["off", "on"] = "off"
    volume: float = settle(QUANTITIES["tract.volume_ml"], 1e-4)
    returned: float = 0.8
