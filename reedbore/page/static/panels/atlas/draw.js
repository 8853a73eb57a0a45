// The whole horn as a picture: fingered notes across, sung notes up, a mark for every pair that falls into step.

import { isBlack, midiName, pretty } from "../../core/notes.js";

const LEFT = 40, BELOW = 44, ABOVE = 8; // [px]
const LEAST = 5; // [px] that a band is tall
const DOTS = [[0.5, 2.4], [2, 3.8], [Infinity, 5.5]]; // up to so many cents, so large [px]
const NEAR = 12; // [px] round a pair that belongs to it
const WORDS = 13; // [px] between names in a column

export function scaleOf({ notes, low, high }, width, height) {
  const column = (width - LEFT) / notes.length, row = (height - ABOVE - BELOW) / (high - low + 2);
  return {
    column, row,
    x: (k) => LEFT + (k + 0.5) * column,
    y: (midi) => ABOVE + (high + 1 - midi) * row,
    at: (x, y) => ({ column: Math.floor((x - LEFT) / column), midi: high + 1 - (y - ABOVE) / row }),
  };
}

/** What lies under a point: the column, the sung note, and the pair if there is one near. */
export function under(view, width, height, x, y) {
  const { frame, found } = view, scale = scaleOf(frame, width, height), at = scale.at(x, y);
  if (at.column < 0 || at.column >= frame.notes.length) return null;
  const midi = Math.min(Math.max(at.midi, frame.low), frame.high), note = frame.notes[at.column];
  let pair = null, least = NEAR;
  for (const one of found.get(note.midi)?.pairs ?? []) {
    const away = Math.max(scale.y(one.high) - y, y - scale.y(one.low), 0);
    if (away < least) (pair = one), (least = away);
  }
  return { column: at.column, midi: pair ? 0.5 * (pair.low + pair.high) : Math.round(midi), pair };
}

export function draw(view, pen, width, height, shades) {
  const { frame, found, at, whose } = view;
  if (!frame) return;
  const scale = scaleOf(frame, width, height);
  pen.textBaseline = "middle";
  rows(pen, width, height, shades, frame, scale);
  if (at) {
    pen.fillStyle = shades.shade;
    pen.fillRect(scale.x(at.column) - scale.column / 2, 0, scale.column, height - BELOW);
  }
  columns(pen, height, shades, frame, found, scale);
  justLines(pen, width, height, shades, frame, scale);
  frame.notes.forEach((note, k) => pairs(pen, shades, found.get(note.midi)?.pairs ?? [], k, scale, whose));
  if (at) ring(pen, shades, at, scale);
}

function rows(pen, width, height, shades, { low, high }, scale) {
  pen.textAlign = "right";
  const every = scale.row < 11 ? 12 : 1;
  for (let midi = low; midi <= high; midi += 1) {
    if (isBlack(midi)) {
      pen.globalAlpha = 0.3;
      pen.fillStyle = shades.rule;
      pen.fillRect(LEFT, scale.y(midi) - scale.row / 2, width - LEFT, scale.row);
      pen.globalAlpha = 1;
    }
    if (midi % every) continue;
    pen.fillStyle = midi % 12 ? shades.faint : shades.ink;
    pen.fillText(pretty(midiName(midi)), LEFT - 6, scale.y(midi));
  }
}

function columns(pen, height, shades, frame, found, scale) {
  pen.textAlign = "center";
  const every = scale.column < 14 ? 3 : scale.column < 30 ? 2 : 1;
  frame.notes.forEach((note, k) => {
    const one = found.get(note.midi);
    if (!one || one.reason) {
      pen.globalAlpha = one ? 0.35 : 0.12;
      pen.fillStyle = shades.faint;
      pen.fillRect(scale.x(k) - scale.column / 2, ABOVE, scale.column, height - ABOVE - BELOW);
      pen.globalAlpha = 1;
    }
    pen.fillStyle = shades.rule;
    pen.fillRect(scale.x(k) - scale.column / 2, ABOVE, 1, height - ABOVE - BELOW);
    if (k % every) return;
    pen.fillStyle = shades.horn;
    pen.fillText(pretty(note.name), scale.x(k), height - BELOW + 13);
    if (note.written === note.name) return;
    pen.fillStyle = shades.faint;
    pen.fillText(pretty(note.written), scale.x(k), height - BELOW + 32);
  });
}

/** Where arithmetic puts the ratios that are found somewhere, or all simple ones while nothing is. */
function justLines(pen, width, height, shades, frame, scale) {
  pen.save();
  pen.beginPath();
  pen.rect(LEFT, ABOVE, width - LEFT, height - ABOVE - BELOW);
  pen.clip();
  pen.strokeStyle = shades.edge ?? shades.faint;
  pen.lineWidth = 0.8;
  pen.setLineDash([1, 4]);
  for (const { p, q, up } of frame.ratios) {
    if (p + q > 7) continue;
    pen.beginPath();
    frame.notes.forEach((note, k) => (k ? pen.lineTo : pen.moveTo).call(pen, scale.x(k), scale.y(note.midi + up)));
    pen.stroke();
  }
  pen.restore();
}

function pairs(pen, shades, all, k, scale, whose) {
  const taken = [];
  for (const pair of [...all].sort((one, two) => two.width_cents - one.width_cents)) {
    const y = scale.y(0.5 * (pair.low + pair.high));
    look(pen, shades, pair, whose === "singer" ? band(pair, k, scale) : dot(pair, k, scale));
    if (scale.column < 46 || taken.some((other) => Math.abs(other - y) < WORDS)) continue;
    taken.push(y);
    pen.textAlign = "left";
    pen.fillStyle = pair.heard === "yes" || pair.heard === "uncertain" ? shades.third : shades.ink;
    const third = pair.heard === "yes" ? ` ${pretty(pair.third)}` : "";
    const room = scale.column * 0.66, words = [`${pair.ratio}${third}`, pair.ratio].find((text) => pen.measureText(text).width < room);
    if (words) pen.fillText(words, scale.x(k) - scale.column * 0.16, y);
  }
}

function band(pair, k, scale) {
  const path = new Path2D(), tall = Math.max(scale.y(pair.low) - scale.y(pair.high), LEAST);
  path.rect(scale.x(k) - 0.44 * scale.column, scale.y(0.5 * (pair.low + pair.high)) - tall / 2, 0.24 * scale.column, tall);
  return path;
}

function dot(pair, k, scale) {
  const path = new Path2D(), size = DOTS.find(([most]) => pair.width_cents < most)[1];
  path.arc(scale.x(k) - 0.32 * scale.column, scale.y(0.5 * (pair.low + pair.high)), size, 0, 7);
  return path;
}

/** Filled where a third note is heard, hollow where perhaps, the horn's colour where it is one of the two. */
export function look(pen, shades, { heard }, path) {
  const shade = { yes: shades.third, uncertain: shades.third, no: shades.faint }[heard] ?? shades.horn;
  pen.fillStyle = pen.strokeStyle = shade;
  pen.lineWidth = 1.6;
  if (heard === "uncertain") pen.stroke(path);
  else pen.fill(path);
}

function ring(pen, shades, { column, midi }, scale) {
  pen.strokeStyle = shades.ink;
  pen.lineWidth = 2;
  pen.strokeRect(scale.x(column) - scale.column / 2 + 1, scale.y(midi) - 8, scale.column - 2, 16);
}
