// The whole horn at a glance: every fingered note against all that a voice sings; a click sets and sounds a pair.

import { dropped } from "../../core/api.js";
import { canvas } from "../../core/canvas.js";
import { calmly, choice, el } from "../../core/dom.js";
import { midiName, pretty } from "../../core/notes.js";
import { ask, lines, startable } from "../../core/stream.js";
import { draw, look, under } from "./draw.js";

const HEIGHT = 520;
const LEGEND = [["yes", "a third note is heard"], ["uncertain", "perhaps heard"], ["same", "none: the fingered or the sung note itself"], ["no", "not heard"]];


export function start(root, state) {
  const view = { frame: null, found: new Map(), at: null, whose: "clock" };
  const says = el("p", { class: "caption", id: "atlas-says", "aria-live": "polite" });
  const list = el("div", { class: "chips", role: "group", "aria-label": "Over this note" });
  const picture = canvas((pen, width, height, shades) => draw(view, pen, width, height, shades), {
    label: "The whole horn", height: HEIGHT, focusable: true,
  });
  picture.sheet.setAttribute("role", "application");
  picture.sheet.setAttribute("aria-roledescription", "picture of the whole horn");
  picture.root.classList.add("atlas");
  const whose = choice("For", [["clock", "A voice like a clock"], ["singer", "A singer"]], (value) => {
    view.whose = value;
    runner.stop();
    ready();
  });
  whose.show(view.whose);
  const runner = startable({
    start: "Look at the whole horn", again: "Look again", cancel: "Stop here",
    work: (tell, signal) => fill(true, tell, signal),
  });
  const legend = el("ul", { class: "legend looks" }, LEGEND.map(([heard, words]) => el("li", {}, patch(heard), words)));
  const caution = el("p", { class: "hint" });
  root.append(el("div", { class: "row" }, whose.root, runner.root), picture.root, says, list, legend, caution);

  const given = Boolean(state.choices.atlas);
  runner.root.hidden = given;
  async function fill(make, tell, signal) {
    const body = { words: structuredClone(state.words), whose: view.whose, make, given };
    for await (const told of lines(await ask("/api/atlas", body, signal))) {
      if (told.frame) framed(told.frame);
      if (told.note) view.found.set(told.note, told), picture.again(), told.note === columnNote()?.midi && chips();
      if (told.stage) tell(`Listening over ${pretty(told.stage)}`, told.done);
    }
    tellSum();
    if (make && view.found.size < view.frame.notes.length) throw new Error("It broke off; what was found so far stays.");
    return `${view.frame.title}: ${pairsOf().length} pairs.`;
  }
  function framed(frame) {
    const other = !view.frame || frame.title !== view.frame.title || frame.notes.length !== view.frame.notes.length;
    view.frame = frame;
    view.found = new Map();
    if (other) view.at = null;
    caution.textContent = frame.says[view.whose];
    tellSum();
    picture.again();
  }
  const pairsOf = () => [...view.found.values()].flatMap((one) => one.pairs);
  function tellSum() {
    const missing = view.frame.notes.length - view.found.size;
    picture.say(`${view.frame.title}: ${view.frame.notes.length} fingered notes across, sung notes up, ${pairsOf().length} pairs that fall into step. `
      + "Arrow keys go from note to note, Enter sets and plays.");
    if (!view.at) says.textContent = missing ? "Dotted: where arithmetic puts the simple ratios. Choose a place to hear it; look at the whole horn to see which fall into step. "
      + "That takes minutes, may be stopped, and goes on where it was." : "Choose a mark to hear it.";
  }

  // --- choosing ----------------------------------------------------------------------------------

  const columnNote = () => view.at && view.frame.notes[view.at.column];
  function go(at) {
    view.at = at;
    const note = columnNote(), written = note.written === note.name ? "" : ` (written ${note.written})`;
    const about = view.found.get(note.midi);
    const sung = at.pair ? `${at.pair.sing} sung: ${at.pair.ratio}, ${at.pair.says}${at.pair.heard === "yes" ? `, ${at.pair.third}` : ""}; ${width(at.pair)}`
      : `${midiName(at.midi)} sung: ${about ? about.reason ?? "none of those that fall into step" : "not looked at yet"}`;
    says.textContent = pretty(`${note.name}${written} fingered, ${sung}.`);
    chips();
    picture.again();
  }
  function pick(at) {
    go(at);
    const patch = at.pair?.patch ?? { fingered: columnNote().name, sung: midiName(at.midi), settings: { "voice.frequency_hz": null } };
    state.set({ fingering: null, written: null, ...patch });
    state.play();
  }
  function chips() {
    const note = columnNote(), pairs = [...(view.found.get(note?.midi)?.pairs ?? [])].sort((one, two) => one.low - two.low);
    list.replaceChildren(...pairs.map((pair) => el("button", {
      type: "button", class: "chip", "aria-pressed": String(pair.ratio === view.at.pair?.ratio && pair.depth === view.at.pair.depth),
      onclick: () => pick({ column: view.at.column, midi: 0.5 * (pair.low + pair.high), pair }),
    }, pretty(`${pair.sing} · ${pair.ratio}`))));
  }
  const place = (event) => {
    const box = picture.sheet.getBoundingClientRect();
    return view.frame && under(view, box.width, box.height, event.clientX - box.left, event.clientY - box.top);
  };
  picture.sheet.addEventListener("pointermove", (event) => (picture.sheet.style.cursor = place(event) ? "pointer" : "default"));
  picture.sheet.addEventListener("click", (event) => {
    const at = place(event);
    if (at) pick(at);
  });
  picture.sheet.addEventListener("keydown", (event) => {
    if (!view.frame) return;
    const to = moved(view, event.key);
    if (to) go(to);
    else if ((event.key === "Enter" || event.key === " ") && view.at) pick(view.at);
    else return;
    event.preventDefault();
  });

  // --- what is known already ---------------------------------------------------------------------

  let looking = null;
  async function ready() {
    looking?.abort();
    looking = new AbortController();
    try {
      await fill(false, () => {}, looking.signal);
    } catch (error) {
      if (!dropped(error)) says.textContent = error.message;
    }
  }
  const bare = (words) => JSON.stringify({ ...words, fingered: "", sung: "", fingering: "", written: "",
    settings: { ...words.settings, "voice.drive": undefined, "voice.frequency_hz": undefined } });
  let before = bare(state.words);
  const calm = calmly(ready, 250);
  state.subscribe((words) => {
    if (bare(words) === before) return;
    before = bare(words);
    runner.stop();
    calm();
  });
  new IntersectionObserver(([seen], me) => seen.isIntersecting && (me.disconnect(), ready())).observe(root);
}

