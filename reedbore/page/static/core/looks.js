// How a state of two notes looks, by day and by night: a colour and a mark, the same as on paper.

import { el } from "./dom.js";
import { onTheme } from "./theme.js";

const SIZE = 8;
const isDark = () => document.documentElement.dataset.theme === "dark";
export const colourOf = (look) => (isDark() ? look.dark : look.light);

function inkOn(colour) {
  const bright = [1, 3, 5].reduce((sum, k, n) => sum + parseInt(colour.slice(k, k + 2), 16) * [0.3, 0.59, 0.11][n], 0);
  return bright > 120 ? "#14120c6b" : "#fffaee6b";
}

/** A small square that repeats, with the mark of a look on it; null for none. */
function tile(look, dots) {
  if (!look.mark) return null;
  const sheet = document.createElement("canvas"), s = Math.round(SIZE * dots), m = s / 2;
  sheet.width = sheet.height = s;
  const pen = sheet.getContext("2d");
  pen.strokeStyle = pen.fillStyle = inkOn(colourOf(look));
  pen.lineWidth = dots;
  const line = (...p) => (pen.beginPath(), pen.moveTo(p[0], p[1]), pen.lineTo(p[2], p[3]), pen.stroke());
  const rising = () => (line(-1, s + 1, s + 1, -1), line(-1, 1, 1, -1), line(s - 1, s + 1, s + 1, s - 1));
  const falling = () => (line(-1, -1, s + 1, s + 1), line(s - 1, -1, s + 1, 1), line(-1, s - 1, 1, s + 1));
  const marks = {
    "/": rising, "\\": falling, x: () => (rising(), falling()), "-": () => line(0, m, s, m), "|": () => line(m, 0, m, s),
    "+": () => (line(m, 0, m, s), line(0, m, s, m)), ".": () => (pen.beginPath(), pen.arc(m, m, dots, 0, 7), pen.fill()),
    "*": () => (line(m, 1, m, s - 1), line(1, m, s - 1, m), rising(), falling()),
  };
  marks[look.mark]?.();
  return sheet;
}

/** Fill a path the way a state looks. */
export function marked(pen, look, path) {
  pen.fillStyle = colourOf(look);
  pen.fill(path);
  const dots = devicePixelRatio || 1, mark = tile(look, dots);
  if (!mark) return;
  const pattern = pen.createPattern(mark, "repeat");
  pattern.setTransform(new DOMMatrix().scale(1 / dots));
  pen.fillStyle = pattern;
  pen.fill(path);
}

/** A patch of it for a legend. */
export function swatch(look) {
  const sheet = el("canvas", { class: "swatch", "aria-hidden": "true" }), dots = devicePixelRatio || 1;
  const paint = () => {
    sheet.width = 32 * dots;
    sheet.height = 22 * dots;
    const pen = sheet.getContext("2d"), path = new Path2D();
    pen.scale(dots, dots);
    path.rect(0, 0, 32, 22);
    marked(pen, look, path);
  };
  paint();
  const leave = onTheme(() => (sheet.isConnected ? paint() : leave())); // a legend is made anew again and again
  return sheet;
}
