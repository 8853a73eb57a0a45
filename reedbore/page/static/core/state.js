// The one thing all panels share: the words of the setup, as the commands take them.
//
// state.words                the setup now; read it, change it through `set` only
// state.set(patch)           merge: patch.settings key by key, null takes a word or a setting back
// state.set(patch, {moving}) the same while a slider is being dragged
// state.replace(words)       forget all words but these
// state.subscribe(fn)        fn(words) after every change that has come to rest; returns the way out
// state.watch(fn)            fn(words) on every move too
// state.play(), state.stop() filled in by sound.js: hear the setup that `words` tell
// state.choices              what /api/choices told
// state.linkSays             what of the link that was opened could not be used
// state.matched              whether sounds are brought to one loudness for listening; no part of the setup
// state.told                 what was answered about these words so far: told.predicted, heard, looked, judged
// state.onJudged(fn)         fn(judgement) whenever it has
// state.on(kind, fn)         answers as they come: "predicted", "heard", "looked", "judged", and "trouble", an Error
//                            whose `where` names the word or setting that it is about, if it is about one
// state.trouble(error, words) tell of what went wrong with a question about these words

import { dropped } from "./api.js";

export const DEMO = { horn: "tenor-saxophone", fingered: "Bb2", sung: "D4-13.8c", voice: "low-male" };

const USUAL_A4 = 440; // [Hz]

const same = (one, two) => JSON.stringify(one ?? null) === JSON.stringify(two ?? null);

function merged(words, patch) {
  const next = { ...words, ...patch };
  const settings = { ...words.settings, ...patch.settings };
  for (const key of Object.keys(settings)) if (settings[key] == null) delete settings[key];
  for (const key of Object.keys(next)) if (next[key] == null && key !== "sung") delete next[key];
  if (!next.written) delete next.written;
  if (next.a4 === USUAL_A4) delete next.a4;
  return { ...next, settings };
}

/** Words that are not the demo's, in a fixed order: the same setup gives the same link. */
export function difference(words) {
  const found = {};
  for (const key of Object.keys(words).sort()) if (!same(words[key], DEMO[key])) found[key] = words[key];
  if (found.settings && !Object.keys(found.settings).length) delete found.settings;
  return found;
}

export function hashOf(words) {
  const found = difference(words);
  return Object.keys(found).length ? "#" + encodeURIComponent(JSON.stringify(found)) : "";
}

const KINDS = {
  horn: "string", fingered: "string", sung: "string", voice: "string", breath: "string", fingering: "string",
  horn_text: "string", voice_text: "string",
  depth: "number", a4: "number", written: "boolean", settings: "object",
};

const IS_LINK = /^#(%7B|\{)/i;

/** The words of a link; whatever is no word, or of the wrong kind, is left out, and `says` tells of that. */
function readLink(hash) {
  if (!IS_LINK.test(hash)) return { words: {}, says: "" };
  try {
    const found = Object.entries(JSON.parse(decodeURIComponent(hash.slice(1))));
    const fits = ([key, value]) => (value === null ? key === "sung" : typeof value === KINDS[key] && !Array.isArray(value));
    const left = found.filter((one) => !fits(one)).map(([key]) => key);
    return { words: Object.fromEntries(found.filter(fits)), says: left.length ? `Of this link ${left.join(", ")} cannot be used and is left out.` : "" };
  } catch {
    return { words: {}, says: "This link cannot be read, it may have been cut short: this is the demo." };
  }
}

export function createState(choices) {
  const atRest = new Set(), always = new Set(), answers = {};
  const tell = (moving) => {
    for (const fn of always) fn(state.words, moving);
    if (moving) return;
    const link = location.pathname + (hashOf(state.words) || location.search);
    history.replaceState(null, "", link);
    for (const fn of atRest) fn(state.words);
  };
  const renew = (words) => Object.assign(state, { words, told: {} });
  const keep = (set, fn) => (set.add(fn), () => set.delete(fn));
  const link = readLink(location.hash);
  const state = {
    choices,
    linkSays: link.says,
    told: {},
    matched: false,
    words: merged({ ...DEMO, settings: {} }, link.words),
    set(patch, { moving = false } = {}) {
      const next = merged(state.words, patch);
      if (!same(next, state.words)) renew(next); // the same words: answers to them still hold
      tell(moving);
    },
    replace(words) {
      renew(merged({ ...DEMO, settings: {} }, words));
      tell(false);
    },
    subscribe: (fn) => keep(atRest, fn),
    watch: (fn) => keep(always, fn),
    on: (kind, fn) => keep((answers[kind] ??= new Set()), fn),
    onJudged: (fn) => state.on("judged", fn),
    tell(kind, answer) {
      if (kind !== "trouble" && kind !== "matched") state.told[kind] = answer;
      for (const fn of answers[kind] ?? []) fn(answer);
    },
    /** A question that was called off, or that the setup has moved on from, troubles nobody. */
    trouble(error, words) {
      if (!dropped(error) && words === state.words) state.tell("trouble", error);
    },
    play() {},
    stop() {},
  };
  addEventListener("hashchange", () => {
    if (!IS_LINK.test(location.hash)) return;
    const { words, says } = readLink(location.hash);
    state.linkSays = says;
    state.replace(words);
  });
  return state;
}
