// Pressure along the bore, the horn cut open, the reed against the lay, the mouth and the open end;
// where folds sing, the folds too.
// What stays is drawn once, out of sight; a frame copies it and adds what moves.

import { pressuresAt, valueAt } from "./film.js";

const SHADES = 96; // steps of colour from low to high pressure
const THICKER = 3; // a bore is drawn up to this much thicker than it is, to be seen
const VIVID = 0.4; // share of the highest pressure from which a colour is full

/** Where everything goes in a picture `width` pixels wide. */
export function places(width, film) {
  const narrow = width < 640, tall = tallness();
  const font = fontOf(width);
  const left = narrow ? 78 : Math.round(Math.max(width * 0.17, font * (film.signals.gap_mm ? 12 : 8))), right = narrow ? 46 : Math.round(width * 0.1);
  const curve = { x: left, y: font * (narrow ? 3.2 : 3), w: width - left - right, h: narrow ? 160 : Math.round(Math.min(250, Math.max(150, width * 0.15)) * tall) };
  const horn = { x: left, y: curve.y + curve.h + font * 0.6, w: curve.w, h: narrow ? 76 : Math.round(Math.min(150, Math.max(90, width * 0.09)) * tall) };
  const below = horn.y + horn.h + font * 2;
  const reed = narrow ? { x: 0, y: below, w: Math.round(width * 0.62), h: 112 }
    : { x: 0, y: horn.y - font, w: left - font * 0.8, h: horn.h + font * 2.4 };
  const height = Math.ceil(narrow ? reed.y + reed.h + font * 1.6 : below + font * 0.8);
  const folds = film.signals.gap_mm && (narrow ? { x: reed.w + font, y: reed.y + reed.h * 0.4, w: width - reed.w - 2 * font, h: reed.h * 0.4 }
    : { x: Math.round(left * 0.54), y: curve.y, w: Math.round(left * 0.2), h: Math.round(curve.h * 0.5) });
  return { width, height, narrow, font, curve, horn, reed, folds, ...scales(film, curve, horn) };
}

/** Letters as large as the page's, smaller only where there is no room. */
export const fontOf = (width) => (width < 640 ? 13 : Math.round(Math.max(16, 0.94 * parseFloat(getComputedStyle(document.documentElement).fontSize))));

/** Share of its usual height a picture gets, so that all of it and its handles are on a low screen. */
export const tallness = () => Math.min(1.2, Math.max(0.7, (innerHeight - 430) / 560));

function scales(film, curve, horn) {
  const length = Math.max(film.positions.at(-1), film.outline.at(-1)[0]) + film.extra;
  const wide = Math.max(...film.outline.map((pair) => pair[1]));
  const along = curve.w / length;
  const across = Math.min(along * THICKER, (horn.h * 0.46) / wide);
  const room = (film.high - film.low) * 0.04, unit = curve.h / (film.high - film.low + 2 * room);
  const up = (pressure) => curve.y + (film.high + room - pressure) * unit;
  return { length, along, across, up, at: (position) => curve.x + position * along, middle: horn.y + horn.h / 2 };
}

/** Colours of the pressures. All are equally light, so that a fast picture does not flash. */
export function shades(colours) {
  const [low, rest, high] = [colours.low, colours.rest, colours.high].map(numbers);
  return Array.from({ length: SHADES + 1 }, (_, k) => {
    const share = (2 * k) / SHADES - 1, end = share < 0 ? low : high;
    const mixed = rest.map((value, i) => Math.round(value + (end[i] - value) * Math.sqrt(Math.abs(share))));
    return `rgb(${mixed.join(" ")})`;
  });
}

function numbers(colour) {
  const one = document.createElement("canvas").getContext("2d");
  one.fillStyle = colour;
  return [1, 3, 5].map((k) => parseInt(one.fillStyle.slice(k, k + 2), 16));
}

function walls(film, place, thicker = 0) {
  const path = new Path2D(), { at, across, middle } = place;
  const side = (pair, sign) => [at(pair[0]), middle + sign * (pair[1] * across + thicker)];
  film.outline.forEach((pair, k) => (k ? path.lineTo(...side(pair, -1)) : path.moveTo(...side(pair, -1))));
  [...film.outline].reverse().forEach((pair) => path.lineTo(...side(pair, 1)));
  path.closePath();
  return path;
}

