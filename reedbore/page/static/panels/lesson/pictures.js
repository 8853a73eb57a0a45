// The picture of a step, asked for with the lesson's own setup; and the sound of it.

import { dropped, post, rows } from "../../core/api.js";
import { canvas, printed, ticks } from "../../core/canvas.js";
import { el } from "../../core/dom.js";
import { clipOf, matchOf } from "../../core/sound.js";
import { pushChoices, startFilms, takeOf } from "../bore/bore.js";
import { startSpectrum } from "../spectrum.js";
import { readLook, startWaves } from "../waves.js";

/** Begin a picture in `root`: {leave, films}. One that is to be `still` does not wait to be seen, nor runs. */
export function startPicture(root, step, setup, { still = false } = {}) {
  return { push: pushes, bore: films, turns, waves: looked, spectrum: looked }[step.picture](root, setup, step, still);
}

function pushes(root, setup, step, still) {
  const begins = { bore: "tube", end: step.name === "push" ? "closed" : "open" };
  const choices = pushChoices(() => films.again(), begins), picture = el("div", {});
  root.append(choices.root, picture);
  const films = covering(startFilms(picture, choices.asks, { still }), setup);
  return { leave: films.leave, films };
}

function films(root, setup, step, still) {
  const found = covering(startFilms(root, () => takeOf(setup), { still }), setup);
  setup.watch((_, moving) => found.changed(moving));
  return { leave: found.leave, films: found };
}

function covering(films, setup) {
  films.player.cover(setup.covered);
  setup.on("covered", (covered) => films.player.cover(covered));
  return films;
}

/** Pictures of what /api/look tells. */
function looked(root, setup, step) {
  const says = el("p", { class: "hint", role: "status" });
  root.append(says);
  (step.picture === "waves" ? startWaves : startSpectrum)(root, setup);
  return asking(setup, says, async (signal) => {
    const answer = await post("/api/look", { words: setup.words }, { signal });
    setup.tell("looked", await readLook(answer));
  });
}

/** Ask now and after each change; the last question counts. */
function asking(setup, says, ask) {
  let pending = null;
  const again = async () => {
    pending?.abort();
    const mine = (pending = new AbortController());
    says.textContent = "The model plays it …";
    try {
      await ask(mine.signal);
      says.textContent = "";
    } catch (error) {
      if (!dropped(error) && !mine.signal.aborted) says.textContent = error.message;
    }
  };
  setup.watch(again);
  again();
  return { leave: () => pending?.abort() };
}

/** The strength of the partial that both notes share, over some seconds. */
function turns(root, setup) {
  let seen = null;
  const says = el("p", { class: "hint", role: "status" });
  const figure = canvas((...paper) => drawTurns(seen, ...paper), { label: "Strength of the partial that both notes share, over five seconds", height: 360 });
  root.append(says, figure.root);
  return asking(setup, says, async (signal) => {
    const answer = await post("/api/lesson/turns", { words: setup.words }, { signal });
    const [p, q] = JSON.parse(answer.headers.get("x-partials"));
    seen = { ...(await rows(answer)), p, q };
    figure.again();
  });
}

function drawTurns(seen, pen, width, height, colour) {
  if (!seen) return;
  const { time, strength, p, q } = seen, font = parseFloat(pen.font);
  const left = font * 1.2, right = font, top = font * 2.4, foot = font * 2.8, end = time[time.length - 1];
  const low = Math.min(...strength), high = Math.max(...strength);
  const x = (t) => left + (t / end) * (width - left - right), y = (s) => height - foot - ((s - low) / (high - low || 1)) * (height - top - foot);
  pen.fillStyle = colour.ink;
  pen.fillText(`partial ${p} of the horn with ${q} of the voice`, left, font * 1.2);
  pen.fillStyle = colour.faint;
  pen.strokeStyle = colour.rule;
  pen.textAlign = "center";
  for (const second of ticks(0, end, 6)) {
    pen.beginPath(), pen.moveTo(x(second), top), pen.lineTo(x(second), height - foot), pen.stroke();
    pen.fillText(printed(second), x(second), height - foot + font * 1.2);
  }
  pen.textAlign = "right";
  pen.fillText("seconds", width - right, height - font * 0.3);
  pen.strokeStyle = colour.third;
  pen.lineWidth = 4;
  pen.beginPath();
  strength.forEach((value, k) => pen[k ? "lineTo" : "moveTo"](x(time[k]), y(value)));
  pen.stroke();
}

// --- the sound -----------------------------------------------------------------------------------

/** A button that sounds the setup of a step, at one loudness for all of them, and what it says of that. */
export function startSound(setup, player) {
  let clip = null, pending = null;
  const says = el("span", { class: "hint", role: "status" });
  const button = el("button", { type: "button", "aria-pressed": "false", onclick: () => (on() ? player.stop() : sound()) }, "Hear it");
  const on = () => player.sounding?.who === "lesson";
  async function sound() {
    pending?.abort();
    const mine = (pending = new AbortController());
    player.wake();
    try {
      clip ??= await clipOf(setup.words, { audible: true, signal: mine.signal });
      if (mine.signal.aborted) return;
      await player.play(clip, { loop: true, who: "lesson", share: matchOf(clip) });
      const by = clip.liftDb;
      says.textContent = by > 3 ? `Made louder for the lesson, by ${Math.round(by)} dB: outside the horn it is that soft.` : "";
    } catch (error) {
      if (!dropped(error)) says.textContent = error.message;
    }
  }
  setup.watch(() => {
    const sounds = on();
    clip = null;
    if (sounds) sound();
  });
  const changed = () => {
    button.textContent = on() ? "Stop the sound" : "Hear it";
    button.setAttribute("aria-pressed", on());
  };
  const forget = player.onChange(changed);
  const leave = () => {
    pending?.abort();
    if (on()) player.stop();
    forget?.();
  };
  return { root: el("div", { class: "row" }, button, says), leave };
}
