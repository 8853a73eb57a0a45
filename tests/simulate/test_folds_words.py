"""What is typed for a voice that is sung by folds."""

import pytest

from reedbore.errors import ModelError
from reedbore.model.setup import Setup
from reedbore.simulate.request.take import FOR_A_CLOCK, Words, read_request


def asked(*settings: str, sung: str = "F3") -> Setup:
    words = Words(fingered="Bb2", sung=sung, settings=("voice.drive=folds", *settings))
    return read_request(words).setup


@pytest.mark.parametrize("name", FOR_A_CLOCK)
def test_what_only_a_clock_listens_to_is_refused(name: str) -> None:
    value = {"voice.flow_ml_per_s": "80", "voice.effort": "1.5"}.get(name, "0.8")
    with pytest.raises(ModelError, match=f"--set {name}={value}: with voice.drive=folds it says"):
        asked(f"{name}={value}")


def test_folds_cannot_be_uncoupled() -> None:
    with pytest.raises(ModelError, match="folds are always coupled"):
        asked("tract.coupling=off")
    assert asked("tract.coupling=on").voice.folded


@pytest.mark.parametrize(
    ("setting", "says"),
    [
        ("voice.jitter=0.01", "voice.jitter is 0.01; with voice.drive=folds it is 0"),
        ("voice.shimmer_db=1", "voice.shimmer_db is 1; with voice.drive=folds it is 0"),
        ("voice.noise=0.2", "voice.noise is 0.2; with voice.drive=folds it is 0"),
        ("voice.false_folds=2", "voice.false_folds is 2; with voice.drive=folds it is 1"),
        ("voice.source=sine", "voice.source is 'sine'; with voice.drive=folds the folds make"),
        ("voice.gap_mm=9", "voice.gap_mm is 9 mm; allowed 0.05 to 1.2 mm"),
    ],
)
def test_what_folds_cannot_do_is_refused_in_one_sentence(setting: str, says: str) -> None:
    with pytest.raises(ModelError) as refused:
        asked(setting)
    assert says in str(refused.value)
    assert "\n" not in str(refused.value)


def test_a_singer_is_told_to_aim_where_a_clock_sings() -> None:
    words = Words(fingered="Bb2", sung="3/2-40c", settings=("voice.drive=folds",))
    assert read_request(words).typed.title.endswith("F3-38c aimed at")
    assert read_request(Words(fingered="Bb2", sung="3/2-40c")).typed.title.endswith("F3-38c sung")


def test_the_old_name_of_what_still_folds_send_back_is_read() -> None:
    plain = read_request(Words(fingered="Bb2", sung="F3")).setup.to_plain()
    assert plain["tract"]["returned"] == 0.8
    plain["tract"]["folds"] = plain["tract"].pop("returned") - 0.1
    assert Setup.from_plain(plain).tract.returned == pytest.approx(0.7)
    old = read_request(Words(fingered="Bb2", sung="F3", settings=("tract.folds=0.6",))).setup
    assert old.value("tract.returned") == old.value("tract.folds") == 0.6
