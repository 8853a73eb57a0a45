// The answer of /api/bore as one object, and what the pictures ask of it between two frames.

const told = (response, name) => JSON.parse(response.headers.get(name) || "null");

/** One moving bore: pressures [Pa] frame by frame, positions [m], times [s], signals, captions. */
export async function film(response) {
  const both = new Float32Array(await response.arrayBuffer()), half = both.length / 2;
  const pressure = both.subarray(0, half), forward = both.subarray(half);
  const times = told(response, "x-times"), positions = told(response, "x-positions");
  const shape = told(response, "x-outline");
  const ratio = /^(\d+)\/(\d+)$/.exec(response.headers.get("x-ratio") ?? "");
  const all = {
    pressure, forward, times, positions,
    pulse: response.headers.get("x-kind") === "pulse", // one push in a quiet bore, nobody plays
    widens: told(response, "x-widens") ?? false, // then the rows are weighed by the width
    extra: told(response, "x-extra") ?? 0, // how far behind an open end the waves turn [m]
    frames: times.length,
    points: positions.length,
    step: (times.at(-1) - times[0]) / (times.length - 1),
    signals: told(response, "x-signals"),
    captions: told(response, "x-captions") ?? [],
    outline: shape.outline,
    holes: shape.holes,
    row: shape.end === "lattice", // an endless row of open holes goes on beyond the end
    stopped: shape.end === "closed",
    ratio: ratio && [Number(ratio[1]), Number(ratio[2])],
  };
  return { ...all, ...span(all) };
}

const SEEN = 0.25; // share of the scale that the bore needs to be seen on the scale of the mouth

/** Lowest and highest pressure at each point over the whole film; over all points, of both waves too, and with the mouth. */
function span({ pressure, forward, frames, points, signals }) {
  const lowest = new Float32Array(points).fill(Infinity), highest = new Float32Array(points).fill(-Infinity);
  const inside = [0, 0];
  for (let k = 0; k < frames * points; k++) {
    const at = k % points, back = pressure[k] - forward[k];
    if (pressure[k] < lowest[at]) lowest[at] = pressure[k];
    if (pressure[k] > highest[at]) highest[at] = pressure[k];
    inside[0] = Math.min(inside[0], pressure[k], forward[k], back);
    inside[1] = Math.max(inside[1], pressure[k], forward[k], back);
  }
  const loudest = Math.max(1e-9, ...highest, ...lowest.map((value) => -value));
  const all = [Math.min(inside[0], ...signals.mouth), Math.max(inside[1], ...signals.mouth)];
  // Beside a breath that only streams through, what swings in the bore would be a flat line.
  const apart = inside[1] - inside[0] < SEEN * (all[1] - all[0]), [low, high] = apart ? inside : all;
  return { lowest, highest, low, high, loudest, apart };
}

/** Row of pressures, or of another such table, at the moment `at` (in frames, with fractions), written into `row`. */
export function pressuresAt(film, at, row, table = film.pressure) {
  const first = Math.floor(at), part = at - first;
  const one = first * film.points, two = ((first + 1) % film.frames) * film.points;
  for (let k = 0; k < film.points; k++) {
    row[k] = table[one + k] * (1 - part) + table[two + k] * part;
  }
  return row;
}

/** One signal at the moment `at`; after the last frame the film begins again. */
export function valueAt(signal, at) {
  const first = Math.floor(at), part = at - first;
  return signal[first] * (1 - part) + signal[(first + 1) % signal.length] * part;
}

/** A phase at the moment `at`: it runs on where a signal would begin again. */
export function phaseAt(phase, at) {
  const first = Math.min(Math.floor(at), phase.length - 2);
  return phase[first] + (phase[first + 1] - phase[first]) * (at - first);
}

/** Moments (in frames) at which a phase in cycles reaches a whole number: [{at, count}]. */
export function beats(phase) {
  if (!phase?.length || phase[0] == null) return [];
  const found = [], close = 1e-3;
  if (Math.abs(phase[0] - Math.round(phase[0])) < close) found.push({ at: 0, count: Math.round(phase[0]) });
  for (let k = 1; k <= phase.length; k++) {
    const before = phaseAt(phase, k - 1), now = phaseAt(phase, k) - (k === phase.length ? 2 * close : 0);
    const count = Math.floor(now + close);
    if (count <= Math.floor(before + close)) continue;
    found.push({ at: Math.min(k, k - 1 + (count - before) / (now - before)), count });
  }
  return found;
}

/** Which caption stands at the moment `at`: its index, -1 before the first. */
export function captionAt(captions, at) {
  let found = -1;
  for (let k = 0; k < captions.length && captions[k][0] <= at; k++) found = k;
  return found;
}
