// The lesson on the page: how far one has come, where it begins, its handout. It runs on a stage of its own.

import { get } from "../../core/api.js";
import { el } from "../../core/dom.js";
import { forgetProgress, progress } from "./progress.js";
import { createPodium } from "./podium.js";

export async function start(root, state, player) {
  const steps = await get("/api/lesson"), begin = el("div", { class: "row" }), far = el("p", { class: "hint" });
  const lesson = { steps, player, ...progress(), closed: () => (show(), begin.querySelector("button").focus()) };
  lesson.at = Math.min(Math.max(lesson.at, 0), steps.length - 1);
  const podium = createPodium(lesson);

  function enter(at) {
    state.stop();
    history.pushState({ lesson: at }, "", location.href);
    podium.open(at);
  }
  function show() {
    const { at, done } = lesson, begun = at > 0 || done.size > 0;
    const button = (text, onclick, kind = "") => el("button", { type: "button", class: kind, onclick }, text);
    begin.replaceChildren(
      button(begun ? `Go on with step ${at + 1}` : "Start the lesson", () => enter(lesson.at)),
      ...(begun ? [button("Begin anew", () => (forgetProgress(), Object.assign(lesson, { at: 0, done: new Set() }), enter(0)), "quiet")] : []),
      el("a", { class: "handout", href: "panels/lesson/handout.html", target: "_blank" }, "Handout to print"),
      el("a", { class: "handout", href: "panels/lesson/handout.html?answers", target: "_blank" }, "The same with answers and notes"));
    far.textContent = begun ? `${done.size} of ${steps.length} questions answered. The browser keeps this.` : "";
  }
  root.append(el("p", {}, `${steps.length} steps at the old mill, a few minutes each: from a push in a tube to a horn that takes the voice along. Each asks a question `
    + "that its picture answers and the model checks. The lesson has a setup of its own: what is set on this page stays as it is."), begin, far);
  show();

  addEventListener("popstate", ({ state: kept }) => {
    const at = kept?.lesson;
    if (Number.isInteger(at) && at < steps.length) podium.open(at);
    else podium.close();
  });
  if (Number.isInteger(history.state?.lesson)) podium.open(lesson.at); // the page was loaded anew within the lesson
}
