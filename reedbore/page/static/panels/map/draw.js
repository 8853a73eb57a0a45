// Drawing a lock map: cells by state, lines of simple ratios, axes, and the cursor.

import { printed, ticks } from "../../core/canvas.js";
import { marked } from "../../core/looks.js";
import { drawLines } from "./lines.js";
import { pretty } from "../../core/notes.js";

/** What can stand along an axis, in short. */
export const NAMES = {
  sung: "sung note", "voice.depth": "depth", "breath.pressure_kpa": "breath", "reed.strength": "reed strength",
  "reed.opening_mm": "reed opening", "reed.lip": "lip", "reed.damping": "reed damping",
  "reed.frequency_hz": "reed resonance", "mouthpiece.volume_ml": "mouthpiece", "bore.length_mm": "bore length",
  "voice.rd": "voice, pressed to breathy", "air.temperature_c": "air in the horn",
};

const EDGE = { left: 74, right: 42, top: 26, bottom: 58 }; // [px]

/**
 * Where the cells lie in a picture. `x` and `y` take borders counted in cells, `across` and `up` places along the axes:
 * an axis whose cells are not evenly wide has their `rims` in such places. One axis alone has one row.
 */
export function frameOf({ head, edge = EDGE }, width, height) {
  const { left, top } = edge, wide = width - left - edge.right, tall = height - top - edge.bottom;
  const [one, two] = [head.axes[0], head.axes[1] ?? { values: [0] }].map(scaleOf);
  return {
    left, top, wide, tall, nx: one.count, ny: two.count,
    x: (i) => left + wide * one.share(one.place(i)), y: (j) => top + tall * (1 - two.share(two.place(j))),
    across: (p) => left + wide * one.share(p), up: (p) => top + tall * (1 - two.share(p)),
    cell: (x, y) => [one.cell((x - left) / wide), two.cell((top + tall - y) / tall)],
  };
}

function scaleOf({ values, rims = [...values.keys(), values.length] }) {
  const count = values.length, low = rims[0], span = rims[count] - low;
  const place = (k) => {
    const whole = Math.min(Math.max(Math.floor(k), 0), count - 1);
    return rims[whole] + (k - whole) * (rims[whole + 1] - rims[whole]);
  };
  const cell = (share) => (share < 0 || share > 1 ? -1 : Math.max(rims.findIndex((rim) => rim >= low + share * span) - 1, 0));
  return { count, place, cell, share: (p) => (p - low) / span };
}

/** The cell under a pointer, or null; of one row it is the one above or below which it is. */
export function cellAt(map, sheet, event) {
  if (!map.head) return null;
  const box = sheet.getBoundingClientRect(), frame = frameOf(map, box.width, box.height);
  const at = frame.cell(event.clientX - box.left, map.head.axes[1] ? event.clientY - box.top : frame.top);
  return at.includes(-1) ? null : at;
}

const MOVES = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowDown: [0, -1], ArrowUp: [0, 1] };

/** Where an arrow key leads from a cell, `far` cells with Shift; null for any other key. */
export function moved({ head }, at, { key, shiftKey }, far) {
  const by = shiftKey ? far : 1;
  return MOVES[key] ? at.map((k, n) => Math.min(Math.max(k + by * MOVES[key][n], 0), (head.axes[n]?.values.length ?? 1) - 1)) : null;
}

/** Draw all that is known of a map. */
export function draw(map, pen, width, height, shades) {
  if (!map.head) return drawEmpty(pen, width, height, shades);
  const frame = frameOf(map, width, height);
  pen.fillStyle = shades.paper;
  pen.fillRect(frame.left, frame.top, frame.wide, frame.tall);
  for (const step of map.head.levels) {
    const level = [...map.cells.values()].filter((cell) => cell.step === step);
    drawCells(pen, map.head.looks, frame, level.map(({ i, j, state }) => ({ i, j, state, wide: step, tall: step })));
  }
  drawLines(map.lines, pen, frame, shades);
  drawAxes(map, pen, frame, shades, width, height);
  if (map.at) drawCursor(pen, frame, map.at, shades);
}

