// A swept lock map on a page of its own: read cell by cell, with where to aim. All that it shows is inside the page.

import { canvas, kept } from "../../../core/canvas.js";
import { el } from "../../../core/dom.js";
import { swatch } from "../../../core/looks.js";
import { midiOf, noteText, pretty } from "../../../core/notes.js";
import { startTheme } from "../../../core/theme.js";
import { cellAt, drawAxes, drawCells, drawCursor, frameOf, moved } from "../draw.js";
import { drawBands, drawRatios } from "./bands.js";
import { drawCourse, drawPointer, stripOf } from "./course.js";

const EDGE = { left: 84, right: 12, top: 10, bottom: 30 }, NARROW = 560; // [px]
const FAR = 10; // cells at a time, with Shift
const find = (id) => document.getElementById(id);

// --- what is in the page -------------------------------------------------------------------------

async function unpacked(text, Kind) {
  const bytes = Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Kind(await new Response(stream).arrayBuffer());
}

/** The sweep: `head` as any map has it, all cells in one row, and which slice `z` is seen. */
async function read(data) {
  const { x, y, z } = data.axes, axes = [x, y].filter(Boolean);
  for (const axis of axes) Object.assign(axis, { marks: axis.ticks });
  const [state, ratio, jumped] = await Promise.all([data.state, data.ratio, data.jumped].map((text) => unpacked(text, Uint8Array)));
  const [played, drift] = await Promise.all([data.played, data.drift].map((text) => unpacked(text, Int32Array)));
  const number = (whole, grain) => (whole === data.grain.missing ? null : whole * grain);
  const cells = Array.from(state, (code, k) => ({
    state: data.looks[code].state, ratio: data.ratios[ratio[k]], jumped: Boolean(jumped[k]),
    played: number(played[k], data.grain.played), drift: number(drift[k], data.grain.drift),
  }));
  const looks = Object.fromEntries(data.looks.map((look) => [look.state, look]));
  const drawn = axes.map((axis, n) => ({ ...axis, label: n ? axis.label : "" })); // the one across is told below
  return { ...data, head: { axes: drawn, looks }, cells, apart: z, at: [0, 0], z: 0, aimed: -1 };
}

const counts = ({ head, apart }) => [head.axes[0], head.axes[1], apart].map((axis) => axis?.values.length ?? 1);

function cellOf(sweep, [i, j] = sweep.at, z = sweep.z) {
  const [nx, ny] = counts(sweep);
  return sweep.cells[(z * ny + j) * nx + i];
}

/** Cells of a slice that stand beside each other and look the same, as blocks. */
function blocks(sweep) {
  const [nx, ny] = counts(sweep), found = [];
  for (let j = 0; j < ny; j += 1) {
    for (let i = 0; i < nx; i += 1) {
      const { state } = cellOf(sweep, [i, j]), last = found.at(-1);
      if (i && last.state === state) last.wide += 1;
      else found.push({ i, j, wide: 1, tall: 1, state });
    }
  }
  return found;
}

// --- drawing -------------------------------------------------------------------------------------

function edgeOf(sweep, width, height) {
  const edge = width < NARROW ? { ...EDGE, left: EDGE.left - 22 } : EDGE;
  return sweep.head.axes[1] ? edge : stripOf(edge, height);
}

function drawing(sweep) {
  const ground = kept((pen, width, height, shades) => {
    const frame = frameOf(sweep, width, height);
    drawCells(pen, sweep.head.looks, frame, blocks(sweep));
    if (!sweep.head.axes[1]) drawCourse(sweep, pen, frame, EDGE.top, shades);
    drawBands(sweep, pen, frame, shades);
    pen.lineWidth = 1;
    drawAxes(sweep, pen, frame, shades, width, height);
    drawRatios(sweep, pen, frame, shades);
  });
  return (pen, width, height, shades) => {
    sweep.edge = edgeOf(sweep, width, height);
    ground(pen, width, height, shades, sweep.z);
    const frame = frameOf(sweep, width, height);
    if (!sweep.head.axes[1]) drawPointer(sweep, pen, frame, EDGE.top, shades);
    drawCursor(pen, frame, sweep.at, shades);
  };
}

// --- words ---------------------------------------------------------------------------------------

function noteOf({ a4 }, hz) {
  const midi = midiOf(hz, a4), whole = Math.floor(midi + 0.5);
  return noteText(whole, Math.round(100 * (midi - whole)));
}

