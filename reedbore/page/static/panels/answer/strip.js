// The answer in short, at the foot of the window while the answer itself is out of sight.

import { el } from "../../core/dom.js";
import { pretty } from "../../core/notes.js";
import { badge } from "./answer.js";

export function startStrip(state, attach) {
  const notes = el("p", { class: "strip-notes" }), says = el("p", { class: "strip-says" }), how = el("span", {});
  const button = el("button", { type: "button", id: "strip-play" }, "Hold to hear");
  const strip = el("aside", { class: "strip", "aria-label": "What comes out, in short", hidden: true }, how, el("div", {}, notes, says), button);
  attach(button);
  document.body.append(strip);
  new IntersectionObserver(([seen]) => (strip.hidden = seen.isIntersecting)).observe(document.querySelector("#sentence"));

  state.watch(() => how.replaceChildren(el("span", { class: "badge", "data-state": "waiting" }, "…")));
  state.on("predicted", (told) => {
    const part = (kind, text) => el("b", { class: `in-${kind}` }, pretty(text ?? "–"));
    notes.replaceChildren(part("horn", told.fingered_note), " + ", part("voice", told.sung_note ?? "no voice"),
      ...(told.ratio ? [" → ", part("third", told.resultant_note)] : []));
    says.textContent = "";
  });
  state.onJudged((told) => {
    how.replaceChildren(badge(told));
    says.textContent = pretty(told.sentence);
  });
}
