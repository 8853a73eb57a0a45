// The lock map: asked for, drawn while it comes, read and played cell by cell.

import { canvas, printed } from "../../core/canvas.js";
import { complain, el, field } from "../../core/dom.js";
import { swatch } from "../../core/looks.js";
import { cellAt, draw, moved, NAMES } from "./draw.js";
import { linesOf } from "./lines.js";
import { pretty } from "../../core/notes.js";
import { ask, lines, patched, startable } from "../../core/stream.js";

const FINENESS = [["12", "coarse: 12 × 13"], ["24", "usual: 24 × 25"], ["40", "fine: 40 × 41"]];
const HEIGHT = 460;

export function start(root, state) {
  const map = { head: null, cells: new Map(), lines: [], words: null, at: null };
  const asking = startAsking(state);
  const says = el("p", { class: "caption cell-says", "aria-live": "polite" }, "No map yet. It takes from some seconds to a minute.");
  const stale = el("p", { class: "hint", hidden: true });
  const legend = el("ul", { class: "legend looks" });
  const picture = canvas((pen, width, height, shades) => draw(map, pen, width, height, shades), {
    label: "Lock map, not computed yet", height: HEIGHT, focusable: true,
  });
  picture.sheet.setAttribute("role", "application");
  picture.sheet.setAttribute("aria-roledescription", "lock map");
  const view = { map, state, picture, says, legend, stale };
  const runner = startable({
    start: "Compute the map", again: "Compute it again", cancel: "Call it off",
    work: (tell, signal) => compute(view, asking, tell, signal),
  });
  root.append(asking.root, runner.root, picture.root, says, stale, legend);
  listen(view);
  state.subscribe(() => tellStale(view));
}

// --- asking --------------------------------------------------------------------------------------

function startAsking(state) {
  const known = Object.keys(NAMES).filter((name) => name === "sung" || state.choices.quantities[name]);
  const axis = (title, chosen) => {
    const options = known.map((name) => el("option", { value: name, selected: name === chosen }, NAMES[name] + unitOf(state, name)));
    const pick = el("select", {}, options);
    const from = el("input", { type: "text", placeholder: "by itself", size: 8 });
    const to = el("input", { type: "text", placeholder: "by itself", size: 8 });
    pick.addEventListener("change", () => (from.value = to.value = ""));
    const box = el("div", { class: "row" }, field(title, pick), field(`${title}: from`, from), field("to", to));
    to.setAttribute("aria-label", `${title}: to`);
    const asked = (count) => ({ field: pick.value, start: from.value.trim() || null, stop: to.value.trim() || null, count });
    const fields = [pick, from, to], suspect = () => [from, to].find((one) => one.value.trim()) ?? pick;
    const mark = (text) => fields.forEach((one) => complain(one, text && one === suspect() ? text : ""));
    fields.forEach((one) => one.addEventListener("change", () => mark("")));
    return { root: box, asked, mark };
  };
  const across = axis("Across", "voice.depth"), up = axis("Up", "sung");
  const fine = el("select", {}, FINENESS.map(([value, text]) => el("option", { value, selected: value === "24" }, text)));
  const hint = el("p", { class: "hint" }, "By itself the map looks at the sung note 6 cents either way of its just one, against "
    + "depths from a soft hum to a strong one. For the sung note write a note (D4), or a ratio and cents (5/2-20c); for the rest, numbers.");
  const root = el("div", { class: "asking" }, across.root, up.root, field("Cells", fine),
    el("details", { class: "more" }, el("summary", {}, "What can I write here?"), hint));
  return {
    root,
    /** Tell at an axis what is wrong with it; with nothing to tell, that nothing is. */
    mark: ({ where, message = "" } = {}) => Object.entries({ across, up }).forEach(([name, each]) => each.mark(name === where ? message : "")),
    along: () => [across.asked(Number(fine.value)), up.asked(Number(fine.value) + 1)],
  };
}