function drawEmpty(pen, width, height, shades) {
  pen.strokeStyle = shades.rule;
  pen.strokeRect(0.5, 0.5, width - 1, height - 1);
  pen.fillStyle = shades.faint;
  pen.textAlign = "center";
  pen.fillText("The map is drawn here while it is computed.", width / 2, height / 2);
}

/** Paint blocks of cells, {i, j, wide, tall, state}, as their states look. */
export function drawCells(pen, looks, frame, blocks) {
  const paths = {}, dots = devicePixelRatio || 1, snap = (v) => Math.round(v * dots) / dots;
  for (const { i, j, wide, tall, state } of blocks) {
    const [left, right] = [i, Math.min(i + wide, frame.nx)].map((k) => snap(frame.x(k)));
    const [low, high] = [j, Math.min(j + tall, frame.ny)].map((k) => snap(frame.y(k)));
    (paths[state] ??= new Path2D()).rect(left, high, right - left, low - high);
  }
  for (const [state, path] of Object.entries(paths)) marked(pen, looks[state], path);
}

/** Frame, numbers or names along both sides, and what they mean. */
export function drawAxes({ head }, pen, frame, shades, width, height) {
  const [x, y] = head.axes, { left, top, wide, tall } = frame, foot = top + tall;
  pen.strokeStyle = shades.faint;
  pen.strokeRect(left, top, wide, tall);
  pen.fillStyle = shades.ink;
  pen.textBaseline = "middle";
  pen.textAlign = "center";
  let end = -Infinity;
  for (const [text, at] of marksOf(x, width / 90, frame.across, frame.x)) {
    const half = pen.measureText(text).width / 2, middle = Math.min(at, width - half);
    stroke(pen, at, foot, at, foot + 4);
    if (middle - half > end + 8) (pen.fillText(text, middle, foot + 16), (end = middle + half));
  }
  pen.fillText(fitted(pen, pretty(shortLabel(x)), width), left + wide / 2, height - 16);
  if (!y) return;
  pen.textAlign = "right";
  for (const [text, at] of marksOf(y, height / 60, frame.up, frame.y)) {
    stroke(pen, left - 4, at, left, at);
    pen.fillText(text, left - 8, at);
  }
  pen.save();
  pen.textAlign = "center";
  pen.translate(14, top + tall / 2);
  pen.rotate(-Math.PI / 2);
  pen.fillText(fitted(pen, pretty(shortLabel(y)), tall + 60), 0, 0);
  pen.restore();
}

const stroke = (pen, ...p) => (pen.beginPath(), pen.moveTo(p[0], p[1]), pen.lineTo(p[2], p[3]), pen.stroke());

const shortLabel = (axis) => (axis.field === "sung" ? axis.label : NAMES[axis.field] ? `${NAMES[axis.field]}${axis.unit ? ` [${axis.unit}]` : ""}` : axis.label);

function fitted(pen, text, width) {
  return pen.measureText(text).width < width ? text : text.split(",")[0];
}

/** What is written along an axis, and where: its own `marks`, [place, text], or round numbers. */
function marksOf(axis, most, along, border) {
  if (axis.marks) return axis.marks.map(([place, text]) => [pretty(text), along(place)]);
  const first = axis.ticks[0], last = axis.ticks.at(-1), n = axis.ticks.length;
  if (!(last > first)) return [];
  return ticks(first, last, Math.max(2, most)).map((value) => [
    printed(value), border(((value - first) / (last - first)) * (n - 1) + 0.5),
  ]);
}

const LEAST = 6; // [px] from the middle of a cell to the cursor round it

export function drawCursor(pen, frame, [i, j], shades) {
  const left = frame.x(i), right = frame.x(i + 1), top = frame.y(j + 1), low = frame.y(j);
  const x = Math.max(2, LEAST - (right - left) / 2), y = Math.max(2, LEAST - (low - top) / 2);
  for (const [colour, thick] of [[shades.card, 5], [shades.ink, 2.5]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = thick;
    pen.strokeRect(left - x, top - y, right - left + 2 * x, low - top + 2 * y);
  }
  pen.lineWidth = 1;
}
