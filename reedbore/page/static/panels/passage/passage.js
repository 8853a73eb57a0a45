// A passage: the étude or one's own, seen as notes, played with a moving line, judged note by note.

import { dropped, postFile } from "../../core/api.js";
import { calmly, el, field, slider } from "../../core/dom.js";
import { ask, lines, startable } from "../../core/stream.js";
import { droppable } from "./dropping.js";
import { READING, tableOf, typed } from "./rows.js";
import { createSheet } from "./sheet.js";
import { createSound, startSounding } from "./sounding.js";

const LARGEST = 20e6; // [bytes] of a passage file
const SCORES = ".mid,.midi,.musicxml,.mxl,.xml,.toml";

export function start(root, state, player) {
  const says = el("p", { class: "caption", "aria-live": "polite" });
  const music = startMusic(state, says);
  const loop = el("select", { id: "passage-loop" });
  const play = el("button", { type: "button", id: "passage-play", class: "quiet" }, "Play");
  const result = el("div", {});
  const sheet = createSheet({ label: "The passage", pick: (at) => sounding.play(at) });
  const sounding = startSounding({ player, sheet, who: "passage", button: play });
  const view = { state, music, sheet, sounding, result, loop, says, plan: null };
  const runner = startable({
    start: "Play and judge it", again: "Play and judge it again", cancel: "Call it off",
    work: (tell, signal) => judged(view, tell, signal),
  });
  loop.addEventListener("change", () => sounding.only(barsOf(view.plan)[Number(loop.value)] ?? null));
  root.append(music.root, el("div", { class: "row transport" }, runner.root, play, field("Loop", loop)),
    says, sheet.root, result);
  droppable(root, (file) => music.open(file));

  let looking = null;
  const look = async () => {
    looking?.abort();
    looking = new AbortController();
    try {
      for await (const told of lines(await ask("/api/passage", { ...music.asked(), words: state.words, look: true }, looking.signal)))
        shown(view, told);
    } catch (error) {
      if (!dropped(error)) says.textContent = error.message;
    }
  };
  const calm = calmly(look, 250);
  music.onChange(() => (runner.stop(), sounding.stop(), calm()));
  const bare = ({ horn, horn_text, voice, voice_text, a4 }) => JSON.stringify([horn, horn_text, voice, voice_text, a4]);
  let before = bare(state.words);
  state.subscribe((words) => {
    if (bare(words) !== before) (before = bare(words)), calm();
  });
  state.passage = { asked: () => music.asked().passage, title: () => music.title(), plan: async () => (view.plan || (await look()), view.plan) };
  new IntersectionObserver(([seen], me) => seen.isIntersecting && (me.disconnect(), look())).observe(root);
}

/** The plan is known: what is asked for stands there before anything sounds. */
function shown(view, plan) {
  view.plan = plan;
  view.sheet.show(plan);
  view.sounding.set(null);
  view.sounding.only(null);
  view.result.replaceChildren();
  view.says.textContent = [...view.music.said(), ...plan.warnings].join(" ");
  const bars = barsOf(plan);
  view.loop.replaceChildren(el("option", { value: "" }, "off"),
    ...bars.map((_, k) => el("option", { value: k }, `bar ${k + 1}`)));
}

const barsOf = (plan) => (plan?.bars ?? []).map((begin, k) => ({ begin, end: plan.bars[k + 1] ?? plan.seconds }));

async function judged(view, tell, signal) {
  const { state, music, sounding } = view, words = structuredClone(state.words), sound = createSound();
  tell("Reading the notes …");
  let over = false;
  for await (const told of lines(await ask("/api/passage", { ...music.asked(), words }, signal))) {
    if (told.title) shown(view, told);
    if (told.stage) tell(`${told.stage[0].toUpperCase()}${told.stage.slice(1)} …`);
    if (told.sound) sound.add(told.sound);
    if (told.sounds) (sounding.set(sound.whole(told.sounds)), sounding.play());
    if (told.done != null) tell("Judging note by note", told.done);
    if (told.rows) (over = true), verdict(view, told);
  }
  if (!over) throw new Error("The passage broke off.");
  return view.plan.title;
}

