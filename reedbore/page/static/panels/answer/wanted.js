// The question turned round: which third note do I want, what must I sing for it, how exactly?

import { latest } from "../../core/api.js";
import { el, field } from "../../core/dom.js";
import { midiOf, noteOf, parseNote, pretty } from "../../core/notes.js";

const gcd = (a, b) => (b ? gcd(b, a % b) : a);

export function startWishes(root, state) {
  const pick = el("select", { id: "wish", onchange: show }, state.choices.below.map(([q, text]) => el("option", { value: q }, `${text} below`)));
  const ways = el("div", { class: "chips" }), none = el("p", { class: "hint" });
  let fingered = null;
  root.append(el("div", { class: "row wishes" }, field("I want a third note", pick), ways), none, howExactly(state));

  function show() {
    if (!fingered) return;
    const q = Number(pick.value), found = [];
    const voice = state.choices.voices.find((each) => each.name === state.words.voice) ?? state.choices.voices[0];
    for (let p = 1; p <= state.choices.measured; p += 1) {
      const midi = midiOf((fingered * p) / q, state.words.a4);
      if (gcd(p, q) === 1 && midi >= parseNote(voice.low) - 0.5 && midi <= parseNote(voice.high) + 0.5) found.push([`${p}/${q}`, midi]);
    }
    ways.replaceChildren(...found.map(([ratio, midi]) => el("button", { type: "button", class: "chip", onclick: () => state.set({ sung: ratio }) },
      `sing ${ratio}: ${pretty(noteOf(midi))}`)));
    none.textContent = found.length ? "" : "This voice has no note that would make it.";
  }
  state.on("predicted", (told) => ((fingered = told.fingered_hz), show()));
}

/** A button that has the ends of the lock looked for, and what was found. */
function howExactly(state) {
  const judge = latest("/api/judge");
  const says = el("p", { id: "exactly", "aria-live": "polite" });
  const ask = el("button", { type: "button", class: "quiet", id: "how-exactly", hidden: true, onclick: look }, "How exactly must I sing it?");
  async function look() {
    const { words } = state;
    ask.disabled = true;
    says.textContent = "Looking for the ends of the lock …";
    try {
      const { verdict } = await (await judge({ words, lock_range: true })).json();
      if (words === state.words) says.textContent = pretty(`${rangeWords(verdict, words.a4)} ${state.choices.clock}`);
    } catch (error) {
      if (words === state.words) says.textContent = "";
      state.trouble(error, words);
    }
    ask.disabled = false;
  }
  state.watch(() => (judge.drop(), (says.textContent = ""), (ask.hidden = true)));
  state.onJudged(({ verdict }) => (ask.hidden = !(verdict.state === "locked" && verdict.sung_hz)));
  return el("div", { class: "row" }, ask, says);
}

/** The range around what is sung, and its middle, from which the table counts. */
function rangeWords({ lock_range_cents: range, sung_hz: sung, aimed_hz: aimed }, a4) {
  if (!range) return "The ends of the lock could not be found.";
  const tenths = (end) => Math.floor(10 * Math.abs(end) + 1e-6) / 10; // inwards
  const far = (end) => (tenths(end) < 0.1 ? "less than 0.1 cents" : `${tenths(end).toFixed(1)} cents`);
  const [low, high] = range.map((end, side) => (end === null ? "somewhere" : `${far(end)} ${end < 0 || (end === 0 && !side) ? "under" : "over"}`));
  const says = `It locks from ${low} to ${high} the note that is ${aimed ? "aimed at" : "sung"}.`;
  if (range.includes(null)) return says;
  const middle = midiOf(aimed ?? sung, a4) + (range[0] + range[1]) / 200;
  return `${says} The table counts from the middle of that, ${noteOf(middle)}.`;
}