/** Draw what stays: scales, envelope, horn, lay and names. */
export function drawStill(context, film, place, colours) {
  const { font, curve } = place;
  context.fillStyle = colours.card;
  context.fillRect(0, 0, place.width, place.height);
  context.font = `${font}px ${colours.family}`;
  context.lineJoin = "round";
  envelope(context, film, place, colours);
  pressureScale(context, film, place, colours);
  hornOutline(context, film, place, colours);
  lay(context, place, colours);
  names(context, film, place, colours);
  context.textAlign = "left";
  context.fillStyle = colours.ink;
  context.fillText(film.widens ? "pressure × width, as at the reed, kPa" : "pressure, kPa", curve.x, font * 2.25);
  waveKey(context, film, place, colours);
}

const AWAY = [13, 7], BACK = [2, 6]; // the dashes of the wave that leaves the reed, the dots of the one that comes back

/** Which line is which. */
function waveKey(context, film, place, colours) {
  const { font, curve, narrow, width } = place, long = font * 2.4;
  const tight = narrow || width - curve.x < font * 33;
  const parts = [["sum", [], colours.horn, 4], [tight ? "away" : "away from the reed", AWAY, colours.ink, 2.5], [tight ? "back" : "back to the reed", BACK, colours.ink, 3]];
  let x = narrow ? 4 : curve.x;
  for (const [text, dashes, colour, wide] of parts) {
    context.strokeStyle = colour;
    context.lineWidth = wide;
    context.setLineDash(dashes);
    line(context, x, font * 0.75, x + long, font * 0.75);
    context.setLineDash([]);
    context.fillStyle = colours.ink;
    context.fillText(text, x + long + font * 0.4, font * 1.05);
    x += long + font * 1.3 + context.measureText(text).width;
  }
  context.fillStyle = colours.faint;
  if (x + font * 12 < width) context.fillText("shaded: how far it swings", x, font * 1.05);
}

function tickStep(range) {
  const rough = range / 4, ten = 10 ** Math.floor(Math.log10(rough));
  return [1, 2, 5, 10].find((k) => k * ten >= rough) * ten;
}

function pressureScale(context, film, place, colours) {
  const { curve, up, font } = place, step = tickStep(film.high - film.low);
  context.textAlign = "right";
  context.textBaseline = "middle";
  for (let mark = Math.ceil(film.low / step) * step; mark <= film.high; mark += step) {
    const zero = Math.abs(mark) < step / 2, y = Math.round(up(mark)) + 0.5;
    context.strokeStyle = zero ? colours.faint : colours.rule;
    context.lineWidth = zero ? 2 : 1;
    line(context, curve.x, y, curve.x + curve.w, y);
    context.fillStyle = colours.faint;
    const text = (mark / 1000).toFixed(step < 1000 ? 1 : 0).replace("-", "−");
    const covered = y > curve.y + curve.h - 0.5 * font; // by the mouthpiece, which is drawn below
    if (!covered) context.fillText(zero ? "0" : text, curve.x - 18, y);
  }
  context.textBaseline = "alphabetic";
}

function envelope(context, film, place, colours) {
  const { at, up } = place, last = film.points - 1;
  context.beginPath();
  for (let k = 0; k <= last; k++) context.lineTo(at(film.positions[k]), up(film.highest[k]));
  for (let k = last; k >= 0; k--) context.lineTo(at(film.positions[k]), up(film.lowest[k]));
  context.globalAlpha = 0.14;
  context.fillStyle = colours.horn;
  context.fill();
  context.globalAlpha = 1;
}

function hornOutline(context, film, place, colours) {
  const { at, across, middle } = place;
  context.fillStyle = colours.ink;
  context.fill(walls(film, place, 3));
  context.fillStyle = colours.rest;
  context.fill(walls(film, place));
  context.fillStyle = colours.ink;
  for (const [position, radius, open] of film.holes) {
    const wide = Math.max(3, radius * across), top = middle - radiusAt(film, position) * across;
    if (film.row && position >= film.outline.at(-1)[0]) continue;
    if (open > 0 || open === undefined) blank(context, colours, at(position) - wide, top - 4, 2 * wide, 5);
    else context.fillRect(at(position) - wide, top - 6, 2 * wide, 4);
  }
  const end = film.outline.at(-1);
  if (film.stopped) context.fillRect(at(end[0]), middle - end[1] * across - 3, 8, 2 * end[1] * across + 6);
  else blank(context, colours, at(end[0]), middle - end[1] * across, 4, 2 * end[1] * across);
  if (film.extra) extraBit(context, film, place, colours, end);
}

