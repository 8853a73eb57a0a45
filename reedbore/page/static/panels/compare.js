// Two setups side by side, A kept and B the one that is set now: heard as loud as they are, or matched.

import { dropped, latest } from "../core/api.js";
import { el } from "../core/dom.js";
import { pretty } from "../core/notes.js";
import { clipOf, holdable, matchOf } from "../core/sound.js";
import { badge } from "./answer/answer.js";

export function startCompare(root, state, player) {
  const judge = latest("/api/judge");
  let kept = null; // {words, told, clip}
  let now = { clip: null, told: null };
  const keep = el("button", { type: "button", id: "keep-a", onclick: keepA }, "Keep this as A");
  const back = el("button", { type: "button", class: "quiet", hidden: true, onclick: () => state.replace(kept.words) }, "Go back to A");
  const sides = { A: side("A"), B: side("B") };
  const pair = el("div", { class: "pair", hidden: true }, sides.A.root, sides.B.root);
  const louder = el("p", { class: "caption", "aria-live": "polite" });
  const apart = el("p", { class: "hint" });
  root.append(el("div", { class: "row" }, keep, back), pair, louder, apart);

  function side(name) {
    const button = el("button", { type: "button", id: `play-${name.toLowerCase()}` }, `Hold to hear ${name}`);
    const title = el("p", { class: "title" }), says = el("p", { class: "says" }), state_ = el("p", {});
    holdable(button, (loop) => hear(name, loop), () => player.stop());
    return { root: el("article", { class: "side" }, el("h3", {}, name), title, state_, says, button), title, says, state: state_ };
  }
  function fill(name, told) {
    const { title, says, state: holder } = sides[name];
    title.textContent = told ? pretty(told.title) : "";
    says.textContent = told ? pretty(told.sentence) : "listening …";
    holder.replaceChildren(told ? badge(told) : "");
  }
  async function keepA() {
    const mine = (kept = { words: structuredClone(state.words), told: state.told.judged, clip: now.clip });
    pair.hidden = back.hidden = false;
    fill("A", kept.told);
    show();
    try {
      mine.clip ??= await clipOf(mine.words);
      mine.told ??= await (await judge({ words: mine.words })).json();
      if (mine === kept) fill("A", kept.told), show();
    } catch (error) {
      if (!dropped(error) && mine === kept) sides.A.says.textContent = error.message;
    }
  }
  function hear(name, loop) {
    const clip = name === "A" ? kept?.clip : now.clip, other = name === "A" ? now.clip : kept?.clip;
    if (!clip) return;
    if (state.matched) return player.play(clip, { loop, who: name, share: matchOf(clip) });
    // A take that was lowered to fit keeps its place against the other: the other is lowered as well.
    const lowest = Math.min(clip.gainDb, other?.gainDb ?? 0);
    player.play(clip, { loop, who: name, share: 10 ** ((lowest - clip.gainDb) / 20) });
  }
  function show() {
    if (!kept) return;
    fill("B", now.told);
    const parts = differences(kept.words, state.words);
    apart.textContent = parts.length ? "What is different in B: " + pretty(parts.join("; ")) : "B is still the same as A: change something above.";
    louder.textContent = kept.clip && now.clip ? loudnessWords(levelOf(now.clip) - levelOf(kept.clip), state.matched) : "";
  }
  state.watch(() => ((now = { clip: null, told: null }), show()));
  state.on("matched", show);
  state.on("heard", (clip) => ((now.clip = clip), show()));
  state.onJudged((told) => ((now.told = told), show()));
}

/** Level of what goes round, as the setup makes it. [dB re full scale] */
function levelOf({ buffer, start, end, gainDb }) {
  const part = buffer.getChannelData(0).subarray(Math.round(start * buffer.sampleRate), Math.round(end * buffer.sampleRate));
  const mean = part.reduce((sum, value) => sum + value * value, 0) / part.length;
  return 10 * Math.log10(mean + 1e-12) - gainDb;
}

function loudnessWords(by, matched) {
  if (Math.abs(by) < 0.5) return "A and B are equally loud.";
  const sounds = matched ? "but both sound equally loud here: their loudness is matched" : "and sounds so here";
  return `B is ${Math.abs(by).toFixed(1)} dB ${by > 0 ? "louder" : "softer"} than A, ${sounds}.`;
}

function differences(one, two) {
  const flat = (words) => ({ ...words, ...words.settings, settings: undefined, horn_text: undefined, voice_text: undefined });
  const a = flat(one), b = flat(two);
  const said = (value) => (value === null ? "nobody sings" : value ?? "as usual");
  return [...new Set([...Object.keys(a), ...Object.keys(b)])]
    .filter((key) => JSON.stringify(a[key]) !== JSON.stringify(b[key]))
    .map((key) => `${key} ${said(a[key])} → ${said(b[key])}`);
}
