// What comes out: the three notes, the verdict in a sentence, what arithmetic says, the numbers.

import { el } from "../../core/dom.js";
import { midiName, midiOf, pretty } from "../../core/notes.js";
import { startWishes } from "./wanted.js";

const STATES = {
  locked: ["●", "locked"], drifting: ["≈", "drifting"], rough: ["✕", "rough"], irregular: ["⁂", "irregular"],
  unsung: ["○", "horn alone"], silent: ["–", "silent"], failed: ["!", "failed"], undecided: ["?", "not decided"],
};
const OUTCOMES = {
  third: (told) => `a third note, ${told.resultant_note}`,
  uncertain: (told) => `a third note, ${told.resultant_note}, so low that its pitch is uncertain`,
  growl: () => "no pitch: the common period is so long that it only growls",
  fingered: () => "the fingered note itself; the sung one is among its partials",
  sung: () => "the sung note itself; the fingered one is among its partials",
  none: () => "no third note: no simple ratio is near",
};

export const badge = (state) =>
  el("span", { class: "badge", "data-state": state }, el("span", { "aria-hidden": "true" }, STATES[state]?.[0] ?? "?"), ` ${STATES[state]?.[1] ?? state}`);

export function startVerdict(root, state, playRoom) {
  const notes = noteRow(state), arithmetic = startArithmetic(state);
  const sentence = el("p", { id: "sentence", "aria-live": "polite" }, "Listening …");
  const sing = el("p", { id: "sing" }), more = el("p", { id: "more" });
  const status = el("p", { class: "status" });
  const numbers = el("div", {});
  const details = el("details", { class: "more" }, el("summary", {}, "The numbers"), numbers);
  const trouble = el("p", { class: "trouble", role: "alert", hidden: true });
  document.body.append(trouble);
  const wishes = el("div", {});
  root.append(status, sentence, more, notes.root, arithmetic.root, sing, playRoom, wishes, details);
  startWishes(wishes, state);

  const wait = () => {
    root.dataset.stale = "";
    trouble.hidden = true;
    status.replaceChildren(el("span", { class: "badge", "data-state": "waiting" }, "listening …"));
  };
  state.watch(wait);
  state.on("predicted", (told) => (notes.show(told), arithmetic.show(told)));
  state.on("trouble", (message) => {
    trouble.textContent = message; // as it was typed
    trouble.hidden = false;
    status.replaceChildren(el("span", { class: "badge", "data-state": "waiting" }, "no answer"));
  });
  state.onJudged((told) => {
    delete root.dataset.stale;
    status.replaceChildren(badge(told.verdict.state), heardWords(told.verdict));
    sentence.textContent = pretty(told.sentence);
    more.textContent = pretty((told.more ?? []).join(" "));
    sing.textContent = told.sing ? `On this horn: ${pretty(told.sing)}.` : "";
    numbers.replaceChildren(numbersOf(told));
    notes.judged(told.verdict);
  });
  wait();
}

function heardWords({ heard, sung_hz: sung }) {
  if (!sung) return "";
  const words = { yes: "third note heard", no: "third note not heard", uncertain: "third note perhaps heard" }[heard];
  return words ? el("span", { class: "heard" }, words) : "";
}

function numbersOf(told) {
  const rows = [...told.how];
  return el("dl", { class: "numbers" }, rows.flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, pretty(value))]));
}

// --- three notes ---------------------------------------------------------------------------------

function noteRow(state) {
  const tile = (kind, title) => {
    const name = el("span", { class: "name" }, "–"), below = el("span", { class: "below" });
    return { root: el("div", { class: `tile ${kind}` }, el("span", { class: "title" }, title), name, below), name, below };
  };
  const horn = tile("horn", "fingered"), voice = tile("voice", "sung"), third = tile("third", "in common");
  const ratio = el("span", { class: "ratio" });
  const put = ({ name, below }, note, rest) => {
    name.textContent = note ? pretty(note) : "–";
    below.textContent = rest ?? "";
  };
  const written = (sounds) => {
    const { transposition } = state.choices.horns.find((each) => each.name === state.words.horn) ?? {};
    return transposition ? `written ${pretty(midiName(Math.round(midiOf(sounds, state.words.a4)) + transposition))} · ` : "";
  };
  const hz = (value) => (value ? `${value.toFixed(1)} Hz` : "");
  return {
    root: el("div", { class: "tiles" }, horn.root, voice.root, third.root, ratio),
    show(told) {
      put(horn, told.fingered_note, `${written(told.fingered_hz)}${hz(told.fingered_hz)}`);
      put(voice, told.sung_note, told.sung_hz ? hz(told.sung_hz) : "nobody sings");
      put(third, told.ratio && told.resultant_note, told.ratio ? `${told.ratio} · ${hz(told.resultant_hz)}` : "");
      third.root.dataset.heard = "";
      ratio.textContent = "";
    },
    judged(verdict) {
      third.root.dataset.heard = verdict.heard ?? "";
      put(third, verdict.resultant_note, verdict.ratio ? `${verdict.ratio} · ${hz(verdict.resultant_hz)}` : verdict.sung_hz ? "no simple ratio" : "");
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
      says.textContent = "By arithmetic: " + pretty(promise(told)) + ".";
      ratio = told.ratio ?? told.nearby_ratio;
      just.hidden = !ratio;
      just.textContent = ratio ? `Sing exactly ${ratio}` : "";
    },
  };
}

function promise(told) {
  if (!told.sung_hz) return "nobody sings, the horn plays alone";
  const outcome = (OUTCOMES[told.outcome] ?? (() => told.outcome))(told);
  if (!told.ratio) return outcome + (told.nearby_sing_note ? `; ${told.nearby_ratio} is near, at ${told.nearby_sing_note}` : "");
  const by = Math.abs(told.sing_cents);
  const just = by < 0.05 ? "just where the tempered note is" : `${by.toFixed(1)} cents ${told.sing_cents < 0 ? "under" : "over"} the tempered note`;
  return `${told.ratio} makes ${outcome}. Sung exactly it is ${told.sing_note}, ${just}`;
}
