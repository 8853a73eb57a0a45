"""The étude planned, played, recorded and analysed: what was planned beside what is found.

Run `python tests/benchmarks/etude.py [tiny] [NOISE_DB [ROOM_S [BLEED_DB]]]`: the demo passage by a
singer whose folds feel the horn, before a microphone in a room and one on the throat that hears the
horn too. By default 30 dB of noise, 0.6 s of reverberation and -20 dB of bleed.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
from made_mixtures import Held
from recordings import RATE, Piece, recorded

from reedbore.measures import pitch
from reedbore.notes import note_name
from reedbore.report import recording as report
from reedbore.simulate.performance import perform
from reedbore.simulate.request.passage import read_passage, score_of
from reedbore.simulate.request.take import Words
from reedbore.sound import resample
from reedbore.verdict.against_plan import align, planned_notes
from reedbore.verdict.recording import analyse

TINY = "tiny" in sys.argv[1:]
NUMBERS = [float(word) for word in sys.argv[1:] if word != "tiny"]
NOISE, ROOM, BLEED = [*NUMBERS, *(30.0, 0.6, -20.0)[len(NUMBERS) :]][:3]
SHORT = Words(fingered="Bb2:1 D3:1", sung="F3:1 A3:1", tempo=60.0)


def main() -> None:
    request = read_passage(SHORT if TINY else Words(passage="mill-race"))
    played = perform(score_of(request, lambda _: None))
    passage = played.score.passage
    voice = resample(played.sung, played.score.rate, RATE)
    count = min(voice.size, played.sound.size)
    piece = Piece(played.sound[:count], voice[:count], None)
    microphones = recorded(piece, noise_db=NOISE, reverberation=ROOM, bleed_db=BLEED)
    horn, throat = (pitch.thin(one, RATE)[0] for one in microphones)
    found = analyse(Held(horn, throat, pitch.thin(microphones[0], RATE)[1]))
    aligned = align(found, planned_notes(passage))
    print(f"{NOISE:g} dB of noise, {ROOM:g} s of reverberation, bleed {BLEED:g} dB\n")
    print(report.text(aligned.rows), end="\n\n")
    print("planned note          found            outcome")
    for one in aligned.matches:
        asked = [note_name(hz) for hz in (one.planned.fingered_hz, one.planned.sung_hz) if hz]
        row = one.found
        heard = [note_name(hz) for hz in (row.played_hz, row.sung_hz) if hz] if row else []
        print(f"{one.planned.number:3} {' '.join(asked):18}{' '.join(heard):17}{one.outcome}")
    print(f"\n{report.plan_text(aligned, 60.0 * passage.tempo)}")


if __name__ == "__main__":
    main()
