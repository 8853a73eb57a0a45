// What comes out: the three notes, the verdict in a sentence, what arithmetic says, the numbers.

import { el } from "../../core/dom.js";
import { pretty, writtenOf } from "../../core/notes.js";
import { startWishes } from "./wanted.js";

const MARKS = {
  locked: "●", drifting: "≈", rough: "✕", irregular: "⁂", unsung: "○", silent: "–", failed: "!", undecided: "?",
};

/** The state of two notes as a sign and a word. */
export const badge = ({ verdict: { state }, state_says: says }) =>
  el("span", { class: "badge", "data-state": state }, el("span", { "aria-hidden": "true" }, MARKS[state]), ` ${says}`);

export function startVerdict(root, state, playRoom) {
  const notes = noteRow(state), arithmetic = startArithmetic(state);
  const sentence = el("p", { id: "sentence", "aria-live": "polite" }, "Listening …");
  const sing = el("p", { id: "sing" }), more = el("p", { id: "more" });
  const status = el("p", { class: "status" });
  const numbers = el("div", {});
  const details = el("details", { class: "more" }, el("summary", {}, "The numbers"), numbers);
  const wishes = el("div", {});
  root.append(status, sentence, more, notes.root, arithmetic.root, sing, playRoom, wishes, details);
  startWishes(wishes, state);

  const wait = () => {
    root.dataset.stale = "";
    status.replaceChildren(el("span", { class: "badge", "data-state": "waiting" }, "listening …"));
  };
  state.watch(wait);
  let refused = null; // words: what arithmetic says of them is no answer
  state.on("predicted", (told) => state.words !== refused && (notes.show(told), arithmetic.show(told)));
  state.on("trouble", () => {
    refused = state.words;
    delete root.dataset.stale;
    status.replaceChildren(el("span", { class: "badge", "data-state": "waiting" }, "no answer"));
    sentence.textContent = "No answer: something that is set cannot be.";
    more.textContent = sing.textContent = "";
    numbers.replaceChildren();
    notes.clear();
    arithmetic.clear();
  });
  state.onJudged((told) => {
    delete root.dataset.stale;
    status.replaceChildren(badge(told), told.heard_says ? el("span", { class: "heard" }, told.heard_says) : "");
    sentence.textContent = pretty(told.sentence);
    more.textContent = pretty((told.more ?? []).join(" "));
    sing.textContent = told.sing ? `On this horn: ${pretty(told.sing)}.` : "";
    numbers.replaceChildren(numbersOf(told));
    notes.judged(told.verdict);
  });
  wait();
}

function numbersOf(told) {
  const rows = [...told.how];
  return el("dl", { class: "numbers" }, rows.flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, pretty(value))]));
}

// --- three notes ---------------------------------------------------------------------------------

function noteRow(state) {
  const tile = (kind, title) => {
    const name = el("span", { class: "name" }, "–"), below = el("span", { class: "below" });
    const head = el("span", { class: "title" }, title);
    return { root: el("div", { class: `tile ${kind}` }, head, name, below), head, name, below };
  };
  const horn = tile("horn", "fingered"), voice = tile("voice", "sung"), third = tile("third", "common note");
  const ratio = el("span", { class: "ratio" });
  const put = ({ name, below }, note, rest) => {
    name.textContent = note ? pretty(note) : "–";
    below.textContent = rest ?? "";
  };
  /** The fingered note as its player reads it, and below it the other way. */
  const putFingered = ({ fingered_note: sounds, fingered_hz: at }) => {
    const written = writtenOf(state, at), read = written && state.words.written;
    horn.head.textContent = read ? "fingered, as written" : "fingered";
    put(horn, read ? written : sounds, [read ? `sounds ${pretty(sounds)}` : written && `written ${pretty(written)}`, hz(at)].filter(Boolean).join(" · "));
  };
  const hz = (value) => (value ? `${value.toFixed(1)} Hz` : "");
  return {
    root: el("div", { class: "tiles" }, horn.root, voice.root, third.root, ratio),
    show(told) {
      putFingered(told);
      voice.head.textContent = state.words.settings["voice.drive"] === "folds" ? "aimed at" : "sung";
      put(voice, told.sung_note, told.sung_hz ? hz(told.sung_hz) : "nobody sings");
      put(third, told.ratio && told.resultant_note, told.ratio ? `${told.ratio} · ${hz(told.resultant_hz)}` : "");
      third.root.dataset.heard = "";
      third.head.textContent = "common note";
      ratio.textContent = "";
    },
    clear() {
      for (const each of [horn, voice, third]) put(each, null, "");
    },
    judged(verdict) {
      third.root.dataset.heard = verdict.heard ?? "";
      third.head.textContent = ["yes", "uncertain"].includes(verdict.heard) ? "third note" : "common note";
      put(third, verdict.resultant_note, verdict.ratio ? `${verdict.ratio} · ${hz(verdict.resultant_hz)}` : verdict.sung_hz && verdict.played_hz ? "no simple ratio" : "");
    },
  };
}

// --- arithmetic, at once -------------------------------------------------------------------------

function startArithmetic(state) {
  const says = el("p", { id: "predict" });
  const just = el("button", { type: "button", class: "quiet", id: "sing-just", hidden: true });
  let ratio = null;
  just.addEventListener("click", () => state.set({ sung: ratio }));
  return {
    root: el("div", { class: "row arithmetic" }, says, just),
    show(told) {
      says.textContent = (told.sung_hz ? "By arithmetic: " : "") + pretty(told.says);
      ratio = told.ratio ?? told.nearby_ratio;
      just.hidden = !ratio;
      just.textContent = ratio ? `Sing exactly ${ratio}` : "";
    },
    clear: () => ((says.textContent = ""), (just.hidden = true)),
  };
}
