// Answers that come line by line, and work that can be called off.

import { dropped, post } from "./api.js";
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
      if (told.error) throw new Error(told.error);
      yield told;
    }
    if (done) return;
  }
}

function brokenOff(error) {
  if (dropped(error)) throw error;
  return { done: true }; // the server has gone: what was being told knows what is missing
}

/**
 * A button that starts work, one that calls it off, how far it is, and what it says.
 * `work(tell, signal)` does it; `tell(text, share)` shows how far it is.
 */
export function startable({ start, again, cancel, work }) {
  const go = el("button", { type: "button", onclick: () => run() }, start);
  const stop = el("button", { type: "button", class: "quiet", hidden: true, onclick: () => mine?.abort() }, cancel);
  const bar = el("progress", { max: 1, value: 0, hidden: true, "aria-label": start });
  const says = el("p", { class: "says-progress", role: "status" });
  let mine = null;

  const tell = (text, share) => {
    if (says.textContent !== text) says.textContent = text;
    if (share != null) bar.value = share;
  };
  async function run() {
    mine?.abort();
    const signal = (mine = new AbortController()).signal;
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
