// The lock table: what may be sung over the fingered note, for a singer first, then for a voice like a clock.

import { el } from "../core/dom.js";
import { pretty, writtenOf } from "../core/notes.js";
import { ask, lines, patched, startable } from "../core/stream.js";

export function start(root, state) {
  const found = { words: null };
  const strongly = el("input", { type: "checkbox", id: "table-strongly" });
  const place = el("div", { class: "table-place" });
  const stale = el("p", { class: "hint", hidden: true });
  const now = el("p", { class: "caption", id: "table-now" });
  const runner = startable({
    start: "Make the table", again: "Make it again", cancel: "Call it off",
    work: (tell, signal) => compute({ state, found, place, strongly, mark }, tell, signal),
  });
  const check = el("label", { class: "check", for: "table-strongly" }, strongly, "For a clock find out how softly each may be sung, too (takes four times as long)");
  root.append(runner.root, check, stale, now, place);
  state.subscribe((words) => {
    stale.hidden = !found.words || bare(found.words) === bare(words);
    stale.textContent = "The table is of a setup that was set before; a row sets it back.";
    if (!stale.hidden) now.textContent = "";
  });
  state.onJudged(mark);
  state.on("trouble", () => (now.textContent = ""));

  /** Say what the row of what is sung now tells of it, beside what the headline says. */
  function mark() {
    const judged = state.told.judged;
    now.textContent = judged && found.table && stale.hidden ? pretty(besideHeadline(found.table, judged.verdict, state.words)) : "";
  }
}

/** All of a setup that a table depends on, whatever is sung. */
const bare = ({ sung, settings: { "voice.drive": _, "voice.frequency_hz": __, ...settings } = {}, ...rest }) => JSON.stringify({ ...rest, settings });

const cents = (hz, from) => 1200 * Math.log2(hz / from);

/** The row of the sung note, what it says of it, and, where the headline says otherwise, why. */
export function besideHeadline(table, { state, ratio, sung_hz: sung, aimed_hz: aimed }, words) {
  const folds = words.settings["voice.drive"] === "folds";
  const row = ratio && (folds ? table.singer : table.rows)?.find((one) => one.ratio === ratio);
  if (!row) return "";
  const off = folds ? cents(aimed ?? sung, row.aimed_hz) : cents(sung, row.sung_hz);
  const range = row.lock_range_cents, inside = Boolean(range) && off >= range[0] && off <= range[1];
  const way = Math.abs(off) < 0.05 ? "just where" : `${Math.abs(off).toFixed(1)} cents ${off > 0 ? "above" : "below"} where`;
  const tells = !range ? "does not lock there" : inside ? "locks there" : "locks nearer to it";
  const told = `Now ${ratio} is ${folds ? "aimed at" : "sung"} ${way} its row says, which ${tells}`;
  if (inside === (state === "locked")) return `${told}; so does the headline.`;
  return `${told}. The headline says ${state}: it is told of one take, whose player moves; the row of a player who holds still for as long as it takes.`;
}

async function compute({ state, found, place, strongly, mark }, tell, signal) {
  const words = structuredClone(state.words);
  let last = null;
  tell("Playing the horn alone …");
  const choose = (row) => {
    state.replace(patched(words, row.patch));
    state.play();
  };
  const over = (table) => {
    const written = words.written && writtenOf({ choices: state.choices, words }, table.fingered_hz);
    return written ? `${table.fingered_note} (written ${written})` : table.fingered_note;
  };
  for await (const one of lines(await ask("/api/table", { words, thorough: strongly.checked }, signal))) {
    if (one.table) {
      last = { ...one.table, over: over(one.table) };
      Object.assign(found, { words, table: last });
      place.replaceChildren(singersPart(last, choose), clocksPart(last, choose));
      mark();
    }
    tell(last ? "A singer tries each of them" : "A clock tries each: edges, listening, staying", one.done);
  }
  if (!last?.singer) throw new Error("The table broke off.");
  return pretty(`Over ${last.over}: ${last.rows.length} ratios looked at, a clock's sung at depth ${last.depth}.`);
}

