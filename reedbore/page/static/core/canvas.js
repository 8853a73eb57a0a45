// A canvas as sharp as the screen, drawn again when its size or the colours change.

import { el } from "./dom.js";
import { colours, onTheme } from "./theme.js";

/** canvas(draw, label): `draw(pen, width, height, colours)` in CSS pixels. Returns {root, again}. */
export function canvas(draw, { label, height, focusable = false }) {
  const sheet = el("canvas", { role: "img", "aria-label": label, tabindex: focusable ? "0" : null });
  const root = el("div", { class: "figure" }, sheet);
  root.style.setProperty("--height", `${height}px`);
  const again = () => {
    const { width, height: tall } = root.getBoundingClientRect();
    if (!width) return;
    const dots = devicePixelRatio || 1;
    sheet.width = Math.round(width * dots);
    sheet.height = Math.round(tall * dots);
    const pen = sheet.getContext("2d");
    pen.scale(dots, dots);
    const size = 0.94 * parseFloat(getComputedStyle(document.documentElement).fontSize);
    pen.font = `${size}px ${getComputedStyle(document.body).getPropertyValue("--plain")}`;
    draw(pen, width, tall, colours());
  };
  let forget = null;
  new ResizeObserver(() => {
    if (root.isConnected) forget ??= onTheme(again);
    else forget = void forget?.();
    again();
  }).observe(root); // tells of a root that comes and of one that goes, too
  const say = (text) => sheet.setAttribute("aria-label", text);
  return { root, sheet, again, say };
}

/** A drawing that is kept, and made anew only for another size, other colours, or another `of`. */
export function kept(draw) {
  let under = null, made = "";
  return (pen, width, height, shades, of) => {
    const now = JSON.stringify([width, height, pen.canvas.width, shades, of]);
    if (now !== made) {
      under = Object.assign(document.createElement("canvas"), { width: pen.canvas.width, height: pen.canvas.height });
      const other = under.getContext("2d");
      other.setTransform(pen.getTransform());
      other.font = pen.font;
      draw(other, width, height, shades);
      made = now;
    }
    pen.save();
    pen.resetTransform();
    pen.drawImage(under, 0, 0);
    pen.restore();
  };
}

/** Two to about `most` round numbers from low to high. */
export function ticks(low, high, most) {
  const rough = (high - low) / most, ten = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((k) => k * ten).find((each) => each >= rough);
  const found = [];
  for (let at = Math.ceil(low / step) * step; at <= high + 1e-9; at += step) found.push(Math.abs(at) < step / 1e6 ? 0 : at);
  return found;
}

/** A number as it is printed, with a true minus. */
export const printed = (value, digits = 4) => String(Number(value.toPrecision(digits))).replace("-", "−");
