// Sound: fetched as a take that loops, faded in, never louder than the take is, or than it may be matched.

import { post } from "./api.js";

const RATE = 48000, WAV_HEAD = 44; // [Hz], [bytes]
const FADE_IN = 0.12, CHANGE = 0.06, FADE_OUT = 0.15; // [s]

/** Ask for a take: {buffer, start, end, gainDb, matchDb}; what matches it to others is only worked out where it is wanted. */
export async function clipOf(words, { seconds = 2.5, matched = true, audible, signal } = {}) {
  const response = await post("/api/sound", { words, seconds, matched, audible }, { signal });
  const told = (name) => response.headers.get(name);
  const buffer = bufferOf(await response.arrayBuffer());
  return {
    buffer,
    start: Number(told("x-loop-start")),
    end: Number(told("x-loop-end")) || buffer.duration,
    gainDb: Number(told("x-gain-db")) || 0, // what the take was lowered by, 0 or less
    liftDb: Number(told("x-lift-db")) || 0, // what it was raised by, where it was to be `audible`
    matchDb: Number(told("x-match-db")) || 0, // what makes it as loud as others, still below the ceiling
  };
}

/** Unpack a WAV file of one channel with 16 bits, which is quicker than having it decoded. */
function bufferOf(wave) {
  const steps = new Int16Array(wave, WAV_HEAD);
  const buffer = new AudioBuffer({ length: steps.length, sampleRate: RATE });
  const samples = buffer.getChannelData(0);
  for (let k = 0; k < steps.length; k += 1) samples[k] = steps[k] / 32768;
  return buffer;
}

/** The factor that makes a clip as loud as others. */
export const matchOf = (clip) => 10 ** ((clip.matchDb ?? 0) / 20);

export function createPlayer() {
  let context = null, master = null, sounding = null, loudness = 0;
  const listeners = new Set();

  async function wake() {
    if (!context) {
      context = new AudioContext({ sampleRate: RATE, latencyHint: "interactive" });
      master = context.createGain();
      master.gain.value = loudness;
      master.connect(context.destination);
    }
    if (context.state !== "running") await context.resume();
  }

  /** Sound a clip; one that already sounds is cross-faded into it. `share` lowers it, or matches it, no more. */
  async function play(clip, { loop, who = "", share = 1, at = null }) {
    await wake();
    if (sounding) fade(sounding, CHANGE);
    const into = sounding ? CHANGE : FADE_IN, from = at ?? (sounding && loop ? clip.start : 0); // going on: no second attack
    start(clip, { loop, who, share, into, from });
    tell();
  }

  function start(clip, { loop, who, share, into, from }) {
    const voice = { ...begun(clip, master, { loop, share: Math.min(share, Math.max(matchOf(clip), 1)), into, from }), who, loop, share };
    voice.since = context.currentTime - from;
    voice.source.onended = () => sounding === voice && ((sounding = null), tell());
    sounding = voice;
  }

  /** Go on in a longer take of what sounds, from where it has come to. */
  function lengthen(clip) {
    if (!sounding) return;
    const { who, loop, share, since } = sounding, at = context.currentTime - since;
    fade(sounding, CHANGE);
    start(clip, { loop, who, share, into: CHANGE, from: at < clip.end ? at : clip.start });
  }

  function stop() {
    if (!sounding) return;
    fade(sounding, FADE_OUT);
    sounding = null;
    tell();
  }

  const tell = () => {
    document.documentElement.dataset.sounding = sounding ? sounding.who || "yes" : "";
    for (const fn of listeners) fn(sounding?.who ?? null);
  };

  return {
    play, stop, wake, lengthen,
    get sounding() { return sounding; },
    /** Set the slider's 0 to 1; squared, as ears hear it. */
    setLoudness(value) {
      loudness = Math.min(Math.max(value, 0), 1) ** 2;
      if (master) master.gain.setTargetAtTime(loudness, context.currentTime, 0.03);
    },
    onChange: (fn) => (listeners.add(fn), () => listeners.delete(fn)),
  };
}

/** Begin a clip: {source, level}. */
function begun(clip, master, { loop, share, into, from }) {
  const { context } = master, now = context.currentTime;
  const source = context.createBufferSource(), level = context.createGain();
  Object.assign(source, { buffer: clip.buffer, loop, loopStart: clip.start, loopEnd: clip.end });
  source.connect(level).connect(master);
  level.gain.setValueAtTime(0, now);
  level.gain.linearRampToValueAtTime(share, now + into);
  source.start(now, from);
  if (!loop) {
    const end = now + clip.end - from;
    level.gain.setValueAtTime(share, Math.max(end - FADE_OUT, now + into));
    level.gain.linearRampToValueAtTime(0, end);
    source.stop(end + 0.02);
  }
  /** What of the clip is heard now. [s] */
  const place = () => {
    const passed = from + context.currentTime - now - (context.outputLatency || 0);
    return loop && passed > clip.end ? clip.start + (passed - clip.start) % (clip.end - clip.start) : Math.min(passed, clip.end);
  };
  return { source, level, place };
}

function fade({ source, level: { gain, context } }, seconds) {
  const now = context.currentTime;
  gain.cancelScheduledValues(now);
  gain.setValueAtTime(gain.value, now);
  gain.linearRampToValueAtTime(0, now + seconds);
  source.stop(now + seconds + 0.02);
}

/**
 * Let a button sound something while it is held; a short tap, or a screen reader's click, plays it
 * once. `begin(loop)` starts it, `end()` stops it.
 */
export function holdable(button, begin, end) {
  const TAP = 300; // [ms]
  let since = null, handled = false;
  const press = () => {
    if (since != null) return;
    since = performance.now();
    handled = true;
    button.dataset.held = "";
    begin(true);
  };
  const release = () => {
    if (since == null) return;
    const tapped = performance.now() - since < TAP;
    since = null;
    delete button.dataset.held;
    if (tapped) begin(false);
    else end();
  };
  button.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    button.setPointerCapture(event.pointerId);
    press();
  });
  for (const name of ["pointerup", "pointercancel", "blur"]) button.addEventListener(name, release);
  button.addEventListener("keydown", (event) => {
    if (event.key !== " " && event.key !== "Enter") return;
    event.preventDefault();
    if (!event.repeat) press();
  });
  button.addEventListener("keyup", (event) => (event.key === " " || event.key === "Enter") && release());
  button.addEventListener("contextmenu", (event) => event.preventDefault()); // a long press on glass
  button.addEventListener("click", () => {
    if (!handled) begin(false);
    handled = false;
  });
}