/** The end correction: as far behind the end as it is, the walls go on in dashes to where the waves turn. */
function extraBit(context, film, place, colours, [position, radius]) {
  const { at, across, middle, curve, horn, font, narrow } = place, from = at(position), to = at(position + film.extra);
  context.strokeStyle = colours.ink;
  context.lineWidth = 2;
  context.setLineDash([4, 4]);
  for (const way of [-1, 1]) line(context, from, middle + way * (radius * across + 2), to, middle + way * (radius * across + 2));
  line(context, to, curve.y, to, horn.y + horn.h);
  context.setLineDash([]);
  if (!film.pulse || narrow) return;
  context.fillStyle = colours.ink;
  context.textAlign = "right";
  context.fillText(`turns ${Math.round(1000 * film.extra)} mm behind the end`, to, curve.y + curve.h - font * 0.4);
}

function blank(context, colours, ...box) {
  context.fillStyle = colours.card;
  context.fillRect(...box);
  context.fillStyle = colours.ink;
}

function radiusAt(film, position) {
  const after = film.outline.findIndex((pair) => pair[0] >= position);
  if (after < 1) return film.outline.at(after)[1];
  const [one, two] = [film.outline[after - 1], film.outline[after]];
  return one[1] + ((two[1] - one[1]) * (position - one[0])) / (two[0] - one[0] || 1);
}

function names(context, film, place, colours) {
  const { font, horn, curve, narrow, reed, width } = place, under = horn.y + horn.h + font * 1.2;
  context.fillStyle = colours.ink;
  context.textAlign = "left";
  context.fillText("reed end", curve.x, under);
  context.textAlign = "right";
  const end = film.stopped ? "stopped end" : "open end";
  context.fillText(end, place.at(film.positions.at(-1)), under);
  context.textAlign = "center";
  context.fillStyle = colours.faint;
  const metres = film.positions.at(-1).toFixed(2);
  context.fillText(narrow || width < font * 42 ? `${metres} m` : `${metres} m of bore, stretched out`, curve.x + curve.w / 2, under);
  if (film.pulse) return;
  const { x, w, bottom } = gauge(place, film), breath = mean(film.signals.mouth) / 1000;
  context.fillText("mouth", x + w / 2, curve.y - font * 0.5);
  context.fillText(`${breath.toFixed(1)}${narrow ? "" : " kPa"}`, x + w / 2, bottom + font * 1.15);
  const { folds } = place;
  if (folds) context.fillText("folds", folds.x + folds.w / 2, folds.y - font * 0.5);
  context.textAlign = "left";
  if (narrow && !folds) context.fillText("reed, close up", reed.w + font, reed.y + reed.h * 0.25);
}

const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;

/** The column of the mouth, on a scale of its own: in a cone its sung part would hardly be seen. */
function gauge({ narrow, curve, font }, film) {
  const w = narrow ? 16 : Math.round(curve.x * 0.16), x = narrow ? 14 : Math.round(curve.x * 0.3);
  const bottom = curve.y + curve.h - font * 1.6, most = Math.max(...film.signals.mouth, 1);
  return { x, w, bottom, level: (pressure) => bottom - ((bottom - curve.y) * pressure) / most };
}

// The reed lies flat when it is as wide open as it gets in this film, and follows the lay when shut.
function bend(place, film) {
  const { reed } = place, tip = reed.x + reed.w * 0.3, root = reed.x + reed.w * 0.86;
  const flat = reed.y + reed.h * 0.72, widest = Math.max(...film.signals.opening_mm, 1e-6);
  return { tip, root, flat, unit: (reed.h * 0.42) / widest, widest };
}

/** The upper side from tip to root or, given how thick the reed is at its root, the lower one back. */
function curved(path, { tip, root, flat }, rise, thick = 0) {
  for (let k = 0; k <= 16; k++) {
    const share = thick ? 1 - k / 16 : k / 16, under = thick && 3 + (thick - 3) * share;
    path.lineTo(tip + (root - tip) * share, flat - rise * (1 - share) ** 2 + under);
  }
}

