// The lines of the sound: horn, voice, both and third note told apart by colour and by mark.

import { canvas, printed, ticks } from "../core/canvas.js";
import { el } from "../core/dom.js";
import { midiName, midiOf, pretty } from "../core/notes.js";

const KINDS = {
  horn: ["horn", "●", "the note on the horn"], voice: ["voice", "▲", "the sung note"], both: ["ink", "■", "of both"],
  third: ["third", "◆", "the third note alone"], covered: ["ink", "●", "a line"], mixed: ["faint", "✕", "sums and differences"],
};
const FLOOR = -60, LEFT = 52, RIGHT = 16, TOP = 30, FOOT = 42;
const NARROW = 520; // [px]
const LEAST_TOP = 500, NARROW_TOP = 1500, TOP_HZ = 4000; // [Hz]: a phone has no room for more lines

export function startSpectrum(root, state) {
  const view = { lines: [], at: -1 };
  const key = el("p", { class: "legend" });
  const read = el("p", { class: "caption", "aria-live": "polite" }, "Point at a line to name it.");
  const figure = canvas((...paper) => draw(view, state.words.a4, ...paper), { label: "Spectrum of the sound", height: 330, focusable: true });
  root.append(key, figure.root, read);

  let told = [];
  state.on("looked", ({ lines }) => show((told = lines)));
  state.on("covered", () => show(told));
  /** `state.covered` keeps back whose the lines are. */
  function show(all) {
    const lines = state.covered ? all.map(([hz, level]) => [hz, level, "a line", "covered"]) : all;
    Object.assign(view, { lines, at: -1 });
    const there = Object.keys(KINDS).filter((kind) => lines.some((line) => line[3] === kind));
    key.replaceChildren(...there.map((kind) => el("span", { class: `key-${kind}` }, `${KINDS[kind][1]} ${KINDS[kind][2]}`)));
    read.textContent = lines.length ? "Point at a line to name it." : "There is no sound.";
    figure.say(`Spectrum of the sound, ${lines.length} lines. ${there.map((kind) => `${lines.filter((line) => line[3] === kind).length} of ${KINDS[kind][2]}`).join(", ")}.`);
    figure.again();
  }
  listen(view, figure.sheet, (k) => {
    view.at = k;
    const [hz, level, name] = view.lines[k];
    read.textContent = pretty(`${name}: ${hz.toFixed(1)} Hz (${midiName(Math.round(midiOf(hz, state.words.a4)))}), ${level.toFixed(0)} dB`);
    figure.again();
  });
}

/** Let arrow keys and the pointer choose a line. */
function listen(view, sheet, show) {
  sheet.addEventListener("keydown", (event) => {
    const by = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
    if (!by || !view.lines.length) return;
    event.preventDefault();
    show(Math.min(Math.max(view.at + by, 0), view.lines.length - 1));
  });
  sheet.addEventListener("pointermove", (event) => {
    const { lines, at } = view, width = sheet.clientWidth;
    if (!lines.length) return;
    const hz = ((event.offsetX - LEFT) / (width - LEFT - RIGHT)) * highest(lines, width);
    const near = lines.reduce((best, line, k) => (Math.abs(line[0] - hz) < Math.abs(lines[best][0] - hz) ? k : best), 0);
    if (near !== at) show(near);
  });
}

/** Where the axis ends: over the last line that is loud enough, as far as the picture has room. [Hz] */
function highest(lines, width) {
  const last = Math.max(...lines.filter((line) => line[1] > FLOOR).map((line) => line[0]), LEAST_TOP);
  return Math.min(last * 1.03, width < NARROW ? NARROW_TOP : TOP_HZ);
}

function draw({ lines, at }, a4, pen, width, height, colour) {
  if (!lines.length) return;
  const end = highest(lines, width);
  const x = (hz) => LEFT + (hz / end) * (width - LEFT - RIGHT);
  const y = (level) => TOP + ((0 - level) / -FLOOR) * (height - TOP - FOOT);
  axes(pen, width, height, x, y, end, colour);
  lines.forEach(([hz, level, , kind], k) => {
    if (hz > end) return;
    pen.strokeStyle = pen.fillStyle = colour[KINDS[kind]?.[0] ?? "faint"];
    pen.lineWidth = k === at ? 5 : 2.5;
    pen.beginPath(), pen.moveTo(x(hz), y(FLOOR)), pen.lineTo(x(hz), y(Math.max(level, FLOOR))), pen.stroke();
    mark(pen, kind, x(hz), y(Math.max(level, FLOOR)), k === at ? 8 : 5.5);
  });
  nameFundamentals(pen, lines, x, y, colour, a4);
}

function axes(pen, width, height, x, y, top, colour) {
  pen.strokeStyle = colour.rule;
  pen.fillStyle = colour.faint;
  pen.lineWidth = 1;
  pen.textAlign = "right";
  for (const level of [0, -20, -40, FLOOR]) {
    pen.beginPath(), pen.moveTo(LEFT, y(level)), pen.lineTo(width - RIGHT, y(level)), pen.stroke();
    pen.fillText(printed(level), LEFT - 8, y(level) + 5);
  }
  pen.textAlign = "left";
  pen.fillText("dB, against the strongest", 4, 14);
  pen.textAlign = "center";
  for (const hz of ticks(0, top, Math.max(3, width / 110))) pen.fillText(printed(hz), x(hz), height - FOOT + 20);
  pen.textAlign = "right";
  pen.fillText("Hz", width - RIGHT, height - 4);
}

/** Put the name of a note over the lowest line of horn, voice and third note. */
function nameFundamentals(pen, lines, x, y, colour, a4) {
  pen.textAlign = "center";
  const font = pen.font;
  pen.font = "bold " + font;
  for (const kind of ["third", "horn", "voice"]) {
    const first = lines.find((line) => line[3] === kind && /partial 1 /.test(line[2]));
    if (!first) continue;
    const name = pretty(midiName(Math.round(midiOf(first[0], a4))));
    pen.fillStyle = colour[KINDS[kind][0]];
    pen.fillText(name, Math.max(x(first[0]), LEFT + 14), y(Math.max(first[1], FLOOR)) - 12);
  }
  pen.font = font;
}

function mark(pen, kind, x, y, r) {
  pen.beginPath();
  if (kind === "voice") pen.moveTo(x, y - r), pen.lineTo(x + r, y + r), pen.lineTo(x - r, y + r);
  else if (kind === "both") pen.rect(x - r, y - r, 2 * r, 2 * r);
  else if (kind === "third") pen.moveTo(x, y - r * 1.3), pen.lineTo(x + r * 1.3, y), pen.lineTo(x, y + r * 1.3), pen.lineTo(x - r * 1.3, y);
  else if (kind === "mixed") return pen.moveTo(x - r, y - r), pen.lineTo(x + r, y + r), pen.moveTo(x + r, y - r), pen.lineTo(x - r, y + r), pen.stroke();
  else pen.arc(x, y, r, 0, 7);
  pen.fill();
}