const width = ({ width_cents: cents }) => `give or take ${(cents / 2).toFixed(cents < 20 ? 1 : 0)} cents`;

/** The next place for an arrow key: from column to column, and there from pair to pair, or by semitones. */
function moved({ frame, found, at }, key) {
  const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[key];
  if (!step) return null;
  const from = at ?? { column: 0, midi: Math.round((frame.low + frame.high) / 2), pair: null };
  const column = Math.min(Math.max(from.column + step[0], 0), frame.notes.length - 1);
  const middles = (found.get(frame.notes[column].midi)?.pairs ?? []).map((pair) => ({ column, midi: 0.5 * (pair.low + pair.high), pair }));
  if (!middles.length) return { column, midi: Math.min(Math.max(Math.round(from.midi) + step[1], frame.low), frame.high), pair: null };
  if (!step[1]) return middles.reduce((best, one) => (Math.abs(one.midi - from.midi) < Math.abs(best.midi - from.midi) ? one : best));
  const beyond = middles.filter((one) => (one.midi - from.midi) * step[1] > 1e-6);
  return beyond.sort((one, two) => Math.abs(one.midi - from.midi) - Math.abs(two.midi - from.midi))[0] ?? from;
}

/** A patch for the legend. */
function patch(heard) {
  const made = canvas((pen, width, height, shades) => {
    const path = new Path2D();
    path.arc(width / 2, height / 2, 5, 0, 7);
    look(pen, shades, { heard }, path);
  }, { label: "", height: 18 });
  made.root.classList.add("patch");
  made.sheet.setAttribute("aria-hidden", "true");
  made.sheet.removeAttribute("role");
  return made.root;
}
