// The question of a step: an answer, tried by the model; a wrong one gets a hint.

import { dropped, post } from "../../core/api.js";
import { el, field } from "../../core/dom.js";
import { noteOf, parseNote, plain, pretty } from "../../core/notes.js";

const SLOW = 1000; // ms after which it is told that the model is at work

/** The form of a task; `solved()` is called once the answer is right. */
export function taskOf(step, setup, solved) {
  const answer = answerOf(step.task, setup);
  const says = el("p", { class: "verdict-of-task", role: "status" });
  const send = el("button", { type: "submit" }, "Check it");
  const bar = el("progress", { hidden: true, "aria-label": "The model tries the answer" });
  const stop = el("button", { type: "button", class: "quiet", hidden: true, onclick: () => pending?.abort() }, "Call it off");
  let pending = null;
  const form = el("form", { class: "task" }, el("p", { class: "asks" }, pretty(step.task.asks)), answer.root,
    el("div", { class: "row" }, send, bar, stop), says);
  const busy = (is) => (send.disabled = is);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    pending?.abort();
    const mine = (pending = new AbortController());
    delete says.dataset.right;
    says.textContent = "";
    busy(true);
    const slow = setTimeout(() => (bar.hidden = stop.hidden = false), SLOW);
    try {
      const response = await post("/api/lesson/check", { step: step.name, answer: answer.value(), words: setup.words }, { signal: mine.signal });
      const told = await response.json();
      says.textContent = pretty(`${told.right ? "Right." : "Not yet."} ${told.says}`);
      says.dataset.right = told.right;
      if (told.right) solved();
    } catch (error) {
      says.textContent = dropped(error) ? "Called off." : error.message;
      says.dataset.right = false;
    }
    clearTimeout(slow);
    bar.hidden = stop.hidden = true;
    busy(false);
  });
  return { root: form, leave: () => pending?.abort() };
}

/** The input that suits a task: its root, and how to read it. */
function answerOf({ kind, unit, choices }, setup) {
  if (kind === "set") return { root: sungNote(setup), value: () => null };
  if (kind === "choice") {
    const pick = choices.map((text) => el("input", { type: "radio", name: "lesson-answer", value: text, required: true }));
    return {
      root: el("fieldset", { class: "answers" }, el("legend", {}, "Your answer"), pick.map((input, k) => el("label", {}, input, pretty(choices[k])))),
      value: () => pick.find((input) => input.checked)?.value ?? null,
    };
  }
  const input = el("input", { type: "number", step: "any", required: true });
  return { root: field(`Your answer [${unit}]`, input), value: () => Number(input.value) };
}

/** The sung note of the lesson: typed, or moved by semitones and cents; each move can be undone. */
function sungNote(setup) {
  const input = el("input", { type: "text", autocomplete: "off", "aria-label": "Sung note" });
  const put = (sung) => setup.set({ sung });
  const by = (cents) => {
    const midi = parseNote(setup.words.sung);
    if (midi !== null) put(noteOf(midi + cents / 100));
  };
  const move = (text, cents, says) => el("button", { type: "button", class: "quiet", "aria-label": says, onclick: () => by(cents) }, text);
  const undo = el("button", { type: "button", class: "quiet", onclick: () => setup.undo() }, "Undo");
  const show = () => {
    input.value = pretty(setup.words.sung);
    undo.disabled = !setup.undoable;
  };
  input.addEventListener("change", () => put(plain(input.value)));
  setup.watch(show);
  show();
  return el("div", { class: "row sung" }, field("Sung note", input),
    move("− semitone", -100, "A semitone down"), move("+ semitone", 100, "A semitone up"),
    move("− 2 cents", -2, "Two cents down"), move("+ 2 cents", 2, "Two cents up"), undo);
}
