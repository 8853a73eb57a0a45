// The panel with the button that sounds the setup: at once, looped while it is held.

import { dropped } from "../../core/api.js";
import { el, slider } from "../../core/dom.js";
import { clipOf, holdable, matchOf } from "../../core/sound.js";

const START_LOUDNESS = 40; // [%], squared: quiet
const PAUSE = 60; // [ms]

export function startPlaying(root, state, player) {
  let clip = null, wanted = null, moved = null;
  const sounds = createSounds(state);
  const button = el("button", { type: "button", id: "play", class: "play" }, "Hold to hear");
  const going = el("button", { type: "button", id: "keep-sounding", class: "quiet", "aria-pressed": "false" }, "Keep it sounding");
  const each = el("input", { type: "checkbox", id: "each-change", checked: true });
  const matched = el("input", { type: "checkbox", id: "matched" });
  const note = el("p", { class: "hint", id: "sound-note", "aria-live": "polite" });
  const loudness = slider({ label: "Loudness", low: 0, high: 100, step: 1, says: (v) => `${v} %`, move: (v) => player.setLoudness(v / 100) });
  loudness.show(START_LOUDNESS);
  player.setLoudness(START_LOUDNESS / 100);
  const kept = () => going.getAttribute("aria-pressed") === "true";

  async function sound(loop) {
    await player.play(clip, { loop, who: "setup", share: state.matched ? matchOf(clip) : 1 });
    if (moved != null) (globalThis.reedbore.latencies.push(performance.now() - moved), (moved = null));
  }
  function begin(loop) {
    player.wake();
    if (clip) sound(loop || kept());
    else wanted = { loop: loop || kept() };
  }
  function end() {
    wanted = null;
    if (!kept()) player.stop();
  }
  holdable(button, begin, end);
  going.addEventListener("click", () => {
    going.setAttribute("aria-pressed", !kept());
    if (kept()) begin(true);
    else end();
  });
  addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    going.setAttribute("aria-pressed", "false");
    state.stop();
  });
  player.onChange((who) => {
    button.textContent = who ? "Sounding" : "Hold to hear";
    button.classList.toggle("on", Boolean(who));
  });
  matched.addEventListener("change", () => {
    state.matched = matched.checked;
    if (clip) say();
    if (clip && player.sounding?.who === "setup") sound(player.sounding.loop);
    else player.stop();
    state.tell("matched", state.matched);
  });
  /** Say what keeps the sound from its true level. */
  function say() {
    const by = clip.matchDb, way = by < 0 ? "softer" : "louder";
    if (state.matched) note.textContent = `Matched: it sounds ${Math.abs(by).toFixed(1)} dB ${way} than the setup is, as loud as any other. Its loudness says nothing about the horn.`;
    else note.textContent = clip.gainDb < -0.05 ? `This take would be too loud for full scale: it was lowered by ${(-clip.gainDb).toFixed(1)} dB.` : "";
  }
  state.play = () => begin(false);
  state.stop = () => (player.stop(), (wanted = null));

  /** The sound there was is no longer that of the setup; the new one is asked for once the hand pauses. */
  function foresee(words) {
    clip = null;
    sounds.foresee(words);
  }
  /** Fetch the sound of the setup; if it should be heard, it is heard as soon as it is here. */
  async function refresh(words, heard) {
    moved = heard ? performance.now() : null;
    const on = player.sounding;
    try {
      const found = await sounds.ask(words);
      if (words !== state.words) return; // the next sound is on its way
      clip = found;
    } catch (error) {
      if (!dropped(error) && words === state.words) (player.stop(), (wanted = null));
      state.trouble(error, words);
      throw error;
    }
    if (on?.loop && player.sounding) sound(true);
    else if (wanted) sound(wanted.loop);
    else if (heard && each.checked && navigator.userActivation?.hasBeenActive !== false) sound(false);
    wanted = null;
    if (words === state.words) await lengthen(words);
  }
  /** What was begun goes on in the whole take, which is worked out while its beginning sounds. */
  async function lengthen(words) {
    try {
      const whole = await sounds.whole(words);
      if (words !== state.words) return;
      if (player.sounding?.who === "setup") player.lengthen(whole);
      clip = whole;
    } catch (error) {
      state.trouble(error, words);
      throw error;
    }
    say();
    state.tell("heard", clip);
  }

  root.append(
    el("div", { class: "row" }, loudness.root,
      el("p", { class: "check" }, each, el("label", { for: "each-change" }, "Sound after every change")),
      el("p", { class: "check" }, matched, el("label", { for: "matched" }, "Match loudness"))),
    note,
    el("p", { class: "hint" }, "Start quiet. Small speakers drop notes below about 100 Hz; headphones tell the truth. Escape stops all sound."));
  return { refresh, foresee, buttons: el("div", { class: "strip-buttons" }, button, going) };
}

const BEGINNING = 0.8; // [s]

/** Sounds asked for one at a time, their beginning first: a question for other words drops the one before, the same one goes on. */
function createSounds(state) {
  let asked = null, early = 0; // {key, stop, clip, whole}

  function drop(key) {
    clearTimeout(early);
    if (asked && asked.key !== key) (asked.stop.abort(), (asked = null));
  }
  function ask(words) {
    const key = JSON.stringify(words);
    drop(key);
    if (asked) return asked.clip;
    const stop = new AbortController();
    asked = { key, stop, clip: clipOf(words, { seconds: BEGINNING, matched: state.matched, signal: stop.signal }) };
    asked.clip.catch(() => asked?.key === key && (asked = null)); // a failure may be tried again
    return asked.clip;
  }
  /** Ask in a moment, unless others come first: a hand that pauses has its sound under way before it lets go. */
  function foresee(words) {
    drop(JSON.stringify(words));
    early = setTimeout(() => ask(words).catch(() => {}), PAUSE);
  }
  function whole(words) {
    ask(words);
    const mine = asked;
    return (mine.whole ??= clipOf(words, { signal: mine.stop.signal }));
  }
  return { ask, foresee, whole };
}
