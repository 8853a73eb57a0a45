"""From a file to its verdict on the page: seconds, for a hum alone and for horn and voice together.

Run by `.ci/run bench` or `python tests/benchmarks/own_voice.py [tiny]`. The hum goes through a low
man's notes, one every two seconds, over B flat 2 of the tenor; the recording of both is the same
hum on the throat, and a made horn that it shakes. Both go to a server as the browser sends them;
beside each stands what the command takes for the same file, whole process.
"""

import io
import json
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "helpers"))
from made_mixtures import tone

TINY = "tiny" in sys.argv[1:]
LENGTHS = (1.0,) if TINY else (10.0, 60.0)  # [s]
RATE = 48000
NOTES = 174.6, 233.1, 291.4, 220.0, 196.0  # [Hz]
NOTE_S = 2.0
HORN_HZ = 116.54
VOICE = "low-male"
PARTIALS = 15

Samples = NDArray[np.float64]


def hum(seconds: float) -> Samples:
    """Sing note after note, with the wander of a human voice."""
    t = np.arange(round(seconds * RATE)) / RATE
    hz = np.asarray(NOTES)[(t / NOTE_S).astype(int) % len(NOTES)]
    cents = 8.0 * np.sin(2.0 * np.pi * 0.7 * t) + 4.0 * np.sin(2.0 * np.pi * 1.9 * t)
    gap = np.minimum(np.minimum(t % NOTE_S, NOTE_S - t % NOTE_S) / 0.04, 1.0)
    return gap * tone(np.cumsum(hz * 2.0 ** (cents / 1200.0)) / RATE, 9.0, PARTIALS)


def wav(*channels: Samples) -> bytes:
    memory = io.BytesIO()
    whole = np.stack(channels, axis=1)
    soundfile.write(memory, 0.5 * whole / np.abs(whole).max(axis=0), RATE, format="WAV")
    return memory.getvalue()


def recordings(seconds: float) -> dict[str, bytes]:
    """Make both kinds."""
    voice, noise = hum(seconds), np.random.default_rng(1).standard_normal
    horn = tone(np.arange(voice.size) * HORN_HZ / RATE, 4.0, PARTIALS) * (1.0 + 0.1 * voice)
    throat = voice + 0.01 * noise(voice.size)
    return {"voice": wav(voice), "both": wav(horn + 0.01 * noise(voice.size), throat)}


def ask(address: str, kind: str, data: bytes) -> dict[str, float]:
    """Send a file; after how long which word came first. [s]"""
    asked = {"kind": kind, "name": "hum.wav", "words": {}, "throat": 2 if kind == "both" else None}
    headers = {"origin": address, "content-type": "application/octet-stream"}
    body = json.dumps(asked).encode() + b"\n" + data
    request = urllib.request.Request(f"{address}/api/voice", data=body, headers=headers)
    began, came = time.perf_counter(), dict[str, float]()
    with urllib.request.urlopen(request, timeout=600) as answer:
        for line in answer:
            told: dict[str, Any] = json.loads(line)
            for key in told:
                came.setdefault(key, time.perf_counter() - began)
    return came


def command(kind: str, data: bytes) -> float:
    """Judge the same file from the command line. [s]"""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "hum.wav"
        path.write_bytes(data)
        words = {
            "voice": ["render", "--fingered", "Bb2", "--sung", str(path), "-o", f"{folder}/o.wav"],
            "both": ["analyse", str(path), "--throat-channel", "2", "--voice", VOICE],
        }[kind]
        began = time.perf_counter()
        subprocess.run(
            [sys.executable, "-m", "reedbore", *words], check=True, capture_output=True
        )  # fmt: skip
        return time.perf_counter() - began


def main() -> None:
    server = [sys.executable, "-u", "-m", "reedbore", "page", "--no-browser"]
    with subprocess.Popen(server, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        address = process.stdout.readline().strip().rstrip("/")
        ask(address, "voice", recordings(1.0)["voice"])  # all is compiled, the note is tuned
        print("                    heard  judged  command  page/command")
        for seconds in LENGTHS:
            for kind, data in recordings(seconds).items():
                came, alone = ask(address, kind, data), command(kind, data)
                heard = f"{came['sounds']:6.2f}" if "sounds" in came else "      "
                ratio = came["rows"] / alone
                print(
                    f"{kind:6} of {seconds:4g} s   {heard}  {came['rows']:6.2f}  {alone:7.2f}"
                    f"  {ratio:12.2f}",
                    flush=True,
                )
        process.terminate()


if __name__ == "__main__":
    main()