function verdict({ state, sheet, result, plan }, told) {
  sheet.judged(told);
  result.replaceChildren(el("p", { class: "hint" }, READING), tableOf(told, {
    caption: "Note by note", point: (k) => sheet.mark(k), choose: (row) => choose(state, row, plan.a4),
  }));
}

/** Set the pair of a note, as it was asked for, and hear it held. */
export function choose(state, row, a4) {
  const fingered = row.fingered_hz ?? row.played_hz;
  const folds = row.lungs_kpa != null;
  state.set({
    fingered: typed(fingered, a4), fingering: row.fingering ?? null, written: null,
    sung: row.sung_hz ? typed(row.sung_hz, a4) : null,
    settings: { "voice.frequency_hz": null, ...(folds ? { "voice.drive": "folds" } : {}) },
  });
  state.play();
}

// --- which passage -------------------------------------------------------------------------------

function startMusic(state, says) {
  const { passages } = state.choices, listeners = new Set();
  let file = null, kept = passages[0], said = [];
  const which = el("select", { id: "passage-which" });
  const fingered = el("input", { type: "text", id: "passage-fingered", spellcheck: "false", autocomplete: "off" });
  const sung = el("input", { type: "text", id: "passage-sung", spellcheck: "false", autocomplete: "off" });
  const tempo = el("input", { type: "number", id: "passage-tempo", min: 20, max: 400, step: "any", inputmode: "decimal" });
  const open = el("input", { type: "file", id: "passage-open", accept: SCORES });
  let speed = 100;
  const slow = slider({ label: "Tempo", low: 40, high: 100, step: 5, says: (v) => (v === 100 ? "as written" : `${v} %`), move: (v, moving) => {
    speed = v;
    if (!moving) tell();
  } });
  slow.show(speed);

  const tell = () => listeners.forEach((fn) => fn());
  const options = () => which.replaceChildren(
    ...passages.map((one) => el("option", { value: one.name }, one.title)),
    ...(file ? [el("option", { value: "file" }, file.title)] : []), el("option", { value: "typed" }, "My own line"));
  function take(one, value) {
    kept = one;
    options();
    which.value = value;
    fingered.value = one.fingered;
    sung.value = one.sung;
    tempo.value = Math.round(one.tempo_bpm * 100) / 100;
  }
  which.addEventListener("change", () => {
    said = [];
    if (which.value === "typed") (kept = null), fingered.focus();
    else take(which.value === "file" ? file : passages.find((one) => one.name === which.value), which.value);
    tell();
  });
  for (const input of [fingered, sung, tempo]) input.addEventListener("input", () => {
    kept = null;
    said = [];
    which.value = "typed";
    tell();
  });
  async function read(one) {
    try {
      if (one.size > LARGEST) throw new Error(`${one.name} has ${Math.round(one.size / 1e6)} MB; a passage has less than ${LARGEST / 1e6} MB.`);
      file = await (await postFile("/api/passage/open", { name: one.name }, one)).json();
      take(file, "file");
      said = [`Opened ${one.name}.`, ...file.said.map((each) => `${each}.`)];
      tell();
    } catch (error) {
      says.textContent = error.message; // what was there before stays
    }
  }
  open.addEventListener("change", async () => {
    if (open.files[0]) await read(open.files[0]);
    open.value = "";
  });
  take(passages[0], passages[0].name);
  const root = el("div", {},
    el("div", { class: "row" }, field("Passage", which), slow.root, field("Open MIDI, MusicXML or TOML, or drop it here", open)),
    el("details", { class: "more" }, el("summary", {}, "The notes"),
      field("Fingered", fingered), field("Sung", sung), field("Beats a minute", tempo),
      el("p", { class: "hint" }, "A note and its beats, as in F3:1 A3:0.5 rest:0.5 C4:2; ~ slurs to the next one. One note alone is held through; "
        + "5/2 or +7st moves along with what is fingered.")));
  return {
    root, open: read, said: () => said,
    onChange: (fn) => listeners.add(fn),
    title: () => (kept ? kept.title : "my own line"),
    asked: () => ({ passage: kept ? { name: kept.name, ...(kept.text ? { text: kept.text } : {}), speed }
      : { fingered: fingered.value, sung: sung.value, tempo_bpm: Number(tempo.value) || 60, speed } }),
  };
}
