// Puts the page together and asks the server: arithmetic on every move, sound first when it rests.

import { get, latest } from "./core/api.js";
import { startCompare } from "./panels/compare.js";
import { startControls } from "./panels/controls/controls.js";
import { calmly, el } from "./core/dom.js";
import { startFiles } from "./panels/files.js";
import { learnFromLink } from "./core/presets.js";
import { startPlaying } from "./panels/answer/listen.js";
import { createPlayer } from "./core/sound.js";
import { startSpectrum } from "./panels/spectrum.js";
import { startStrip } from "./panels/answer/strip.js";
import { createState } from "./core/state.js";
import { startTheme } from "./core/theme.js";
import { startVerdict } from "./panels/answer/answer.js";
import { readLook, startWaves } from "./panels/waves.js";

const PANELS = {
  bore: "bore/bore", lesson: "lesson/lesson", map: "map/map", table: "table",
  atlas: "atlas/atlas", passage: "passage/passage", voice: "voice/voice",
};
const room = (id) => document.querySelector(`#${id} .room`);

/** Go to a part of the page and leave the link alone, which tells the setup. */
function startContents() {
  for (const link of document.querySelectorAll('a[href^="#"]'))
    link.addEventListener("click", (event) => {
      event.preventDefault();
      const part = document.querySelector(link.getAttribute("href"));
      part.tabIndex = -1;
      part.focus({ preventScroll: true });
      part.scrollIntoView();
    });
}

async function start() {
  startContents();
  startTheme(document.querySelector("#theme"));
  const choices = await get("/api/choices");
  const state = createState(choices), player = createPlayer();
  await learnFromLink(state).catch(() => {}); // the setup will tell what is wrong with it
  globalThis.reedbore = { state, player, latencies: [] }; // for tests, and for the curious
  const playRoom = el("div", { class: "playing" });
  const playing = startPlaying(playRoom, state, player);
  const begin = startAsking(state, playing); // hears of a change first: its sound is asked for before anything is drawn
  startVerdict(room("answer"), state, playRoom);
  startStrip(state, playing.buttons);
  startControls(room("controls"), state);
  startWaves(room("waves"), state);
  startSpectrum(room("spectrum"), state);
  startCompare(room("compare"), state, player);
  startFiles(room("files"), state);
  room("care").replaceChildren(...choices.care.map((sentence) => el("li", {}, sentence)));
  document.querySelector("#foot").textContent = `reedbore ${choices.version}: a model, not your horn. Nothing leaves this machine.`;

  await begin();
  await Promise.all(Object.keys(PANELS).map((name) => startPanel(name, state, player)));
}

/** Ask whatever a change makes worth asking, and drop what was asked before it: the server is to be free. */
function startAsking(state, playing) {
  const predict = latest("/api/predict"), look = latest("/api/look"), judge = latest("/api/judge");
  const answer = async (kind, asked, read) => {
    const { words } = state;
    try {
      const told = await read(await asked({ words }));
      if (words === state.words) state.tell(kind, told);
    } catch (error) {
      state.trouble(error, words);
    }
  };
  const json = (response) => response.json();
  let asked = null;
  const arithmetic = () => {
    if (state.words === asked) return; // a slider let go where it was
    asked = state.words;
    answer("predicted", predict, json);
  };
  state.on("trouble", () => (asked = null));
  const rest = async (words, heard) => {
    try {
      await playing.refresh(words, heard);
    } catch {
      return; // told already
    }
    if (words === state.words) answer("looked", look, readLook), answer("judged", judge, json);
  };
  const calm = calmly((words) => rest(words, true));
  state.watch((words, moving) => {
    look.drop();
    judge.drop();
    playing.foresee(words);
    if (!moving) calm(words);
    arithmetic();
  });
  return () => {
    arithmetic();
    return rest(state.words, false);
  };
}

/** A panel that cannot be had, or breaks, leaves the others alone. */
async function startPanel(name, state, player) {
  try {
    const panel = await import(`./panels/${PANELS[name]}.js`);
    await panel.start(room(name), state, player);
  } catch (error) {
    console.error(name, error);
    room(name).replaceChildren(el("p", { class: "hint" }, "This part of the page could not be started."));
  }
}

start().catch((error) => {
  console.error(error);
  document.querySelector("#answer .room").replaceChildren(el("p", { role: "alert", class: "big" }, error.message));
});