function unitOf(state, name) {
  const unit = name === "sung" ? "cents" : state.choices.quantities[name].unit;
  return unit ? ` [${unit}]` : "";
}

async function compute(view, asking, tell, signal) {
  const { map, state } = view;
  const words = structuredClone(state.words);
  tell("Tuning the horn …");
  asking.mark();
  const answer = await ask("/api/map", { words, along: asking.along() }, signal).catch((error) => {
    asking.mark(error);
    throw error;
  });
  const told = lines(answer);
  let open = 0, begun = false;
  for await (const one of told) {
    if (one.axes) {
      Object.assign(map, { head: one, words, cells: new Map(), lines: [], at: null });
      begun = true;
      begin(view);
      continue;
    }
    const key = keyOf(one.i, one.j), before = map.cells.get(key);
    map.cells.set(key, { ...one, step: before?.step ?? stepOf(map.head, one) });
    open += (one.state === "undecided") - (before?.state === "undecided");
    const { step } = map.cells.get(key), done = map.cells.size, total = map.head.total;
    paint(view, () => {
      if (signal.aborted) return;
      if (done === total) tell(`All ${total} are there; looking longer at ${open} that are hard to tell …`, 1);
      else tell(`${levelWords(step)}, ${done} of ${total} cells`, done / total);
    });
  }
  // Whatever has come but was not read yet is lost with the connection.
  if (!begun) throw new Error("The map broke off before its first cell.");
  drop(view);
  if (map.cells.size < map.head.total) throw new Error(`The map broke off after ${map.cells.size} of ${map.head.total} cells.`);
  return `Done: ${map.head.total} cells. ${sums(map)}`;
}

const keyOf = (i, j) => `${i},${j}`;
const stepOf = (head, { i, j }) => head.levels.find((step) => i % step === 0 && j % step === 0);
const levelWords = (step) => ({ 8: "Coarse", 4: "Finer", 2: "Finer still" })[step] ?? "Every cell";

function sums(map) {
  const found = [...map.cells.values()].filter((cell) => cell.state === "locked");
  const sung = map.head.axes.find((axis) => axis.field === "sung");
  const step = sung && printed(sung.ticks[1] - sung.ticks[0], 2);
  const missed = sung ? ` The sung note moves in steps of ${step} c: a narrower lock can fall between the cells.` : "";
  if (!found.length) return `None of them locks: look nearer to the just note, or sing more strongly.${missed}`;
  const ratios = [...new Set(found.map((cell) => cell.ratio))];
  return `${found.length} of them lock, at ${ratios.join(", ")}.${missed}`;
}

function begin(view) {
  const [x, y] = view.map.head.axes;
  view.legend.replaceChildren();
  view.picture.say(`Lock map of ${view.map.head.title}: ${x.label} across, ${y.label} up. Arrow keys go from cell to cell, Enter plays one.`);
  view.says.textContent = "";
  view.map.at = [x.here, y.here];
  tellStale(view);
  drop(view);
}

/** Draw once the burst of cells is in, and tell how far it is. */
function paint(view, tell) {
  view.tell = tell;
  view.waiting ??= requestAnimationFrame(() => {
    view.tell();
    drop(view);
  });
}

function drop(view) {
  cancelAnimationFrame(view.waiting);
  view.waiting = null;
  view.map.lines = linesOf(view.map);
  view.picture.again();
  tellLegend(view);
  if (view.says.textContent) view.says.textContent = cellWords(view.map);
}

// --- reading and playing a cell ------------------------------------------------------------------

function listen(view) {
  const { map, picture } = view;
  const sheet = picture.sheet;
  sheet.addEventListener("pointermove", (event) => {
    const at = cellAt(map, sheet, event);
    sheet.style.cursor = at ? "pointer" : "default";
    if (at && String(at) !== String(map.at)) go(view, at);
  });
  sheet.addEventListener("click", (event) => {
    const at = cellAt(map, sheet, event);
    if (at) (go(view, at), choose(view));
  });
  sheet.addEventListener("keydown", (event) => keyed(view, event));
  sheet.addEventListener("focus", () => map.at && go(view, map.at));
}