const withHz = (sweep, hz) => `${noteOf(sweep, hz)} (${hz.toFixed(2)}\u00a0Hz)`;
const over = ({ fingered }, cents) => fingered * 2 ** (cents / 1200);

function valueWords(sweep, axis, k) {
  const value = axis.values[k];
  if (axis.sung) return withHz(sweep, axis.cents ? over(sweep, value) : value);
  const named = axis.named.length ? ` (${axis.named[k]})` : "";
  return `${Number(value.toPrecision(4))} ${axis.unit}`.trim() + named;
}

/** Each axis with the place on it, the one that runs up first. */
const places = ({ axes: { x, y, z }, at, z: slice }) => [[y, at[1]], [x, at[0]], [z, slice]].filter(([axis]) => axis);

function command(sweep) {
  const place = Object.fromEntries(places(sweep).map(([axis, k]) => {
    const value = axis.values[k], sign = axis.cents && value >= 0 ? "+" : "";
    return [axis.name, `${axis.name}=${sign}${Number(value.toPrecision(12))}${axis.cents ? "c" : ""}`];
  }));
  return `reedbore render --from ${sweep.file} ${sweep.order.map((name) => `--at ${place[name]}`).join(" ")}`;
}

function commonWords(sweep, { state, ratio: [p, q], played }) {
  if (!q || played === null) return "none";
  if (q === 1) return "the fingered one: no third note";
  if (p === 1) return "the sung one: no third note";
  const hz = over(sweep, played) / q, [sure, none] = sweep.pitch;
  const low = hz < none ? ", too low for a note" : hz < sure ? ", perhaps too low for a note" : "";
  return withHz(sweep, hz) + low + (state === "drifting" ? ", not steady" : "");
}

/** Locks that lie within the cell, though it may be wider than they are. */
function locksInside({ axes: { x, y }, at, z, edges, ...sweep }) {
  const axis = y?.sung ? y : x.sung ? x : null;
  if (!axis) return [];
  const k = axis === x ? at[0] : at[1], column = axis === x ? 0 : z * x.values.length + at[0];
  const inside = ({ low, high }) => low[column] !== null && high[column] > axis.rims[k] && low[column] < axis.rims[k + 1];
  return edges.filter(inside).map(({ ratio, low: { [column]: low }, high: { [column]: high } }) => ["lock in it",
    `${ratio}: ${sweep.does} ${noteOf(sweep, over(sweep, (low + high) / 2))}, ${Number((high - low).toPrecision(2))} cents wide`]);
}

function facts(sweep) {
  const cell = cellOf(sweep), { ratio: [p, q], played, drift, jumped } = cell;
  const told = places(sweep).map(([axis, k]) => [axis.sung ? sweep.does : axis.name, valueWords(sweep, axis, k), axis.says]);
  if (sweep.sung) told.push([sweep.does, withHz(sweep, sweep.sung), "the same everywhere"]);
  told.push(["ratio", q ? `${p}/${q}` : "none", "sung/fingered"], ["common note", commonWords(sweep, cell)]);
  told.push(["played", played === null ? "nothing" : withHz(sweep, over(sweep, played)) + (jumped ? ", left its register" : "")]);
  if (drift !== null && cell.state !== "locked") told.push(["beat", `${drift.toFixed(2)} Hz`]);
  return [...told, ...locksInside(sweep)];
}

// --- what stands on the page ---------------------------------------------------------------------

function tellCell(sweep) {
  const look = sweep.head.looks[cellOf(sweep).state];
  find("state").replaceChildren(swatch(look), look.says);
  find("facts").replaceChildren(...facts(sweep).flatMap(([name, words, hint]) => [el("dt", { title: hint }, name), el("dd", {}, pretty(words))]));
  find("listen").textContent = command(sweep);
  if (!sweep.apart) return;
  find("step").value = sweep.z;
  find("slice-value").textContent = valueWords(sweep, sweep.apart, sweep.z);
}

function legend(sweep) {
  const there = new Set(sweep.cells.map(({ state }) => state)), looks = Object.values(sweep.head.looks);
  find("legend").replaceChildren(...looks.filter(({ state }) => there.has(state)).map((look) => el("li", {}, swatch(look), look.says)),
    ...(sweep.edges.length ? [el("li", {}, "Bands with rims: locks, however narrow; dotted: perhaps a lock, too narrow to be sure")] : []));
}