// --- for a singer --------------------------------------------------------------------------------

const NOT_SUNG = ["does not fall into step", "not sung by these folds"];

function singersPart(table, choose) {
  const title = el("h3", {}, "For a singer, whose folds feel the horn");
  if (!table.singer) return el("div", { class: "of-singer" }, title, el("p", {}, "Being worked out …"));
  const heads = ["Aim at", "Ratio", "Third note", "Give or take", "The horn pulls it", "Stays in step"];
  const rows = (ease) => table.singer.filter((row) => row.ease === ease);
  const eases = [...new Set(table.singer.map((row) => row.ease))];
  const parts = eases.filter((ease) => !NOT_SUNG.includes(ease)).map((ease) => [ease, rows(ease)]);
  return el("div", { class: "of-singer" }, title,
    parts.length ? tableOf(`Where a singer aims over ${table.over}`, heads, parts, (row) => [
      button(row, row.words.aim, choose), row.ratio, third(row, row.words.third), row.words.give_or_take, row.words.pulled, row.words.stays || "–",
    ]) : el("p", {}, "None of them falls into step."),
    el("p", { class: "hint" }, pretty(`Aim at: what these folds sing where no horn sounds back. ${table.singer_note}`)),
    ...eases.filter((ease) => NOT_SUNG.includes(ease)).map((ease) =>
      folded(ease, rows(ease), el("p", {}, rows(ease).map((row) => row.ratio).join("   ")))));
}

// --- for a clock ---------------------------------------------------------------------------------

function clocksPart(table, choose) {
  const strongly = table.rows.some((row) => row.words.strongly);
  const heads = ["Sing", "Ratio", "Third note", "How exactly", ...(strongly ? ["How strongly"] : []), "A voice that nothing pulls stays"];
  const cells = (row) => [
    button(row, row.words.sing, choose), row.ratio, third(row, row.words.third), row.words.exactly, ...(strongly ? [row.words.strongly || "–"] : []), row.words.stays || "–",
  ];
  const parts = Object.entries(table.groups).map(([name, group]) => [group, table.rows.filter((row) => row.group === name)]).filter(([, rows]) => rows.length);
  const shown = parts.filter(([group]) => group.in_full).map(([group, rows]) => [group.says, rows]);
  const caption = `What a clock may sing over ${table.over}`;
  return el("div", { class: "of-clock" }, el("h3", {}, "For a voice like a clock, which nothing pulls"),
    shown.length ? tableOf(caption, heads, shown, cells) : el("p", {}, "None of them locks or makes a third note that is heard."),
    el("p", { class: "hint" }, table.note),
    ...parts.filter(([group]) => !group.in_full).map(([group, rows]) => folded(group.says, rows, tableOf(`${caption}: ${group.says}`, heads, [["", rows]], cells))));
}

// --- what both are made of -----------------------------------------------------------------------

const third = (row, text) => el("span", { class: row.heard === "yes" ? "third-note" : "" }, pretty(text || "–"));

/** Rows that nobody hears, folded away. */
const folded = (says, rows, inside) => el("details", { class: "more" }, el("summary", {}, `${says}: ${rows.length} ${rows.length === 1 ? "ratio" : "ratios"}`), inside);

function button(row, text, choose) {
  return el("button", { type: "button", class: "quiet", "aria-label": `Set and play: ${text}, ${row.ratio}`, onclick: () => choose(row) }, pretty(text));
}

function tableOf(caption, heads, parts, cells) {
  const head = el("tr", {}, heads.map((text) => el("th", { scope: "col" }, text)));
  const title = (says) => says && el("tr", {}, el("th", { scope: "colgroup", colspan: heads.length, class: "group-title" }, says));
  return el("div", { class: "wide-table", tabindex: "0", role: "group", "aria-label": pretty(caption) }, el("table", { class: "plain locks" },
    el("caption", {}, pretty(caption)), el("thead", {}, head),
    parts.map(([says, rows]) => el("tbody", {}, title(says) || null,
      rows.map((row) => el("tr", {}, cells(row).map((cell) => el("td", {}, cell))))))));
}