function lay(context, place, colours) {
  const { reed, reedBend } = place;
  const path = new Path2D(), right = reed.x + reed.w;
  curved(path, reedBend, reedBend.unit * reedBend.widest);
  path.lineTo(right, reedBend.flat);
  path.lineTo(right, reed.y + reed.h * 0.02);
  path.lineTo(reedBend.root, reed.y + reed.h * 0.02);
  path.closePath();
  context.fillStyle = colours.body;
  context.fill(path);
  context.strokeStyle = colours.ink;
  context.lineWidth = 2;
  context.stroke(path);
  context.fillStyle = colours.onBody;
  context.textAlign = "right";
  context.font = `${Math.round(place.font * 0.9)}px ${colours.family}`;
  context.fillText("lay", reedBend.root + (right - reedBend.root) * 0.5, reedBend.flat - reed.h * 0.16);
  context.font = `${place.font}px ${colours.family}`;
}

/** The mover: call with the moment (in frames); it redraws what moves. */
export function mover(context, still, film, place, colours) {
  const row = new Float32Array(film.points), away = new Float32Array(film.points), ramp = shades(colours), inside = walls(film, place);
  const { mouth, mouthpiece, opening_mm: opening, gap_mm: gap, outflow } = film.signals;
  const widest = gap && Math.max(...gap, 1e-6);
  const breath = mean(mouth), column = gauge(place, film);
  const strongest = Math.max(1e-12, ...outflow.map(Math.abs));
  return (at) => {
    context.drawImage(still, 0, 0, place.width, place.height);
    pressuresAt(film, at, row);
    filling(context, film, place, row, ramp, inside);
    pressuresAt(film, at, away, film.forward);
    wave(context, film, place, (k) => row[k], colours.horn, place.narrow ? 4 : 6, []);
    wave(context, film, place, (k) => away[k], colours.ink, 2.5, AWAY);
    wave(context, film, place, (k) => row[k] - away[k], colours.ink, 3, BACK);
    context.fillStyle = colours.horn;
    dot(context, place.at(film.positions[0]), place.up(row[0]), place.narrow ? 5 : 7);
    if (gap) foldPair(context, place, valueAt(gap, at), widest, colours);
    if (!film.pulse) mouthColumn(context, film, place, column, breath, valueAt(mouth, at), colours);
    reedTip(context, place, valueAt(opening, at), valueAt(mouth, at) - valueAt(mouthpiece, at), breath, colours);
    flow(context, film, place, valueAt(outflow, at) / strongest, colours);
  };
}

function filling(context, film, place, row, ramp, inside) {
  const { at, length } = place;
  const gradient = context.createLinearGradient(at(0), 0, at(length), 0);
  const every = Math.max(1, Math.floor(film.points / 60));
  for (let k = 0; k < film.points; k += every) {
    const share = Math.max(-1, Math.min(1, row[k] / (VIVID * film.loudest)));
    gradient.addColorStop(Math.min(1, film.positions[k] / length), ramp[Math.round(((share + 1) / 2) * SHADES)]);
  }
  context.fillStyle = gradient;
  context.fill(inside);
}

function wave(context, film, place, valueOf, colour, wide, dashes) {
  const { at, up } = place;
  context.beginPath();
  for (let k = 0; k < film.points; k++) context.lineTo(at(film.positions[k]), up(valueOf(k)));
  context.strokeStyle = colour;
  context.lineWidth = wide;
  context.lineJoin = "round";
  context.setLineDash(dashes);
  context.stroke();
  context.setLineDash([]);
}

function mouthColumn(context, film, place, { x, w, bottom, level }, breath, now, colours) {
  context.fillStyle = colours.faint;
  context.fillRect(x, level(breath), w, bottom - level(breath));
  context.fillStyle = colours.voice;
  context.fillRect(x, Math.min(level(now), level(breath)), w, Math.abs(level(now) - level(breath)));
  context.fillRect(x - 8, level(now) - 2, w + 16, 4);
  if (film.apart) return;
  // The same pressure on the scale of the bore: what pushes against the pressure behind the reed.
  const start = place.curve.x, y = place.up(now);
  context.beginPath();
  context.moveTo(start - 2, y);
  context.lineTo(start - 14, y - 6);
  context.lineTo(start - 14, y + 6);
  context.fill();
}

