// Hands out what the microphone hears, sample by sample: nothing is packed, lost or made prettier.
// Asked for the rest, it hands that out and then null.

const EACH = 4096; // samples

class Taking extends AudioWorkletProcessor {
  constructor() {
    super();
    this.kept = [];
    this.count = 0;
    this.port.onmessage = () => {
      if (this.count) this.hand();
      this.port.postMessage(null);
    };
  }

  process([heard]) {
    if (heard.length) {
      this.kept.push(heard.map((channel) => channel.slice()));
      this.count += heard[0].length;
    }
    if (this.count >= EACH) this.hand();
    return true;
  }

  hand() {
    const wide = Math.min(...this.kept.map((block) => block.length));
    const joined = Array.from({ length: wide }, (_, channel) => {
      const all = new Float32Array(this.count);
      let place = 0;
      for (const block of this.kept) (all.set(block[channel], place), (place += block[channel].length));
      return all;
    });
    this.port.postMessage(joined, joined.map((channel) => channel.buffer));
    this.kept = [];
    this.count = 0;
  }
}

registerProcessor("taking", Taking);
