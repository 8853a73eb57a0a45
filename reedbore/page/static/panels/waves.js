// The waveforms at the end of the take: voice, reed, mouthpiece, sound; common periods shaded.

import { canvas, printed, ticks } from "../core/canvas.js";
import { rows } from "../core/api.js";
import { el } from "../core/dom.js";

const STRIPS = [
  { row: "mouth", title: "in the mouth: breath and voice", unit: "kPa", scale: 1e-3, colour: "voice", peaks: "sung" },
  { row: "opening", title: "the reed's opening", unit: "mm", scale: 1e3, colour: "ink", fromZero: true },
  { row: "mouthpiece", title: "in the mouthpiece: the horn's note", unit: "kPa", scale: 1e-3, colour: "horn", peaks: "played" },
  { row: "sound", title: "what is heard outside", unit: "Pa", scale: 1, colour: "third" },
];
// The horn sounds into the mouth of folds that feel it: what is counted is how often they open.
const OF_FOLDS = [
  { row: "folds", title: "between the vocal folds", unit: "mm", scale: 1e3, colour: "voice", fromZero: true, peaks: "sung" },
  { ...STRIPS[0], title: "in the mouth: breath, voice and horn", peaks: null }, ...STRIPS.slice(1),
];
const LEFT = 58, RIGHT = 14, TOP = 44, FOOT = 42, GAP = 26, NARROW = 520;

/** What /api/look answers: rows, lines, ratio, period and pitches. */
export async function readLook(response) {
  const told = (name) => response.headers.get(name);
  const number = (name) => Number(told(name)) || null;
  return {
    rows: await rows(response), lines: JSON.parse(told("x-lines")), ratio: told("x-ratio"),
    period: number("x-period"), played: number("x-played"), sung: number("x-sung"),
  };
}

/** `state.covered` keeps back what the picture is asked for: its common periods, numbers and words. */
export function startWaves(root, state) {
  let seen = null;
  const caption = el("p", { class: "caption" });
  const figure = canvas(draw, { label: "Waveforms at the end of the take", height: 500 });
  root.append(figure.root, caption);
  state.on("looked", (look) => {
    seen = look;
    show();
  });
  state.on("covered", show);

  function show() {
    if (!seen) return;
    const says = state.covered ? "" : words(seen);
    caption.textContent = says;
    figure.say(`Waveforms at the end of the take. ${says}`);
    figure.again();
  }

  function draw(pen, width, height, colour) {
    if (!seen) return;
    const told = state.covered ? { ...seen, period: null, ratio: "" } : seen;
    const { time } = seen.rows, start = time[0], span = time[time.length - 1] - start;
    const x = (t) => LEFT + ((t - start) / span) * (width - LEFT - RIGHT);
    const strips = seen.rows.folds ? OF_FOLDS : STRIPS;
    const tall = (height - TOP - FOOT - GAP * (strips.length - 1)) / strips.length;
    shadePeriods(pen, told, x, span, height - FOOT, colour);
    strips.forEach((strip, k) => drawStrip(pen, told, strip, x, TOP + k * (tall + GAP), tall, width, colour));
    pen.fillStyle = colour.faint;
    pen.textAlign = "center";
    for (const ms of ticks(0, span * 1e3, Math.max(3, width / 110))) pen.fillText(printed(ms), x(start + ms / 1e3), height - FOOT + 18);
    pen.textAlign = "right";
    pen.fillText("milliseconds", width - RIGHT, height - 6);
  }
}

function words({ ratio, period, played, sung }) {
  if (!played) return sung ? "The reed does not beat: it only follows the voice." : "The reed does not sound.";
  if (!sung) return `The horn alone: one period lasts ${printed(1e3 / played)} ms.`;
  if (!ratio) return "No common period: the two waves never come round together.";
  const [p, q] = ratio.split("/");
  const times = (n) => (n === "1" ? "once" : n === "2" ? "twice" : `${n} times`);
  return `One common period lasts ${printed(period * 1e3)} ms: the voice swings ${times(p)} in it, the horn ${times(q)}.`;
}

