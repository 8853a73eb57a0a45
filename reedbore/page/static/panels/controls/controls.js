// What the player does: horn, fingered note, sung note, and how. Writes the state, shows the state.

import { choice, complain, el, field, slider } from "../../core/dom.js";
import { keyboard } from "../../core/keyboard.js";
import { midiName, midiOf, noteText, parseNote, pretty } from "../../core/notes.js";
import { DEMO } from "../../core/state.js";
import { startSettings } from "./settings.js";

const WIDEST_CENTS = 60;
const DYNAMICS = ["", "pp", "p", "mp", "mf", "f", "ff"];

export function startControls(root, state) {
  const parts = [horn, fingered, sung, strength].map((part) => part(state));
  const settings = startSettings(state);
  root.append(...parts.map((part) => part.root), settings.root);
  const show = () => parts.forEach((part) => part.show(state.words));
  const fields = Object.assign({}, ...parts.map((part) => part.fields));
  let marked = null;
  const mark = (input, text) => {
    if (marked) complain(marked);
    marked = input;
    if (input) complain(input, text);
  };
  state.watch(() => (mark(null), show()));
  state.on("trouble", ({ message, where }) => mark(fields[where] ?? settings.field(where), message));
  state.on("predicted", (told) => parts.forEach((part) => part.predicted?.(told)));
  show();
}

const hornOf = (state) => state.choices.horns.find((each) => each.name === state.words.horn) ?? state.choices.horns[0];
const voiceNamed = (state, name) => state.choices.voices.find((each) => each.name === name) ?? state.choices.voices[0];
const voiceOf = (state) => voiceNamed(state, state.words.voice);
const shiftOf = (state) => (state.words.written ? hornOf(state).transposition ?? 0 : 0);
const options = (list) => list.map((each) => el("option", { value: each.name }, each.title));
const inline = (one) => (one.root.classList.add("inline"), one);
const group = (title, ...kids) => el("fieldset", { class: "group" }, el("legend", {}, title), ...kids);

/** The fingered note as it sounds, whole; null if the text is no plain note. */
function fingeredMidi(state) {
  const text = state.words.fingered ?? "";
  const marked = text.startsWith("w:");
  const midi = parseNote(marked ? text.slice(2) : text);
  return midi === null ? null : midi - (marked ? hornOf(state).transposition : shiftOf(state));
}

/** The sung note, of a ratio too; null if only the server can read it. */
function sungMidi(state) {
  const text = (state.words.sung ?? "").trim(), from = fingeredMidi(state);
  const ratio = /^([1-9]\d*)\/([1-9]\d*)$/.exec(text);
  return ratio && from !== null ? from + 12 * Math.log2(ratio[1] / ratio[2]) : parseNote(text);
}

// --- the horn ------------------------------------------------------------------------------------

function horn(state) {
  const pick = el("select", { id: "horn", onchange: () => state.set(newHorn(state, pick.value)) }, options(state.choices.horns));
  state.on("choices", ({ horns }) => pick.replaceChildren(...options(horns)));
  const root = field("Horn", pick);
  root.classList.add("inline");
  return { root, fields: { horn: pick }, show: (words) => (pick.value = words.horn) };
}

/** Another horn: the same sounding note where it has it, else its nearest; its own reed and bore. */
export function newHorn(state, name) {
  const next = state.choices.horns.find((each) => each.name === name);
  const now = fingeredMidi(state) ?? next.notes[0].midi;
  const near = next.notes.reduce((best, note) => (Math.abs(note.midi - now) < Math.abs(best.midi - now) ? note : best));
  const settings = {};
  for (const key of Object.keys(state.words.settings)) if (/^(reed|bore|mouthpiece)\./.test(key)) settings[key] = null;
  const shift = state.words.written ? next.transposition : 0;
  return { horn: name, horn_text: next.text ?? null, fingered: midiName(near.midi + shift), fingering: null, settings };
}

