"""MIDI files for the tests: the example of the standard, one of another library, some by hand."""

import io
import struct

from midiutil import MIDIFile


def chunk(name: bytes, held: bytes) -> bytes:
    return name + struct.pack(">L", len(held)) + held


def by_hand(*tracks: bytes, kind: int = 1, ticks: int = 96) -> bytes:
    head = chunk(b"MThd", struct.pack(">HHh", kind, len(tracks), ticks))
    return head + b"".join(chunk(b"MTrk", track) for track in tracks)


def hexed(text: str) -> bytes:
    return bytes.fromhex(text)


END = hexed("00 FF 2F 00")

# The two example files at the end of "Standard MIDI Files 1.0", MIDI Manufacturers Association,
# 1988, from memory: the same four notes as type 0, with running status, and as type 1, with
# velocity 0 for the ends of notes.
TYPE_0 = hexed(
    "4D546864 00000006 0000 0001 0060 4D54726B 0000003B"
    "00 FF5804 04021808  00 FF5103 07A120  00 C005  00 C12E  00 C246  00 923060  00 3C60"
    "60 914340  60 904C20  8140 823040  00 3C40  00 814340  00 804C40  00 FF2F00"
)
TYPE_1 = hexed(
    "4D546864 00000006 0001 0004 0060"
    "4D54726B 00000014  00 FF5804 04021808  00 FF5103 07A120  8300 FF2F00"
    "4D54726B 00000010  00 C005  8140 904C20  8140 4C00  00 FF2F00"
    "4D54726B 0000000F  00 C12E  60 914340  8220 4300  00 FF2F00"
    "4D54726B 00000015  00 C246  00 923060  00 3C60  8300 3000  00 3C00  00 FF2F00"
)


def another_library(kind: int) -> bytes:
    """Write a passage with MIDIUtil, which shares no code with mido."""
    file = MIDIFile(2, file_format=kind, ticks_per_quarternote=480, deinterleave=False)
    file.addTempo(0, 0, 72)
    file.addTempo(0, 4, 96)
    file.addTimeSignature(0, 0, 3, 2, 24)
    file.addTrackName(0, 0, "Mill race")
    for key, time, length in ((46, 0, 4), (50, 4, 3)):
        file.addNote(0, 0, key, time, length, 90)
    for key, time, length in ((58, 0, 1.25), (60, 1, 0.5), (62, 2, 1 / 3), (57, 4, 3)):
        file.addNote(1, 1, key, time, length, 80)
    file.makeRPNCall(1, 1, 0, 0, 0, 4, 0)
    file.addPitchWheelEvent(1, 1, 3.5, 2048)  # a quarter of four semitones
    file.addControllerEvent(0, 0, 0, 2, 91)
    file.addControllerEvent(0, 0, 4, 2, 18)
    file.addControllerEvent(1, 1, 0, 11, 42)
    file.addControllerEvent(0, 0, 0, 7, 100)
    held = io.BytesIO()
    file.writeFile(held)
    return held.getvalue()
