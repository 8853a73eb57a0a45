// The lesson: one step at a time, read aloud, looked at, tried, and checked by the simulation.

import { get } from "../core/api.js";
import { el, field } from "../core/dom.js";
import { pretty } from "../core/notes.js";
import { beside } from "../core/stage.js";
import { ask } from "../core/stream.js";

const PANELS = { bore: "Inside the bore", waves: "The waves", spectrum: "What the sound is made of", map: "The lock map" };

export async function start(root, state) {
  const steps = await get("/api/lesson");
  const lesson = { steps, at: 0, done: new Set(), state, root };
  const begin = el("button", { type: "button", onclick: () => show(lesson, 0, true) }, "Start the lesson");
  root.append(el("p", {}, `${steps.length} steps at the old mill, a few minutes each: from the air in a tube to two notes that make a `
    + "third. Each step sets the controls; each has a task that the model itself checks."), begin);
}

function show(lesson, at, focus) {
  const step = lesson.steps[at];
  lesson.at = at;
  load(lesson, step);
  const title = el("h3", { tabindex: "-1" }, `${at + 1}. ${step.title}`);
  lesson.root.replaceChildren(
    contents(lesson), title,
    el("div", { class: "step-body" },
      el("div", { class: "aloud" }, step.says.map((text) => el("p", {}, pretty(text)))),
      el("div", {}, listening(lesson, step), taskOf(lesson, step))),
    steering(lesson),
  );
  beside(step.panel);
  if (focus) title.focus({ preventScroll: true });
}

function listening(lesson, step) {
  const quiet = (text, onclick) => el("button", { type: "button", class: "quiet", onclick }, text);
  return el("div", {},
    el("p", {}, el("strong", {}, "Watch: "), pretty(step.watch)),
    el("div", { class: "row" },
      el("button", { type: "button", onclick: () => lesson.state.play() }, "Hear it"),
      quiet(`Look: ${PANELS[step.panel]}`, () => look(step.panel)),
      quiet("Set the controls again", () => load(lesson, step))));
}

function load({ state }, step) {
  state.replace(structuredClone(step.words));
}

function look(id) {
  const panel = document.getElementById(id);
  beside(id);
  panel.tabIndex = -1;
  panel.focus({ preventScroll: true });
}

/** All steps, the one that is open, and those that are done. */
function contents(lesson) {
  return el("nav", { "aria-label": "Steps of the lesson" }, el("ol", { class: "steps" }, lesson.steps.map((step, k) => {
    const done = lesson.done.has(step.name);
    const button = el("button", {
      type: "button", class: "quiet step", "aria-current": k === lesson.at ? "step" : null, onclick: () => show(lesson, k, true),
    }, done ? "✓" : String(k + 1));
    button.setAttribute("aria-label", `Step ${k + 1}, ${step.title}${done ? ", done" : ""}`);
    return el("li", {}, button);
  })));
}

function steering(lesson) {
  const last = lesson.steps.length - 1;
  const go = (to) => show(lesson, to, true);
  return el("div", { class: "row" },
    lesson.at > 0 ? el("button", { type: "button", class: "quiet", onclick: () => go(lesson.at - 1) }, "Back") : null,
    lesson.at < last ? el("button", { type: "button", class: "quiet", onclick: () => go(lesson.at + 1) }, "On to the next step") : null);
}

// --- the task ------------------------------------------------------------------------------------

function taskOf(lesson, step) {
  const answer = answerOf(step.task);
  const says = el("p", { class: "caption verdict-of-task", role: "status" });
  const send = el("button", { type: "submit" }, "Check it");
  const form = el("form", { class: "task" }, el("p", { class: "asks" }, el("strong", {}, "Your task: "), pretty(step.task.asks)),
    el("div", { class: "row" }, answer.root, send), says);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    send.disabled = true;
    delete says.dataset.right;
    says.textContent = "The model tries it …";
    const [text, right] = await checked(lesson, step, answer.value());
    says.textContent = pretty(text);
    says.dataset.right = right;
    send.disabled = false;
    if (right) finish(lesson, step, says);
  });
  return form;
}

async function checked({ state }, step, answer) {
  try {
    const response = await ask("/api/lesson/check", { step: step.name, answer, words: state.words });
    const told = await response.json();
    return [`${told.right ? "Right." : "Not yet."} ${told.says}`, told.right];
  } catch (error) {
    return [error.message, false];
  }
}

function finish(lesson, step, says) {
  lesson.done.add(step.name);
  lesson.root.querySelector("nav").replaceWith(contents(lesson));
  if (lesson.done.size === lesson.steps.length) says.append(" That was the last of all the tasks: now you know why two notes make a third.");
}

/** The input that suits a task: its root, and how to read it. */
function answerOf({ kind, unit, choices }) {
  if (kind === "set") return { root: el("p", { class: "hint" }, "The answer is what the controls above are set to."), value: () => null };
  if (kind === "choice") {
    const pick = el("select", {}, choices.map((text) => el("option", { value: text }, pretty(text))));
    return { root: field("Your answer", pick), value: () => pick.value };
  }
  const number = kind === "number";
  const input = el("input", number ? { type: "number", step: "any", required: true } : { type: "text", required: true, autocomplete: "off" });
  return { root: field(number ? `Your answer [${unit}]` : "Your answer", input), value: () => (number ? Number(input.value) : input.value) };
}
