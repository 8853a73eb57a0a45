// The sound of a passage: put together as it comes, played whole or one bar again and again, and where it is.

const SEAM = 0.012; // [s] of fade at either end of a bar that goes round
const LEAD = 0.02;

/** The parts of 16-bit samples that the server tells, as one buffer. */
export function createSound() {
  const parts = [];
  return {
    add: (part) => parts.push(Uint8Array.from(atob(part), (sign) => sign.charCodeAt(0))),
    whole({ rate, samples }) {
      const buffer = new AudioBuffer({ length: samples, sampleRate: rate }), into = buffer.getChannelData(0);
      let place = 0;
      for (const part of parts)
        for (const step of new Int16Array(part.buffer)) into[place++] = step / 32768;
      return buffer;
    },
  };
}

/** A bar of a buffer that goes round without a click. */
export function barOf(buffer, begin, end) {
  const { sampleRate } = buffer, first = Math.round(begin * sampleRate);
  const length = Math.max(Math.min(Math.round(end * sampleRate), buffer.length) - first, 1);
  const cut = new AudioBuffer({ length, sampleRate }), into = cut.getChannelData(0);
  buffer.copyFromChannel(into, 0, first);
  const fade = Math.min(Math.round(SEAM * sampleRate), length >> 1);
  for (let k = 0; k < fade; k += 1) {
    const share = 0.5 - 0.5 * Math.cos((Math.PI * (k + 0.5)) / fade);
    into[k] *= share;
    into[length - 1 - k] *= share;
  }
  return { buffer: cut, start: 0, end: length / sampleRate };
}

/** Play a buffer and tell `sheet` where it is: {play(at), stop(), loop}. `who` names it to the others. */
export function startSounding({ player, sheet, who, button }) {
  let buffer = null, bar = null, line = 0;
  const ours = () => player.sounding?.who === who;
  const show = () => {
    button.textContent = ours() ? "Stop" : "Play";
    button.disabled = !buffer;
  };
  function follow() {
    cancelAnimationFrame(line);
    if (!ours()) return sheet.at(null);
    sheet.at((bar ? bar.begin : 0) + Math.max(player.sounding.place(), 0));
    line = requestAnimationFrame(follow);
  }
  async function play(at = 0) {
    if (!buffer) return;
    const inside = bar && at >= bar.begin && at < bar.end ? at - bar.begin : 0;
    if (bar) await player.play(barOf(buffer, bar.begin, bar.end), { loop: true, who, at: inside });
    else await player.play({ buffer, start: 0, end: buffer.duration }, { loop: false, who, at: Math.max(at - LEAD, 0) });
    follow();
  }
  button.addEventListener("click", () => (ours() ? player.stop() : play()));
  player.onChange(() => {
    show();
    if (!ours()) follow();
  });
  show();
  return {
    play,
    stop: () => ours() && player.stop(),
    set(next) {
      buffer = next;
      show();
    },
    /** Only this bar, again and again; null for all. */
    only(next) {
      const on = ours();
      bar = next;
      if (on) play();
    },
  };
}
