// The answer in short, at the foot of the window, with the buttons that sound it; and what went wrong.

import { el } from "../../core/dom.js";
import { pretty, writtenOf } from "../../core/notes.js";
import { badge } from "./answer.js";

export function startStrip(state, buttons) {
  const notes = el("p", { class: "strip-notes" }), says = el("p", { class: "strip-says" }), how = el("span", { class: "strip-state" });
  const trouble = el("p", { class: "trouble", role: "alert", hidden: true });
  const link = el("p", { class: "hint", role: "status" });
  const tellLink = () => ((link.textContent = state.linkSays), (state.linkSays = "")); // once
  document.querySelector(".strip").append(how, el("div", { class: "strip-words" }, link, notes, says, trouble), buttons);
  // What stands in large type above need not be read twice.
  new IntersectionObserver(([seen]) => says.classList.toggle("above", seen.isIntersecting)).observe(document.querySelector("#sentence"));

  const waiting = (text) => how.replaceChildren(el("span", { class: "badge", "data-state": "waiting" }, text));
  tellLink();
  state.watch(() => {
    tellLink();
    trouble.hidden = true;
    notes.hidden = says.hidden = false;
    waiting("…");
  });
  state.on("predicted", (told) => {
    const part = (kind, text) => el("b", { class: `in-${kind}` }, pretty(text ?? "–"));
    const written = state.words.written && writtenOf(state, told.fingered_hz);
    notes.replaceChildren(part("horn", told.fingered_note), written ? pretty(` (written ${written}) + `) : " + ", part("voice", told.sung_note ?? "no voice"),
      ...(told.ratio ? [" → ", part("third", told.resultant_note)] : []));
    says.textContent = "";
  });
  state.on("trouble", ({ message }) => {
    trouble.textContent = message; // as it was typed
    link.textContent = "";
    trouble.hidden = false;
    notes.hidden = says.hidden = true;
    waiting("no answer");
  });
  state.onJudged((told) => {
    how.replaceChildren(badge(told));
    says.textContent = says.title = pretty(told.sentence);
  });
}
