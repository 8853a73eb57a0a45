// The stage of the lesson: one step over the whole window, text beside its picture, for one student
// or, presented, for a class. The page behind it, and the player's setup, stay as they are.

import { el } from "../../core/dom.js";
import { pretty } from "../../core/notes.js";
import { startPicture, startSound } from "./pictures.js";
import { keepProgress } from "./progress.js";
import { createSetup } from "./setup.js";
import { taskOf } from "./task.js";

const TYPES = "input:not([type=radio]), select, textarea, .bore-scene, canvas";

/** A stage: open(at), close(). `lesson` is {steps, at, done, player, closed}. */
export function createPodium(lesson) {
  let root = null, leaving = [], notes = false;

  function open(at) {
    if (!root) {
      root = el("div", { class: "podium", role: "dialog", "aria-modal": "true", "aria-label": "The lesson" });
      document.body.append(root);
      for (const other of document.body.children) if (other !== root) other.inert = true;
      addEventListener("keydown", key);
      document.addEventListener("fullscreenchange", changed);
    }
    show(at);
  }

  function close() {
    if (!root) return;
    leave();
    present(false);
    removeEventListener("keydown", key);
    document.removeEventListener("fullscreenchange", changed);
    for (const other of document.body.children) other.inert = false;
    root.remove();
    root = null;
    lesson.closed();
  }

  /** Leave by a button: the browser's back button then leads into the lesson again. */
  function left() {
    history.pushState(null, "", location.href);
    close();
  }

  const leave = () => {
    for (const end of leaving) end();
    leaving = [];
  };

  function show(at) {
    leave();
    const step = lesson.steps[at], setup = createSetup(step.words);
    lesson.at = at;
    keepProgress(lesson);
    setup.cover(step.covers && !lesson.done.has(step.name));
    const title = el("h2", { tabindex: "-1" }, `${at + 1}. ${step.title}`);
    const picture = el("div", { class: "podium-picture" });
    const sound = startSound(setup, lesson.player);
    const task = taskOf(step, setup, () => solved(step, setup));
    const again = el("button", { type: "button", class: "quiet", onclick: () => show(at) }, "Set it again");
    const told = el("div", { class: "podium-notes", hidden: !notes }, el("h3", {}, "For the teacher"), el("ul", {}, step.notes.map((text) => el("li", {}, pretty(text)))));
    root.replaceChildren(
      head(at, told),
      el("div", { class: "podium-body" },
        el("div", { class: "podium-text" }, title, step.says.map((text) => el("p", {}, pretty(text))),
          el("dl", { class: "words" }, step.explains.flatMap(([word, means]) => [el("dt", {}, word), el("dd", {}, pretty(means))])),
          task.root, told),
        el("div", { class: "podium-seen" }, el("p", { class: "watch" }, el("strong", {}, "Watch: "), pretty(step.watch)), picture,
          el("div", { class: "row" }, sound.root, again))),
      steering(at),
    );
    leaving = [startPicture(picture, step, setup).leave, sound.leave, task.leave];
    title.focus();
  }

  function solved(step, setup) {
    lesson.done.add(step.name);
    keepProgress(lesson);
    setup.cover(false);
    root.querySelector(".steps").replaceWith(contents());
    if (lesson.done.size === lesson.steps.length) {
      root.querySelector(".verdict-of-task").append(" That was the last of all the questions: now you know why two notes make a third.");
    }
  }

  // --- around the step ---------------------------------------------------------------------------

  function head(at, told) {
    const quiet = (text, onclick, more) => el("button", { type: "button", class: "quiet", onclick, ...more }, text);
    const noted = quiet("Notes", () => {
      notes = told.hidden;
      told.hidden = !notes;
      noted.setAttribute("aria-expanded", notes);
    }, { "aria-expanded": String(notes), class: "quiet podium-noted" });
    return el("div", { class: "podium-head" }, contents(),
      el("div", { class: "row" }, quiet(presentingSays(), () => present(!presenting()), { class: "quiet podium-present" }), noted, quiet("Leave the lesson", left)));
  }

  /** All steps, the one that is open, and those that are done. */
  function contents() {
    return el("nav", { "aria-label": "Steps of the lesson", class: "steps" }, el("ol", {}, lesson.steps.map((step, k) => {
      const done = lesson.done.has(step.name);
      const button = el("button", {
        type: "button", class: "quiet step", "aria-current": k === lesson.at ? "step" : null, onclick: () => go(k),
      }, done ? "✓" : String(k + 1));
      button.setAttribute("aria-label", `Step ${k + 1}, ${step.title}${done ? ", done" : ""}`);
      return el("li", {}, button);
    })));
  }

  function steering(at) {
    const button = (text, to, kind) => el("button", { type: "button", class: kind, disabled: to < 0 || to >= lesson.steps.length, onclick: () => go(to) }, text);
    return el("div", { class: "row podium-foot" }, button("Back", at - 1, "quiet"), button("On to the next step", at + 1, ""));
  }

  /** Another step; the browser's back button leads to the one before. */
  function go(at) {
    if (at < 0 || at >= lesson.steps.length || at === lesson.at) return;
    history.pushState({ lesson: at }, "", location.href);
    show(at);
  }

  // --- presenting --------------------------------------------------------------------------------

  const presentingSays = () => (presenting() ? "Stop presenting" : "Present");
  const presenting = () => "presenting" in document.documentElement.dataset;

  function present(on) {
    if (on === presenting()) return;
    if (on) document.documentElement.dataset.presenting = "";
    else delete document.documentElement.dataset.presenting;
    if (on) document.documentElement.requestFullscreen?.().catch(() => {}); // then it is only larger
    else if (document.fullscreenElement) document.exitFullscreen();
    const button = root?.querySelector(".podium-present");
    if (button) button.textContent = presentingSays();
    dispatchEvent(new Event("resize"));
  }

  const changed = () => !document.fullscreenElement && present(false);

  /** Next and back by keyboard or clicker, n for the notes. */
  function key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey || !root) return;
    const typing = event.target.closest?.(TYPES);
    const by = { PageDown: 1, PageUp: -1, ...(typing || event.target.type === "radio" ? {} : { ArrowRight: 1, ArrowLeft: -1 }) }[event.key];
    if (by) {
      event.preventDefault();
      go(lesson.at + by);
    } else if (event.key === "n" && !typing) root.querySelector(".podium-noted").click();
    else if (event.key === "Escape" && !document.fullscreenElement) (presenting() ? present(false) : left());
    else if (event.key === "Tab") keepInside(event);
  }

  /** Tab goes round inside the stage. */
  function keepInside(event) {
    const stops = [...root.querySelectorAll("button, input, select, summary, [tabindex='0']")].filter((node) => !node.disabled && node.checkVisibility());
    const edge = event.shiftKey ? stops[0] : stops.at(-1);
    if (document.activeElement !== edge) return;
    event.preventDefault();
    (event.shiftKey ? stops.at(-1) : stops[0]).focus();
  }

  return { open, close };
}