/** The folds from above: two lips that shut the throat and let it open. */
function foldPair(context, { folds, font, narrow }, gap, widest, colours) {
  const { x, y, w, h } = folds, half = w / 2, apart = 0.3 * w * (gap / widest);
  context.fillStyle = colours.voice;
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  for (const way of [-1, 1]) {
    context.beginPath();
    context.ellipse(x + half + way * half, y + h / 2, half - apart / 2, h / 2, 0, Math.PI / 2, (3 * Math.PI) / 2, way < 0);
    context.closePath();
    context.globalAlpha = 0.6;
    context.fill();
    context.globalAlpha = 1;
    context.stroke();
  }
  context.fillStyle = colours.ink;
  context.font = `${Math.round(font * (narrow ? 1 : 0.85))}px ${colours.family}`;
  context.textAlign = "center";
  const says = gap > 0.02 * widest ? `${gap.toFixed(2)} mm` : "shut";
  context.fillText(says, x + half, y + h + font * (narrow ? 1 : 1.25));
}

function reedTip(context, place, gap, push, breath, colours) {
  const { reed, reedBend, font } = place, path = new Path2D();
  const rise = reedBend.unit * (reedBend.widest - Math.max(0, gap)), right = reed.x + reed.w;
  curved(path, reedBend, rise);
  path.lineTo(right, reedBend.flat);
  path.lineTo(right, reedBend.flat + reed.h * 0.14);
  curved(path, reedBend, rise, reed.h * 0.14);
  path.closePath();
  context.fillStyle = colours.reed;
  context.fill(path);
  context.strokeStyle = colours.ink;
  context.lineWidth = 1.5;
  context.stroke(path);
  const stream = Math.sqrt(Math.min(1, Math.abs(push) / (1.5 * breath || 1))) * (Math.max(0, gap) / reedBend.widest);
  const y = reedBend.flat - rise - (gap * reedBend.unit) / 2;
  const long = (reedBend.tip - reed.x) * 0.9 * Math.sqrt(stream);
  if (gap > 0.02 * reedBend.widest) {
    const from = push < 0 ? reedBend.tip : reedBend.tip - long, to = push < 0 ? reedBend.tip - long : reedBend.tip;
    arrow(context, from, to, y, 2 + stream * reed.h * 0.16, colours.ink);
  }
  context.fillStyle = colours.ink;
  context.font = `${font}px ${colours.family}`;
  context.textAlign = "left";
  const says = gap > 0.02 * reedBend.widest ? `gap ${gap.toFixed(2)} mm` : "shut";
  context.fillText(says, reed.x, reed.y + reed.h - font * 0.1);
}

function flow(context, film, place, share, colours) {
  const { curve, middle, width, narrow, font } = place, room = width - curve.x - curve.w - 8;
  const long = room * Math.abs(share), start = curve.x + curve.w + 6;
  if (long < 3) return;
  const wide = (narrow ? 5 : 10) + Math.abs(share) * (narrow ? 4 : 8);
  arrow(context, share > 0 ? start : start + long, share > 0 ? start + long : start, middle, wide, colours.horn);
  context.fillText(share > 0 ? "out" : "in", start, middle - wide - font * 0.5);
}

function arrow(context, from, to, y, wide, colour) {
  const way = Math.sign(to - from), head = Math.min(Math.abs(to - from), wide * 1.3), neck = to - way * head;
  context.fillStyle = colour;
  context.beginPath();
  context.moveTo(from, y - wide / 2);
  context.lineTo(neck, y - wide / 2);
  context.lineTo(neck, y - wide);
  context.lineTo(to, y);
  context.lineTo(neck, y + wide);
  context.lineTo(neck, y + wide / 2);
  context.lineTo(from, y + wide / 2);
  context.fill();
}

function line(context, x1, y1, x2, y2) {
  context.beginPath();
  context.moveTo(x1, y1);
  context.lineTo(x2, y2);
  context.stroke();
}

function dot(context, x, y, radius) {
  context.beginPath();
  context.arc(x, y, radius, 0, 2 * Math.PI);
  context.fill();
}

/** Places with the bend of the reed added: what the drawing functions take. */
export function placed(width, film) {
  const place = places(width, film);
  return { ...place, reedBend: bend(place, film) };
}
