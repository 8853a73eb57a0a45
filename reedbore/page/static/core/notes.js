// Notes as players write them: names, MIDI numbers, cents. C4 is 60.

const NAMES = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
const LETTERS = { C: 0, D: 2, E: 4, F: 5, G: 7, A: 9, B: 11 };
const SPOKEN = { b: " flat", "#": " sharp", "": "" };
const NOTE = /^([A-Ga-g])(##|#|bb|b|)(-?\d{1,2})(?:([+-]\d+(?:\.\d+)?)c)?$/;

export const isBlack = (midi) => [1, 3, 6, 8, 10].includes(((midi % 12) + 12) % 12);

export const midiName = (midi) => NAMES[((midi % 12) + 12) % 12] + (Math.floor(midi / 12) - 1);

/** A note as it is typed, from how `pretty` prints it. */
export const plain = (text) => text.replace(/♯/g, "#").replace(/♭/g, "b").replace(/−/g, "-").replace(/\s/g, "");

/** MIDI number with its cents as a fraction; null if the text is no note. */
export function parseNote(text) {
  const found = NOTE.exec(plain(text));
  if (!found) return null;
  const sharps = { "": 0, "#": 1, "##": 2, b: -1, bb: -2 }[found[2]];
  return 12 * (Number(found[3]) + 1) + LETTERS[found[1].toUpperCase()] + sharps + Number(found[4] ?? 0) / 100;
}

export const midiOf = (hz, a4 = 440) => 69 + 12 * Math.log2(hz / a4);

/** A note and cents as it is typed: D4-13.8c. */
export function noteText(midi, cents) {
  const off = Math.round(cents * 10) / 10;
  return midiName(midi) + (off ? `${off > 0 ? "+" : ""}${off}c` : "");
}

/** The same of a MIDI number with its cents as a fraction, to a tenth of a cent. */
export const noteOf = (midi) => noteText(Math.round(midi), 100 * (midi - Math.round(midi)));

/** Names in a sentence as they are printed: B♭1, F♯3, D4 −14 c. */
export function pretty(text) {
  return String(text)
    .replace(/\b([A-G])b(-?\d)/g, "$1♭$2")
    .replace(/\b([A-G])#(-?\d)/g, "$1♯$2")
    .replace(/([A-G][♭♯]?-?\d)([+-])(\d+(?:\.\d+)?)c\b/g, (_, note, sign, cents) =>
      `${note}\u00a0${sign === "-" ? "−" : "+"}${cents}\u00a0c`)
    .replace(/(^|[\s(])-(\d)/g, "$1−$2");
}

/** What is written for the horn that is set where it sounds a pitch; nothing if that is the same. [Hz] */
export function writtenOf({ choices, words }, hz) {
  const { transposition } = choices.horns.find((each) => each.name === words.horn) ?? {};
  return transposition ? midiName(Math.round(midiOf(hz, words.a4)) + transposition) : "";
}

/** A name for the ear: "B flat 2". */
export function spoken(name) {
  const found = NOTE.exec(name);
  return found ? `${found[1]}${SPOKEN[found[2]] ?? found[2]} ${found[3]}` : name;
}