/** Whether the fingered note is typed and told as it sounds, or as it is written for the horn. */
function spelling(state) {
  return choice("Notes are", [["", "concert"], ["w", "written"]], (value) => {
    const sounds = fingeredMidi(state), written = value === "w" || null;
    const shift = written ? hornOf(state).transposition : 0;
    state.set({ written, ...(sounds === null ? {} : { fingered: midiName(Math.round(sounds) + shift) }) });
  });
}

// --- the fingered note ---------------------------------------------------------------------------

function fingered(state) {
  const holder = el("div", {}), text = el("input", { type: "text", id: "fingered", autocomplete: "off", spellcheck: "false" });
  const names = spelling(state);
  const place = slider({ label: "Along the horn", low: 0, high: 1, step: 1, says: (k) => nameAt(k), move: (k, moving) => finger(notes()[k].midi, moving) });
  const other = el("select", { id: "fingering", onchange: () => state.set({ fingering: other.value || null, ...retuned }) });
  const others = field("Fingering", other);
  const notes = () => hornOf(state).notes;
  const nameAt = (k) => (notes()[k] ? pretty(midiName(notes()[k].midi + shiftOf(state))) : "");
  const retuned = { settings: { "bore.length_mm": null } };
  const finger = (midi, moving) => state.set({ fingered: midiName(midi + shiftOf(state)), fingering: null, ...retuned }, { moving });
  text.addEventListener("change", () => state.set({ fingered: text.value.trim(), fingering: null, ...retuned }));
  let keys = null, drawn = "";

  function draw() {
    const now = `${hornOf(state).title} ${shiftOf(state)}`;
    if (now === drawn) return;
    drawn = now;
    const shift = shiftOf(state), midis = notes().map((note) => note.midi);
    place.input.max = midis.length - 1;
    keys = keyboard({ label: `Fingered note, ${shift ? "written" : "concert"}, keyboard`, kind: "horn", low: Math.min(...midis) + shift, high: Math.max(...midis) + shift, pick: (midi, moving) => finger(midi - shift, moving) });
    holder.replaceChildren(keys.root);
  }
  function showMidi(midi) {
    keys.show(midi + shiftOf(state), midi - Math.round(midi));
    const at = notes().findIndex((note) => note.midi === Math.round(midi));
    if (at >= 0) place.show(at);
    const found = ["", ...(notes()[at]?.fingerings ?? [])];
    others.hidden = found.length < 2;
    other.replaceChildren(...found.map((name) => el("option", { value: name }, name || "plain")));
    other.value = state.words.fingering ?? "";
  }
  return {
    root: group("I finger", el("div", { class: "row" }, field("Note", text), others, names.root), inline(place).root, holder),
    fields: { fingered: text, fingering: other },
    show(words) {
      draw();
      names.show(words.written ? "w" : "");
      if (document.activeElement !== text) text.value = words.fingered;
      const midi = fingeredMidi(state);
      if (midi !== null) showMidi(midi);
    },
    predicted: (told) => showMidi(midiOf(told.fingered_hz, state.words.a4)),
  };
}

// --- the sung note -------------------------------------------------------------------------------

