// Note by note, what became of a passage or of a recording: the cells of the commands' tables.

import { el } from "../../core/dom.js";
import { midiOf, noteOf, pretty } from "../../core/notes.js";

/** A note as it is typed, to a tenth of a cent. */
export const typed = (hz, a4) => noteOf(midiOf(hz, a4));

/** How the notes of a sheet are read, once they are judged. */
export const READING = "Blue: the horn. Orange: the voice, dashed where it aims. Plum: the third note, filled if it is heard, thin if perhaps or not, "
  + "dotted if only planned, a frame if it is the fingered or the sung note itself.";

/** `cells` with their head; `choose(row, number)` is told which note was chosen. */
export function tableOf({ cells: [head, ...cells], rows, says }, { caption, choose, point }) {
  const heads = head.map((text) => el("th", { scope: "col" }, text));
  const body = cells.map((line, k) => {
    const [number, ...rest] = line;
    const button = el("button", { type: "button", class: "quiet", onclick: () => choose(rows[k], k) }, number);
    button.setAttribute("aria-label", `Set and play note ${number}`);
    const made = el("tr", { "data-state": (rows[k].reached ?? rows[k]).state, onpointerenter: () => point(k) },
      el("td", {}, button), rest.map((text) => el("td", {}, pretty(text))));
    button.addEventListener("focus", () => point(k));
    return made;
  });
  return el("div", {},
    el("div", { class: "wide-table" }, el("table", { class: "plain notes" },
      el("caption", {}, caption), el("thead", {}, el("tr", {}, heads)), el("tbody", {}, body))),
    el("ul", { class: "says" }, says.map((one) => el("li", {}, pretty(one)))));
}