function keyed(view, event) {
  const { map } = view;
  if (!map.head || !map.at) return;
  const to = moved(map, map.at, event, 4);
  if (to) go(view, to);
  else if (event.key === "Enter" || event.key === " ") choose(view);
  else return;
  event.preventDefault();
}

function go(view, at) {
  view.map.at = at;
  view.says.textContent = cellWords(view.map);
  view.picture.again();
}

/** What stands under the cursor: its own cell, or the coarse one that covers it. */
function cellUnder({ head, cells }, [i, j]) {
  for (const step of [...head.levels].reverse()) {
    const cell = cells.get(keyOf(i - (i % step), j - (j % step)));
    if (cell) return cell;
  }
  return null;
}

function cellWords(map) {
  const cell = cellUnder(map, map.at);
  const place = cell ? [cell.i, cell.j] : map.at;
  const told = map.head.axes.map((axis, n) => {
    const text = axis.texts[place[n]];
    return axis.field === "sung" || axis.field === "voice.frequency_hz" ? `${text} sung` : `${NAMES[axis.field] ?? axis.field} ${text}`;
  });
  told.sort((one, two) => one.endsWith("sung") < two.endsWith("sung") ? 1 : -1);
  const pair = `${map.head.fingered} fingered, ${told.join(", ")}`;
  return pretty(cell ? `${pair}: ${outcome(map, cell)}` : `${pair}: not computed yet.`);
}

function outcome(map, cell) {
  const words = [cell.ratio, map.head.looks[cell.state].says].filter(Boolean).join(", ");
  const more = [];
  if (cell.state !== "locked" && cell.beat) more.push(`it moves ${Math.abs(cell.beat).toFixed(Math.abs(cell.beat) < 1 ? 2 : 1)} times a second`);
  if (cell.third && cell.third !== "none") more.push(`common note: ${cell.third}`);
  if (cell.jumped) more.push("the horn has left its register");
  return `${[words, ...more].join("; ")}.`;
}

function choose({ map, state }) {
  if (!map.at) return;
  const cell = cellUnder(map, map.at), place = cell ? [cell.i, cell.j] : map.at;
  state.replace(patched(map.words, ...map.head.axes.map((axis, n) => axis.patches[place[n]])));
  state.play();
}

// --- legend, and whether the map is still of what is set -----------------------------------------

function tellLegend({ map, legend }) {
  const found = Object.keys(map.head.looks).filter((name) => [...map.cells.values()].some((cell) => cell.state === name));
  const just = map.lines.map(({ ratio }) => ratio).join(", ");
  const of = `${found}; ${just}`;
  if (legend.dataset.of === of && legend.children.length) return;
  legend.dataset.of = of;
  legend.replaceChildren(...found.map((name) => el("li", {}, swatch(map.head.looks[name]), map.head.looks[name].says)),
    ...(just ? [el("li", {}, el("span", { class: "line-swatch", "aria-hidden": "true" }), `sung exactly ${just} of what the horn plays alone`)] : []));
}

function tellStale({ map, state, stale }) {
  if (!map.head) return;
  const sorted = (one) => Object.entries(one).sort(([a], [b]) => (a < b ? -1 : 1));
  const bare = (words) => {
    const { settings, ...rest } = patched(words, ...map.head.axes.map((axis) => axis.patches[0]));
    return JSON.stringify([sorted(rest), sorted(settings)]);
  };
  stale.hidden = bare(map.words) === bare(state.words);
  stale.textContent = pretty(`This map is of ${map.head.title}, as it was set then; the controls now tell something else. A cell sets them back.`);
}
