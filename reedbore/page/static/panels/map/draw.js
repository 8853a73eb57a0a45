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

/** Where the cells lie in a picture; `x` and `y` take the border before a cell. */
export function frameOf(map, width, height) {
  const [nx, ny] = map.head.axes.map((axis) => axis.values.length);
  const left = EDGE.left, top = EDGE.top, wide = width - EDGE.left - EDGE.right, tall = height - EDGE.top - EDGE.bottom;
  return { left, top, wide, tall, nx, ny, x: (i) => left + (wide * i) / nx, y: (j) => top + tall - (tall * j) / ny };
}

/** Draw all that is known of a map. */
export function draw(map, pen, width, height, shades) {
  if (!map.head) return drawEmpty(pen, width, height, shades);
  const frame = frameOf(map, width, height);
  pen.fillStyle = shades.paper;
  pen.fillRect(frame.left, frame.top, frame.wide, frame.tall);
  for (const step of map.head.levels) drawLevel(map, pen, frame, step);
  pen.strokeStyle = shades.faint;
  pen.strokeRect(frame.left, frame.top, frame.wide, frame.tall);
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

function drawLevel(map, pen, frame, step) {
  const paths = {};
  for (const cell of map.cells.values()) {
    if (cell.step !== step) continue;
    const right = Math.min(cell.i + step, frame.nx), up = Math.min(cell.j + step, frame.ny);
    const x = Math.round(frame.x(cell.i)), y = Math.round(frame.y(up));
    (paths[cell.state] ??= new Path2D()).rect(x, y, Math.round(frame.x(right)) - x, Math.round(frame.y(cell.j)) - y);
  }
  for (const [name, path] of Object.entries(paths)) marked(pen, map.head.looks[name], path);
}

function drawAxes(map, pen, frame, shades, width, height) {
  const [x, y] = map.head.axes;
  pen.fillStyle = shades.ink;
  pen.textBaseline = "middle";
  pen.textAlign = "center";
  for (const [text, k] of marksOf(x, width / 90)) {
    pen.fillText(text, frame.x(k + 0.5), frame.top + frame.tall + 16);
  }
  pen.textAlign = "right";
  for (const [text, k] of marksOf(y, height / 60)) pen.fillText(text, frame.left - 8, frame.y(k + 0.5));
  pen.textAlign = "center";
  pen.fillText(fitted(pen, pretty(shortLabel(x)), width), frame.left + frame.wide / 2, height - 16);
  pen.save();
  pen.translate(14, frame.top + frame.tall / 2);
  pen.rotate(-Math.PI / 2);
  pen.fillText(fitted(pen, pretty(shortLabel(y)), frame.tall + 60), 0, 0);
  pen.restore();
}

const shortLabel = (axis) => (axis.field === "sung" ? axis.label : NAMES[axis.field] ? `${NAMES[axis.field]}${axis.unit ? ` [${axis.unit}]` : ""}` : axis.label);

function fitted(pen, text, width) {
  return pen.measureText(text).width < width ? text : text.split(",")[0];
}

/** Round numbers along an axis, and the places (in cells) where they stand. */
function marksOf(axis, most) {
  const first = axis.ticks[0], last = axis.ticks.at(-1), n = axis.ticks.length;
  if (!(last > first)) return [];
  return ticks(first, last, Math.max(2, most)).map((value) => [
    printed(value), ((value - first) / (last - first)) * (n - 1),
  ]);
}

function drawCursor(pen, frame, [i, j], shades) {
  const x = frame.x(i), y = frame.y(j + 1), wide = frame.wide / frame.nx, tall = frame.tall / frame.ny;
  pen.strokeStyle = shades.card;
  pen.lineWidth = 5;
  pen.strokeRect(x - 2, y - 2, wide + 4, tall + 4);
  pen.strokeStyle = shades.ink;
  pen.lineWidth = 2.5;
  pen.strokeRect(x - 2, y - 2, wide + 4, tall + 4);
  pen.lineWidth = 1;
}
