// Reed, bore and voice: what a player changes now and then, and every other setting by its name.

import { choice, complain, el, field, slider } from "../../core/dom.js";

const VOWELS = [["none", "none"], ["neutral", "neutral"], ["a", "a"], ["i", "i"], ["u", "u"]];
const LONGEST_PUSH = 20; // [mm]
const WIDE = matchMedia("(min-width: 60rem)");

export function startSettings(state) {
  const put = (key) => (value, moving) => state.set({ settings: { [key]: value } }, { moving });
  const standing = (key) => Number(state.words.settings[key] ?? tuned[key] ?? own()[key] ?? state.choices.quantities[key]?.value);
  const own = () => state.choices.horns.find((horn) => horn.name === state.words.horn)?.settings ?? {};
  let tuned = {}; // what the setup that was judged last stands at
  const strength = slider({ label: "Reed strength", low: 1, high: 5, step: 0.1, says: (v) => v.toFixed(1), move: put("reed.strength") });
  const opening = slider({ label: "Tip opening", low: 0.4, high: 2.5, step: 0.01, says: (v) => `${v.toFixed(2)} mm`, move: put("reed.opening_mm") });
  const lip = slider({ label: "Firmness of the lip", low: 0.5, high: 2, step: 0.05, says: (v) => `× ${v.toFixed(2)}`, move: put("reed.lip") });
  const length = pushed(state);
  const vowel = choice("Vowel on the tongue", VOWELS, (v) => state.set({ settings: { "voice.vowel": v === "none" ? null : v } }));
  const list = el("div", { class: "chips" }), any = anySetting(state);
  const details = el("details", { class: "more" }, el("summary", {}, "Reed, bore, vowel and all the rest"),
    el("div", { class: "two" }, strength.root, opening.root, lip.root, length.root), vowel.root, any.root, list);
  details.open = WIDE.matches;

  function show() {
    strength.show(standing("reed.strength"));
    if (standing("reed.opening_mm")) opening.show(standing("reed.opening_mm"));
    lip.show(standing("reed.lip"));
    vowel.show(state.words.settings["voice.vowel"] ?? "none");
    length.show(tuned["bore.length_mm"]);
    list.replaceChildren(...Object.entries(state.words.settings).map(([key, value]) =>
      el("button", { type: "button", class: "chip", "aria-label": `Take back ${key} = ${value}`, onclick: () => state.set({ settings: { [key]: null } }) },
        `${key} = ${typeof value === "number" ? Number(value.toFixed(4)) : value}`, el("span", { "aria-hidden": "true" }, " ×"))));
  }
  let horn = state.words.horn;
  state.watch(() => {
    if (horn !== state.words.horn) tuned = {};
    horn = state.words.horn;
    show();
  });
  state.onJudged((told) => ((tuned = told.settings ?? {}), show()));
  show();
  return {
    root: details,
    /** Where a setting by this name is typed; null if there is none. */
    field(name) {
      const found = any.field(name);
      if (found) details.open = true;
      return found;
    },
  };
}

/** The mouthpiece pushed in or pulled out: the bore's length against the one that was tuned. */
function pushed(state) {
  const key = "bore.length_mm";
  let base = null;
  const control = slider({
    label: "Bore length", low: -LONGEST_PUSH, high: LONGEST_PUSH, step: 0.5,
    says: (by) => (by === 0 ? "in tune" : `${by > 0 ? "+" : "−"}${Math.abs(by)} mm`),
    move: (by, moving) => base && state.set({ settings: { [key]: by ? Number((base + by).toFixed(3)) : null } }, { moving }),
  });
  return {
    root: control.root,
    show(length) {
      const set = state.words.settings[key];
      if (set === undefined && length) base = length;
      base ??= set ?? null; // a link that names a length: pushes count from there
      control.input.disabled = base === null;
      control.show(set === undefined || base === null ? 0 : Math.round((set - base) * 2) / 2);
    },
  };
}

/** Any quantity by its name, with its range and what it is. */
function anySetting(state) {
  const known = state.choices.quantities;
  const usable = Object.keys(known).filter((key) => !/^(passage|bore\.(sections|holes))\./.test(key)).sort();
  const pick = el("select", { id: "setting", onchange: tell }, usable.map((key) => el("option", { value: key }, key)));
  const value = el("input", { type: "number", step: "any", id: "setting-value", inputmode: "decimal" });
  const says = el("p", { class: "hint" });
  const set = () => {
    if (value.value === "") complain(value, "Write a number");
    else state.set({ settings: { [pick.value]: Number(value.value) } });
  };
  function tell() {
    const { low, high, unit, says: what } = known[pick.value];
    says.textContent = `${what}; ${Number(low.toPrecision(6))} to ${Number(high.toPrecision(6))} ${unit}`;
    value.value = state.words.settings[pick.value] ?? known[pick.value].value ?? "";
    complain(value);
  }
  value.addEventListener("keydown", (event) => event.key === "Enter" && set());
  if (usable.length) tell();
  const root = el("div", {}, el("div", { class: "setting" }, field("Any other setting", pick), field("Value", value),
    el("button", { type: "button", class: "quiet", onclick: set }, "Set")), says);
  return {
    root,
    field(name) {
      if (!usable.includes(name)) return null;
      pick.value = name;
      tell();
      return value;
    },
  };
}
