// One's own voice: recorded or dropped, heard again, judged note by note, beside the passage it was meant for.

import { postFile } from "../../core/api.js";
import { choice, el, field } from "../../core/dom.js";
import { pretty } from "../../core/notes.js";
import { lines, startable } from "../../core/stream.js";
import { droppable } from "../passage/dropping.js";
import { choose } from "../passage/passage.js";
import { tableOf } from "../passage/rows.js";
import { createSheet } from "../passage/sheet.js";
import { createSound, startSounding } from "../passage/sounding.js";
import { record, wavOf } from "./microphone.js";

const AFTER_S = 0.5; // a passage is recorded so much longer

export function start(root, state, player) {
  const asked = { kind: "voice", over: "note" };
  const own = { blob: null, name: "", buffer: null };
  const says = el("p", { class: "caption", id: "voice-says", "aria-live": "polite" });
  const count = el("p", { class: "count-in", "aria-hidden": "true" });
  const level = el("meter", { min: 0, max: 1, value: 0, low: 0.02, high: 0.9, optimum: 0.3, hidden: true, "aria-label": "How loud the microphone hears" });
  const take = el("button", { type: "button", id: "voice-record" }, "Record");
  const file = el("input", { type: "file", id: "voice-file", accept: "audio/*,.wav,.flac,.ogg,.mp3,.aif,.aiff" });
  const keep = el("button", { type: "button", class: "quiet", id: "voice-keep" }, "Keep the recording");
  const forget = el("button", { type: "button", class: "quiet", id: "voice-forget" }, "Forget it");
  const again = el("button", { type: "button", class: "quiet", id: "voice-again" }, "What was recorded");
  const horn = el("button", { type: "button", class: "quiet", id: "voice-play" }, "Play");
  const throat = el("input", { type: "checkbox", id: "voice-throat" });
  const throatRow = el("p", { class: "check" }, throat, el("label", { for: "voice-throat" }, "The second channel is a microphone on the throat"));
  const result = el("div", {}), beside = el("div", {});
  const sheet = createSheet({ label: "The recording", pick: (at) => sounding.play(at) });
  const sounding = startSounding({ player, sheet, who: "voice", button: horn });
  const runner = startable({
    start: "Judge it", again: "Judge it again", cancel: "Call it off",
    work: (tell, signal) => judge(tell, signal),
  });
  const kind = choice("What is recorded", [["voice", "My voice alone"], ["both", "Horn and voice"]], (value) => ((asked.kind = value), arrange()));
  const over = choice("Meant for", [["note", "The fingered note"], ["passage", "The passage"]], (value) => ((asked.over = value), arrange()));
  kind.show(asked.kind);
  over.show(asked.over);
  const what = el("p", { class: "hint" });
  const kept = el("div", { class: "row", hidden: true }, again, horn, keep, forget);
  sheet.root.hidden = true;
  root.append(el("div", { class: "row" }, kind.root, over.root), throatRow, what,
    el("div", { class: "row taking" }, take, level, count, field("or choose a sound file, or drop it here", file)),
    says, kept, runner.root, sheet.root, beside, result);
  droppable(root, given);

  function arrange() {
    throatRow.hidden = asked.kind !== "both";
    what.textContent = asked.kind === "voice"
      ? "Sing or hum; your voice then sings into the horn that is set. Nothing is kept unless you say so, and nothing leaves this machine."
      : "Play and sing; what was played and sung is looked for in the sound. Nothing is kept unless you say so, and nothing leaves this machine.";
    runner.root.hidden = !own.blob;
    kept.hidden = !own.blob;
  }

  // --- recording ---------------------------------------------------------------------------------

  let running = null;
  take.addEventListener("click", () => (running ? finish() : begin()));
  async function begin() {
    take.disabled = true;
    player.stop();
    says.textContent = "Waiting for the microphone …";
    const plan = asked.over === "passage" ? await state.passage?.plan() : null;
    try {
      running = await record({ heard: (peak) => (level.value = peak), gone });
    } catch (error) {
      says.textContent = error.message; // an earlier recording stays
      return;
    } finally {
      take.disabled = false;
    }
    take.textContent = "Stop";
    level.hidden = false;
    running.plan = plan;
    if (running.plan) (sheet.root.hidden = false), sheet.show(running.plan);
    running.ahead = running.plan ? (running.plan.bars[1] ?? 4 * running.plan.beat_s) - running.plan.bars[0] : 0;
    running.longest = Math.min(state.choices.recording.seconds[asked.kind], running.plan ? running.plan.seconds + AFTER_S : Infinity);
    follow();
  }
  function follow() {
    if (!running) return;
    const { plan, ahead, longest } = running, at = running.seconds() - ahead;
    if (at < 0) count.textContent = String(Math.ceil(-at / plan.beat_s - 1e-6));
    else {
      count.textContent = "";
      sheet.at(plan ? Math.min(at, plan.seconds) : null);
    }
    says.textContent = at < 0 ? "One bar ahead; then sing along with the line." : `Recording: ${at.toFixed(0)} s`;
    if (at >= longest) finish();
    else requestAnimationFrame(follow);
  }
  function gone() {
    if (running) finish("The microphone went away; what it heard until then is here.");
  }
  async function finish(why = "") {
    const { rate, ahead, stop } = running;
    running = null;
    take.disabled = true;
    const channels = (await stop()).map((one) => one.subarray(Math.round(ahead * rate)));
    take.disabled = false;
    take.textContent = "Record again";
    level.hidden = true;
    count.textContent = "";
    sheet.at(null);
    if (!channels.length || !channels[0].length) {
      says.textContent = why ? "The microphone went away before it heard anything." : "Nothing was recorded yet.";
      return;
    }
    says.textContent = why;
    hold(wavOf(channels, rate), "my-voice.wav");
  }

  // --- a recording, from wherever ----------------------------------------------------------------

  file.addEventListener("change", () => {
    if (file.files[0]) given(file.files[0]);
    file.value = "";
  });
  function given(one) {
    const { bytes } = state.choices.recording;
    if (one.size > bytes) says.textContent = `${one.name} has ${Math.round(one.size / 1e6)} MB; a recording has less than ${bytes / 1e6} MB.`;
    else (says.textContent = ""), hold(one, one.name);
  }
  async function hold(blob, name) {
    Object.assign(own, { blob, name, buffer: null });
    arrange();
    again.disabled = true;
    runner.run();
    const buffer = await heardAgain(blob).catch(() => null);
    if (own.blob !== blob) return; // forgotten meanwhile, or another one came
    own.buffer = buffer;
    again.disabled = !buffer;
  }
  again.addEventListener("click", () => {
    if (player.sounding?.who === "recording") player.stop();
    else player.play({ buffer: own.buffer, start: 0, end: own.buffer.duration }, { loop: false, who: "recording" });
  });
  player.onChange((who) => (again.textContent = who === "recording" ? "Stop" : "What was recorded"));
  keep.addEventListener("click", () => {
    const url = URL.createObjectURL(own.blob);
    el("a", { href: url, download: own.name }).click();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
  });
  forget.addEventListener("click", () => {
    runner.stop();
    player.stop();
    Object.assign(own, { blob: null, name: "", buffer: null });
    sheet.root.hidden = true;
    result.replaceChildren();
    beside.replaceChildren();
    sounding.set(null);
    says.textContent = "Forgotten.";
    take.textContent = "Record";
    arrange();
  });

  // --- judged ------------------------------------------------------------------------------------

  async function judge(tell, signal) {
    const words = structuredClone(state.words), sound = createSound();
    const passage = asked.over === "passage" ? state.passage?.asked() ?? null : null;
    const sent = { kind: asked.kind, name: own.name, words, passage, throat: asked.kind === "both" && throat.checked ? 2 : null };
    result.replaceChildren();
    beside.replaceChildren();
    sounding.set(null);
    tell("Listening to the recording …");
    let plan = null, over = false;
    for await (const told of lines(await postFile("/api/voice", sent, own.blob, { signal }))) {
      if (told.title) (plan = told), sheet.root.hidden = !told.fingered, told.fingered && sheet.show(told);
      if (told.warnings?.length) says.textContent = pretty(told.warnings.join(" · "));
      if (told.stage) tell(`${told.stage[0].toUpperCase()}${told.stage.slice(1)} …`, told.done);
      else if (told.done != null) tell("Judging note by note", told.done);
      if (told.sound) sound.add(told.sound);
      if (told.sounds) sounding.set(sound.whole(told.sounds));
      if (told.rows) (over = true), show(told, plan);
      if (told.beside) besideIs(told);
    }
    if (!over) throw new Error("The recording's verdict broke off; the recording is still here.");
    return plan.title;
  }
  function show(told, plan) {
    sheet.root.hidden = false;
    if (!plan.fingered) {
      sheet.show(heardAs(plan, told.rows));
      sounding.set(own.buffer);
    }
    sheet.judged(plan.fingered ? told : { rows: told.rows });
    result.replaceChildren(tableOf(told, {
      caption: "Note by note", point: (k) => sheet.mark(k), choose: (row) => choose(state, row, plan.a4),
    }));
  }
  function besideIs({ beside: plan, beside_says: said }) {
    const [first, ...more] = said;
    beside.replaceChildren(el("h3", {}, "Against the passage"), el("p", { class: "big" }, first),
      el("ul", { class: "says", "data-right": plan.notes.filter((one) => one.outcome === "right").length }, more.map((one) => el("li", {}, pretty(one)))));
  }
  arrange();
}

/** What was found in a recording, as the notes of a sheet. */
function heardAs(plan, rows) {
  const notes = (of) => rows.filter((row) => row[`${of}_hz`]).map((row) => ({
    begin_s: row.begin_s, end_s: row.end_s, hz: row[`${of}_hz`], note: row[`${of}_note`],
  }));
  return { ...plan, bars: [], warnings: [], fingered: notes("played"), sung: notes("sung") };
}

/** The recording as a buffer that the page can play; what the browser cannot read is judged all the same. */
async function heardAgain(blob) {
  const context = new OfflineAudioContext(1, 1, 48000);
  return context.decodeAudioData(await blob.arrayBuffer());
}