function shadePeriods(pen, { period, rows }, x, span, foot, colour) {
  if (!period || period > span * 1.02) return;
  const start = rows.time[0];
  for (let k = 0; k * period < span; k += 1) {
    const left = x(start + k * period), right = x(Math.min(start + (k + 1) * period, start + span));
    if (k % 2 === 0) {
      pen.fillStyle = colour.shade;
      pen.fillRect(left, 0, right - left, foot);
    }
  }
  pen.strokeStyle = pen.fillStyle = colour.third;
  pen.lineWidth = 1.5;
  const from = x(start), to = x(start + Math.min(period, span));
  pen.beginPath();
  pen.moveTo(from + 2, 10), pen.lineTo(to - 2, 10);
  pen.moveTo(from + 8, 5), pen.lineTo(from + 2, 10), pen.lineTo(from + 8, 15);
  pen.moveTo(to - 8, 5), pen.lineTo(to - 2, 10), pen.lineTo(to - 8, 15);
  pen.stroke();
}

function drawStrip(pen, seen, strip, x, top, tall, width, colour) {
  const row = seen.rows[strip.row], { time } = seen.rows;
  let low = Infinity, high = -Infinity;
  for (const value of row) (low = Math.min(low, value)), (high = Math.max(high, value));
  if (strip.fromZero) low = Math.min(low, 0);
  if (high - low < 1e-12) (low -= 1 / strip.scale), (high += 1 / strip.scale);
  const numbered = strip.peaks && countable(seen);
  if (numbered && strip.peaks === "sung") high += (strip.fromZero ? 0.5 : 0.3) * (high - low);
  if (numbered && strip.peaks === "played") low -= 0.3 * (high - low);
  const y = (value) => top + tall - ((value - low) / (high - low)) * tall;
  pen.strokeStyle = colour.rule;
  pen.lineWidth = 1;
  pen.fillStyle = colour.faint;
  pen.textAlign = "right";
  for (const value of ticks(low * strip.scale, high * strip.scale, 3.4)) {
    const at = y(value / strip.scale);
    pen.beginPath(), pen.moveTo(LEFT, at), pen.lineTo(width - RIGHT, at), pen.stroke();
    pen.fillText(printed(value, 3), LEFT - 6, at + 5);
  }
  pen.strokeStyle = colour[strip.colour];
  pen.lineWidth = 2.2;
  pen.lineJoin = "round";
  pen.beginPath();
  row.forEach((value, k) => pen[k ? "lineTo" : "moveTo"](x(time[k]), y(value)));
  pen.stroke();
  pen.fillStyle = colour[strip.colour];
  if (numbered) numberCycles(pen, seen, strip, x, y);
  pen.textAlign = "left";
  const title = width < NARROW ? strip.title.split(":")[0] : strip.title;
  pen.fillText(`${title} [${strip.unit}]`, LEFT, top - 6);
}

const MOST_NUMBERS = 8;

const countable = ({ ratio, period }) => period && ratio.split("/").every((n) => Number(n) <= MOST_NUMBERS);

/** Count the sung peaks, or the horn's pulses, through the first common period. */
function numberCycles(pen, { rows, ratio, period }, strip, x, y) {
  const [p, q] = ratio.split("/").map(Number), count = strip.peaks === "sung" ? p : q;
  const row = rows[strip.row], { time } = rows, cycle = period / count;
  const better = strip.peaks === "sung" ? (a, b) => a > b : (a, b) => a < b;
  pen.textAlign = "center";
  for (let k = 0; k < count; k += 1) {
    let best = -1;
    for (let n = 0; n < time.length; n += 1) {
      const t = time[n] - time[0];
      if (t >= k * cycle && t < (k + 1) * cycle && (best < 0 || better(row[n], row[best]))) best = n;
    }
    if (best >= 0) pen.fillText(String(k + 1), Math.max(x(time[best]), LEFT + 6), y(row[best]) + (strip.peaks === "sung" ? -6 : 18));
  }
}
