// The lock table: every ratio that the voice can sing over the fingered note, in a player's words.

import { el } from "../core/dom.js";
import { pretty } from "../core/notes.js";
import { ask, lines, patched, startable } from "../core/stream.js";

export function start(root, state) {
  const found = { words: null };
  const strongly = el("input", { type: "checkbox", id: "table-strongly" });
  const place = el("div", { class: "table-place" });
  const stale = el("p", { class: "hint", hidden: true });
  const runner = startable({
    start: "Make the table", again: "Make it again", cancel: "Call it off",
    work: (tell, signal) => compute({ state, found, place, strongly }, tell, signal),
  });
  const check = el("label", { class: "check", for: "table-strongly" }, strongly, "Find out how softly each may be sung, too (takes four times as long)");
  root.append(runner.root, check, stale, place);
  state.subscribe((words) => {
    const bare = (one) => JSON.stringify({ ...one, sung: "" });
    stale.hidden = !found.words || bare(found.words) === bare(words);
    stale.textContent = "The table is of a setup that was set before; a row sets it back.";
  });
}

async function compute({ state, found, place, strongly }, tell, signal) {
  const words = structuredClone(state.words);
  tell("Playing the horn alone …", 0);
  for await (const one of lines(await ask("/api/table", { words, thorough: strongly.checked }, signal))) {
    if (one.table) {
      found.words = words;
      place.replaceChildren(tableOf(one.table, (row) => {
        state.replace(patched(words, row.patch));
        state.play();
      }), el("p", { class: "hint" }, one.table.note));
      return pretty(`Over ${one.table.fingered_note}: ${one.table.rows.length} ratios looked at, sung at depth ${one.table.depth}.`);
    }
    tell(`Searching for the edges, listening, trying to stay in them: ${Math.round(100 * one.done)} %`, one.done);
  }
  throw new Error("The table broke off.");
}

function tableOf(table, choose) {
  const strongly = table.rows.some((row) => row.words.strongly);
  const heads = ["Sing", "Ratio", "Third note", "How exactly", ...(strongly ? ["How strongly"] : []), "A human voice stays in it"];
  const head = el("tr", {}, heads.map((text) => el("th", { scope: "col" }, text)));
  const bodies = Object.entries(table.groups)
    .map(([name, title]) => [title, table.rows.filter((row) => row.group === name)]).filter(([, rows]) => rows.length);
  return el("div", { class: "wide-table" }, el("table", { class: "plain locks" },
    el("caption", {}, pretty(`What may be sung over ${table.fingered_note}`)), el("thead", {}, head),
    bodies.map(([title, rows]) => el("tbody", {},
      el("tr", {}, el("th", { scope: "colgroup", colspan: heads.length, class: "group-title" }, title)),
      rows.map((row) => rowOf(row, strongly, choose))))));
}

function rowOf(row, strongly, choose) {
  const said = row.words;
  const sing = el("button", { type: "button", class: "quiet", onclick: () => choose(row) }, pretty(said.sing));
  sing.setAttribute("aria-label", `Set and play: ${said.sing}, ${row.ratio}`);
  const cells = [
    el("td", {}, sing), el("td", {}, row.ratio), el("td", { class: row.heard === "yes" ? "third-note" : "" }, pretty(said.third)),
    el("td", {}, said.exactly), ...(strongly ? [el("td", {}, said.strongly || "–")] : []),
    el("td", {}, said.stays || "–"),
  ];
  return el("tr", {}, cells);
}