function aims(sweep, go) {
  if (!sweep.aims.length) {
    return sweep.axes.x.sung || sweep.axes.y?.sung ? "No lock was found."
      : "The sung note is the same everywhere: look for the darkest cells.";
  }
  const heads = ["ratio", sweep.does, "common note", "width"].map((words) => el("th", { scope: "col" }, words));
  const rows = sweep.aims.map((aim, k) => {
    const button = el("button", { type: "button", class: "quiet", onclick: () => ((sweep.aimed = k), go(aim.at)) }, aim.ratio);
    button.setAttribute("aria-label", `go to ${aim.ratio}, ${sweep.does} ${aim.note}`);
    const width = `${aim.exact ? "" : "about "}${Number(aim.width.toPrecision(2))} c`;
    return el("tr", {}, el("td", {}, button), [aim.note, aim.third, width].map((words) => el("td", {}, pretty(words))));
  });
  return el("table", { class: "plain" }, el("thead", {}, el("tr", {}, heads)), el("tbody", {}, rows));
}

/** Where a key leads, as places across, up and apart; null for a key of the browser's own. */
function keyed(sweep, event) {
  if (event.ctrlKey || event.metaKey || event.altKey) return null;
  const { at: [i, j], z } = sweep, last = counts(sweep)[0] - 1;
  if (event.key.toLowerCase() === "n" && sweep.aims.length) {
    sweep.aimed = (sweep.aimed + 1) % sweep.aims.length;
    return sweep.aims[sweep.aimed].at;
  }
  const to = { Home: [0, j, z], End: [last, j, z], PageUp: [i, j, z + 1], PageDown: [i, j, z - 1] }[event.key];
  const step = moved(sweep, sweep.at, event, FAR);
  return to ?? (step && [...step, z]);
}

function listen(sweep, sheet, go) {
  const point = (event) => {
    const at = cellAt(sweep, sheet, event);
    if (at && String(at) !== String(sweep.at)) go([...at, sweep.z]);
  };
  sheet.addEventListener("pointermove", point);
  sheet.addEventListener("pointerdown", point);
  sheet.addEventListener("keydown", (event) => {
    const to = keyed(sweep, event);
    if (!to) return;
    event.preventDefault();
    go(to);
  });
}

function tellAround(sweep, go) {
  const { x, y } = sweep.axes, words = (axis) => axis.label + (axis.sung ? "" : ` · ${axis.name}`);
  find("title").textContent = pretty(sweep.title);
  find("subtitle").textContent = pretty(sweep.subtitle);
  find("across").textContent = words(x) + (y ? `; upwards: ${words(y)}` : "");
  find("says").replaceChildren(...sweep.says.map((text) => el("p", {}, pretty(text))));
  find("aims").replaceChildren(aims(sweep, go));
  legend(sweep);
  if (!sweep.apart) return;
  find("slice").hidden = false;
  find("slice-name").textContent = sweep.apart.name;
  Object.assign(find("step"), { max: sweep.apart.values.length - 1, oninput: () => go([...sweep.at, Number(find("step").value)]) });
  find("keys").append(` Page Up and Page Down change ${sweep.apart.name}.`);
}

async function start() {
  startTheme(find("theme"));
  const sweep = await read(JSON.parse(find("data").textContent)), { x, y } = sweep.axes;
  const picture = canvas(drawing(sweep), { label: `Lock map: ${sweep.title}. ${x.label}${y ? `, ${y.label}` : ""}`, focusable: true });
  for (const [name, value] of [["role", "application"], ["aria-describedby", "keys cell"]]) picture.sheet.setAttribute(name, value);
  const go = (to) => {
    const [i, j, z] = counts(sweep).map((n, k) => Math.min(Math.max(to[k], 0), n - 1));
    Object.assign(sweep, { at: [i, j], z });
    picture.again();
    tellCell(sweep);
  };
  find("picture").append(picture.root);
  listen(sweep, picture.sheet, go);
  tellAround(sweep, go);
  const rank = ({ third, width }) => (third === "none" ? 0 : 1e6) + width; // the widest lock whose common note is a third one first
  const widest = [...sweep.aims].sort((a, b) => rank(b) - rank(a))[0];
  go(widest?.at ?? counts(sweep).map((n) => n >> 1));
}

start();
