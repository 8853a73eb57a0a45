// A horn or a voice of the user's own, out of a preset file: it joins the choices of this page.

import { post } from "./api.js";

/** Read a preset's text or a sidecar; what it brings of its own joins the choices. */
export async function readFile(state, asked) {
  const read = await (await post("/api/read", asked)).json();
  learn(state, "horns", read.horn, read.words.horn_text);
  learn(state, "voices", read.voice, read.words.voice_text);
  return read;
}

/** A link may bring a horn or a voice along: learn it before it is shown. */
export async function learnFromLink(state) {
  for (const kind of ["horn", "voice"]) {
    const preset = state.words[`${kind}_text`];
    if (preset) await readFile(state, { preset, name: `${state.words[kind]}.toml` });
  }
}

function learn(state, list, entry, text) {
  if (!entry) return;
  const own = { ...entry, title: `${entry.title} (own)`, text };
  state.choices[list] = [...state.choices[list].filter((each) => each.name !== entry.name), own];
  state.tell("choices", state.choices);
}
