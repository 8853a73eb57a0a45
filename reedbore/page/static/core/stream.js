// Answers that come line by line, and work that can be called off.

import { dropped, post, wrong } from "./api.js";
import { el } from "./dom.js";

/** The JSON lines of an answer, one by one; a line that tells of a mistake is thrown. One that breaks off just ends. */
export async function* lines(response) {
  const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read().catch(brokenOff);
    const parts = (rest + (value ?? "")).split("\n");
    rest = done ? "" : parts.pop();
    for (const part of parts) {
      if (!part) continue;
      const told = JSON.parse(part);
      if (told.error) throw wrong(told);
      yield told;
    }
    if (done) return;
  }
}

function brokenOff(error) {
  if (dropped(error)) throw error;
  return { done: true }; // the server has gone: what was being told knows what is missing
}

const SURE_AFTER = 2, SURE_FROM = 0.04; // [s], share done: before that nobody knows how long it takes

/** How long work will still take, from the time that its first share took; nothing as long as that is not known. */
export function left(seconds, share) {
  if (seconds < SURE_AFTER || share < SURE_FROM || share >= 1) return "";
  const rest = (seconds * (1 - share)) / share;
  return rest < 10 ? "some seconds left" : rest < 90 ? `about ${10 * Math.ceil(rest / 10)} s left` : `about ${Math.ceil(rest / 60)} minutes left`;
}

/**
 * A button that starts work, one that calls it off, how far it is, and what it says.
 * `work(tell, signal)` does it; `tell(text, share)` shows how far it is and, once that is known, how long it will take.
 */
export function startable({ start, again, cancel, work }) {
  const go = el("button", { type: "button", onclick: () => run() }, start);
  const stop = el("button", { type: "button", class: "quiet", hidden: true, onclick: () => mine?.abort() }, cancel);
  const bar = el("progress", { max: 1, value: 0, hidden: true, "aria-label": start });
  const says = el("p", { class: "says-progress", role: "status" });
  let mine = null, since = 0, from = 0, last = NaN; // shares: where what is timed began, and the one before

  const tell = (text, share) => {
    const now = performance.now();
    if (share != null) {
      if (!(share >= last)) [since, from] = [now, share]; // the first one, or of another part of the work
      last = share;
    }
    const rest = share == null ? "" : left((now - since) / 1000, (share - from) / (1 - from || 1));
    const told = rest ? `${text.replace(/ …$/, "")}: ${Math.floor(100 * share)} %, ${rest}` : text;
    if (says.textContent !== told) says.textContent = told;
    if (share != null) bar.value = share;
  };
  async function run() {
    mine?.abort();
    const signal = (mine = new AbortController()).signal;
    last = NaN;
    bar.value = 0;
    show(true);
    try {
      tell(await work(tell, signal), 1);
    } catch (error) {
      if (signal.aborted && mine.signal !== signal) return; // another one has begun
      tell(dropped(error) || signal.aborted ? "Called off. What was found so far stays." : error.message);
    }
    if (mine.signal === signal) show(false);
  }
  function show(busy) {
    const held = document.activeElement === (busy ? go : stop);
    stop.hidden = bar.hidden = !busy;
    go.hidden = busy;
    go.textContent = busy ? go.textContent : again;
    if (held) (busy ? stop : go).focus();
  }
  return { root: el("div", { class: "row startable" }, go, stop, bar, says), run, stop: () => mine?.abort() };
}

export const ask = (path, body, signal) => post(path, body, { signal });

/** Words with a patch put on them, as state.set does it. */
export function patched(words, ...patches) {
  const next = { ...words, settings: { ...words.settings } };
  for (const { settings = {}, ...rest } of patches) {
    Object.assign(next, rest);
    for (const [name, value] of Object.entries(settings)) {
      if (value == null) delete next.settings[name];
      else next.settings[name] = value;
    }
  }
  return next;
}
