// The microphone: asked for when it is wanted, let go as soon as it is not, and kept as it was heard.

const WHY = {
  NotFoundError: "No microphone was found: plug one in, or choose a sound file.",
  NotAllowedError: "The microphone was refused: allow it for this page in the browser, or choose a sound file.",
  NotReadableError: "The microphone is in use elsewhere or does not answer: free it, or choose a sound file.",
};
const NONE = "This browser gives the page no microphone: choose a sound file.";
const PLAIN = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: { ideal: 2 } };
const MOST_CHANNELS = 2;
const PATIENCE = 500; // [ms] for the last samples, should the sound have stopped altogether

/**
 * Begin to record: {stop(), seconds(), rate}. `heard(peak)` is told how loud each block is, `gone()`
 * that the microphone is no longer there. `stop()` brings the channels, to the last sample.
 */
export async function record({ heard, gone }) {
  const devices = navigator.mediaDevices;
  if (!devices?.getUserMedia) throw new Error(NONE);
  let stream;
  try {
    stream = await devices.getUserMedia({ audio: PLAIN, video: false });
  } catch (error) {
    throw new Error(WHY[error.name] ?? `The microphone cannot be had (${error.message || error.name}): choose a sound file.`);
  }
  const context = new AudioContext();
  const leave = () => {
    for (const track of stream.getTracks()) track.stop();
    if (context.state !== "closed") context.close();
  };
  try {
    await context.audioWorklet.addModule("panels/voice/taking.js");
    if (context.state !== "running") await context.resume();
    const blocks = [];
    let count = 0;
    const taker = new AudioWorkletNode(context, "taking", { numberOfOutputs: 0 });
    let rest = () => {};
    taker.port.onmessage = ({ data }) => {
      if (!data) return rest();
      blocks.push(data);
      count += data[0].length;
      heard(data[0].reduce((most, one) => Math.max(most, Math.abs(one)), 0));
    };
    context.createMediaStreamSource(stream).connect(taker);
    stream.getAudioTracks()[0].addEventListener("ended", () => gone());
    const stop = async () => {
      const handed = new Promise((done) => (rest = done));
      taker.port.postMessage("hand");
      await Promise.race([handed, new Promise((done) => setTimeout(done, PATIENCE))]);
      leave();
      return channelsOf(blocks, count);
    };
    return { stop, seconds: () => count / context.sampleRate, rate: context.sampleRate };
  } catch (error) {
    leave();
    throw error;
  }
}

/** One array a channel; two that are the same are one. */
function channelsOf(blocks, count) {
  const wide = Math.min(MOST_CHANNELS, ...blocks.map((block) => block.length));
  const channels = blocks.length ? Array.from({ length: wide }, (_, k) => joined(blocks, k, count)) : [];
  const [one, other] = channels;
  return other && one.every((value, k) => value === other[k]) ? [one] : channels;
}

function joined(blocks, channel, count) {
  const all = new Float32Array(count);
  let place = 0;
  for (const block of blocks) (all.set(block[channel], place), (place += block[channel].length));
  return all;
}

/** A WAV file of 32-bit floats: what was heard, to the last bit. */
export function wavOf(channels, rate) {
  const wide = channels.length, count = channels[0].length, bytes = 4 * wide * count;
  const head = new DataView(new ArrayBuffer(44));
  const word = (at, text) => [...text].forEach((sign, k) => head.setUint8(at + k, sign.charCodeAt(0)));
  word(0, "RIFF"), head.setUint32(4, 36 + bytes, true), word(8, "WAVEfmt "), head.setUint32(16, 16, true);
  head.setUint16(20, 3, true), head.setUint16(22, wide, true), head.setUint32(24, rate, true);
  head.setUint32(28, 4 * wide * rate, true), head.setUint16(32, 4 * wide, true), head.setUint16(34, 32, true);
  word(36, "data"), head.setUint32(40, bytes, true);
  const samples = new Float32Array(wide * count);
  channels.forEach((channel, k) => channel.forEach((one, n) => (samples[n * wide + k] = one)));
  return new Blob([head, samples], { type: "audio/wav" });
}