function sung(state) {
  let near = 62, keys = null, drawn = "";
  const holder = el("div", {});
  const who = el("select", { id: "singer", onchange: () => state.set({ voice: who.value, voice_text: voiceNamed(state, who.value).text ?? null }) }, options(state.choices.voices));
  state.on("choices", ({ voices }) => who.replaceChildren(...options(voices)));
  const text = el("input", { type: "text", id: "sung", autocomplete: "off", spellcheck: "false" });
  text.addEventListener("change", () => state.set({ sung: text.value.trim() || null }));
  const sing = (midi, cents, moving) => {
    near = midi;
    state.set({ sung: noteText(midi, cents) }, { moving });
  };
  const off = slider({
    label: "Cents off", low: -WIDEST_CENTS, high: WIDEST_CENTS, step: 0.1,
    says: (cents) => `${cents > 0 ? "+" : cents < 0 ? "−" : ""}${Math.abs(cents).toFixed(1)} cents`,
    move: (cents, moving) => sing(near, cents, moving),
  });
  const silent = nobodySings(state);
  const drive = choice("The voice is", [["", "a clock"], ["folds", "vocal folds"]], (value) =>
    state.set({ settings: { "voice.drive": value || null } }));
  function showMidi(midi) {
    near = Math.abs(midi - near) <= WIDEST_CENTS / 100 ? near : Math.round(midi);
    keys.show(near, midi - near);
    off.show(Math.round((midi - near) * 1000) / 10);
  }
  function draw() {
    const { title, low, high } = voiceOf(state);
    if (title === drawn) return;
    drawn = title;
    const ends = [low, high].map((end) => (typeof end === "number" ? end : parseNote(end)));
    keys = keyboard({ label: "Sung note, keyboard", kind: "voice", low: ends[0], high: ends[1], pick: (midi, moving) => sing(midi, 0, moving) });
    holder.replaceChildren(keys.root);
  }
  return {
    root: group("I sing",
      el("div", { class: "row" }, field("Note or ratio", text), field("Voice", who)),
      inline(off).root, holder, el("div", { class: "row" }, drive.root, silent.root)),
    fields: { sung: text, voice: who },
    show(words) {
      draw();
      who.value = voiceOf(state).name;
      silent.show(words);
      drive.show(words.settings["voice.drive"] === "folds" ? "folds" : "");
      if (document.activeElement !== text) text.value = words.sung ?? "";
      const midi = sungMidi(state);
      if (midi !== null) showMidi(midi);
      else if (words.sung === null) keys.show(null);
      off.input.disabled = words.sung === null;
    },
    predicted: (told) => told.sung_hz && showMidi(midiOf(told.sung_hz, state.words.a4)),
  };
}

/** A box to tick while only the horn plays; the note that was sung before comes back. */
function nobodySings(state) {
  const box = el("input", { type: "checkbox", id: "unsung" });
  let before = DEMO.sung;
  box.addEventListener("change", () => {
    if (box.checked) before = state.words.sung ?? before;
    state.set({ sung: box.checked ? null : before });
  });
  const root = el("p", { class: "check" }, box, el("label", { for: "unsung" }, "Nobody sings"));
  return { root, show: (words) => (box.checked = words.sung === null) };
}

// --- how strongly --------------------------------------------------------------------------------

function strength(state) {
  const usual = () => voiceOf(state).depth ?? 0.1;
  const depth = slider({
    label: "How strongly I sing", low: 0, high: 0.5, step: 0.01,
    says: (value) => `${value.toFixed(2)}, ${strengthWord(value)}`,
    move: (value, moving) => state.set({ depth: value, settings: { "voice.depth": null } }, { moving }),
  });
  const breath = choice("How hard I blow", DYNAMICS.map((word) => [word, word || "usual"]), (word) =>
    state.set({ breath: word || null, settings: { "breath.pressure_kpa": null } }));
  const kpa = el("input", { type: "number", id: "breath-kpa", min: 0.5, max: 15, step: 0.05, inputmode: "decimal" });
  kpa.addEventListener("change", () => kpa.validity.badInput ? complain(kpa, "This is no number; write one such as 2.7") : state.set({ breath: kpa.value ? `${kpa.value}kPa` : null, settings: { "breath.pressure_kpa": null } }));
  state.onJudged((told) => (kpa.placeholder = Number(told.settings?.["breath.pressure_kpa"] ?? NaN).toFixed(2).replace("NaN", "")));
  return {
    root: group("Depth and breath", depth.root, breath.root, inline({ root: field("in kPa", kpa) }).root),
    fields: { depth: depth.input, breath: kpa },
    show(words) {
      depth.show(words.depth ?? words.settings["voice.depth"] ?? usual());
      const pressure = words.settings["breath.pressure_kpa"] ?? /^([\d.]+) *kPa$/i.exec(words.breath ?? "")?.[1];
      breath.show(pressure === undefined ? words.breath ?? "" : "none of them");
      if (document.activeElement !== kpa) kpa.value = pressure ?? "";
    },
  };
}

function strengthWord(depth) {
  if (depth === 0) return "no voice";
  if (depth > 0.3) return "exaggerated";
  return depth < 0.08 ? "a soft hum" : depth < 0.17 ? "normal" : "strong";
}
