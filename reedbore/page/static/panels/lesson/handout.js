// The lesson on paper: what is read, each picture standing still, each question; with ?answers what
// the model finds, and the notes. All is asked anew, nothing is kept.

import { get, post } from "../../core/api.js";
import { el } from "../../core/dom.js";
import { pretty } from "../../core/notes.js";
import { startPicture } from "./pictures.js";
import { createSetup } from "./setup.js";

const MOMENT = { push: 0.12, tube: 0.12 }, SHOWN = { push: 0.62, tube: 0.85 }; // of a film, without and with its answer
const WAIT = 200; // ms between two looks whether a film is there

const withAnswers = new URLSearchParams(location.search).has("answers");

async function start() {
  const [steps, { care }] = await Promise.all([get("/api/lesson"), get("/api/choices")]);
  if (withAnswers) document.querySelector("h1").append(", with answers");
  document.querySelector("#care").textContent = care.join(" ");
  for (const [k, step] of steps.entries()) {
    await add(step, k, withAnswers ? await (await post("/api/lesson/truth", { step: step.name })).json() : null);
  }
  document.querySelector("#ready").textContent = "Ready.";
  document.querySelector("#print").disabled = false;
}

async function add(step, k, answer) {
  const picture = el("div", {}), setup = createSetup(step.words);
  setup.cover(step.covers && !answer);
  document.querySelector("#steps").append(el("section", {},
    el("h2", {}, `${k + 1}. ${step.title}`), step.says.map((text) => el("p", {}, pretty(text))),
    el("dl", { class: "words" }, step.explains.flatMap(([word, means]) => [el("dt", {}, word), el("dd", {}, pretty(means))])),
    picture, el("p", { class: "asks" }, pretty(step.task.asks)),
    answer ? el("div", { class: "answer" }, el("p", {}, el("strong", {}, pretty(answer.answer)), ` ${pretty(answer.said)}`),
      el("ul", {}, step.notes.map((text) => el("li", {}, pretty(text)))))
      : el("p", {}, step.task.choices.length ? step.task.choices.map((text) => `☐ ${text}`).join("   ") : el("span", { class: "line" }))));
  await drawn(startPicture(picture, step, setup, { still: true }), picture, (answer ? SHOWN : MOMENT)[step.name] ?? 0.3);
}

/** Wait until a picture is there; a film is stopped at its moment. */
async function drawn(begun, picture, share) {
  const busy = () => (begun.films ? !begun.films.player.film : picture.querySelector("[role=status]")?.textContent);
  while (busy()) await new Promise((done) => setTimeout(done, WAIT));
  const player = begun.films?.player;
  if (player) player.seek(Math.round(share * player.film.frames));
}

document.querySelector("#print").addEventListener("click", () => print());
start().catch((error) => (document.querySelector("#ready").textContent = error.message));
