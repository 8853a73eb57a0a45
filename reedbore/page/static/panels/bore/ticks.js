// The three beats one under another in step: sung peaks, the reed opening, and the third note. Below
// them, where folds sing, the pressures in mouth and mouthpiece.

import { beats, phaseAt, valueAt } from "./film.js";
import { fontOf, tallness } from "./draw.js";

const GLOW = 0.3; // share of its period for which a beat stays lit

/** The rows: name, colour, curve and beats of each, with the count that a player would count. */
export function rowsOf(film, colours, covered) {
  const { sung, gap_mm: gap, opening_mm: opening, mouth, mouthpiece, sung_phase, played_phase, resultant_phase } = film.signals;
  if (film.pulse) return [{ name: "reed end", colour: colours.horn, curve: mouthpiece, beats: [], phase: null }];
  const third = beats(resultant_phase), [p, q] = film.ratio ?? [0, 0];
  const counted = (found, modulo) => (covered ? found : numbered(found, modulo, third));
  const silent = sung.every((value) => Math.abs(value) < 1e-9);
  const low = Math.min(...mouth, ...mouthpiece, 0), high = Math.max(...mouth, ...mouthpiece);
  const pressures = { name: "in the mouth", colour: colours.voice, also: "in the mouthpiece", beats: [], phase: null,
    curves: [[mouthpiece, colours.horn, low, high], [mouth, colours.voice, low, high]], hue: colours.horn };
  return [
    { name: gap ? "folds open" : "sung peaks", colour: colours.voice, curve: silent ? null : gap ?? sung, phase: silent ? null : sung_phase,
      beats: silent ? [] : counted(beats(sung_phase), p), missing: "nothing is sung" },
    { name: "reed opens", colour: colours.horn, curve: opening, phase: played_phase,
      beats: counted(beats(played_phase), q), missing: "the reed does not beat" },
    covered ? { name: "third note", colour: colours.third, curve: null, phase: null, beats: [], missing: "?" }
      : { name: p === 1 || q === 1 ? "both together" : "third note", colour: colours.third, curve: null, phase: resultant_phase,
        beats: third, missing: silent ? "no third note" : "they do not fall into step" },
    ...(gap ? [pressures] : []),
  ];
}

/** Beats numbered from 1 within each common period, the one nearest its start being 1. */
function numbered(found, modulo, third) {
  if (!modulo || !third.length || !found.length) return found;
  const away = (beat) => Math.abs(beat.at - third[0].at);
  const one = found.reduce((best, beat) => (away(beat) < away(best) ? beat : best)).count;
  return found.map((beat) => ({ ...beat, number: ((((beat.count - one) % modulo) + modulo) % modulo) + 1 }));
}

/** Where the rows go in a picture `width` pixels wide. */
export function ticksPlaced(width, film) {
  const narrow = width < 640;
  const font = fontOf(width);
  const left = narrow ? 8 : Math.round(Math.max(width * 0.2, font * (film.signals.gap_mm ? 13 : 9))), right = narrow ? 8 : Math.round(width * 0.02);
  const tall = Math.round((narrow ? 80 : Math.max(font * 2, 55 * tallness())) * (film.pulse ? 1.6 : 1));
  const top = font * 0.6, foot = top + (film.pulse ? 1 : film.signals.gap_mm ? 4 : 3) * tall;
  const w = width - left - right;
  return { width, height: Math.ceil(foot + font * 2), narrow, font, left, w, tall, top, foot,
    at: (frame) => left + (w * frame) / film.frames };
}

const floorOf = (place, k) => place.top + (k + 1) * place.tall - 6;

/** Draw what stays: the rows, their curves, the common periods, the time below. */
export function drawTicks(context, film, place, rows, colours) {
  context.fillStyle = colours.card;
  context.fillRect(0, 0, place.width, place.height);
  context.font = `${place.font}px ${colours.family}`;
  commonPeriods(context, film, place, rows, colours);
  rows.forEach((row, k) => oneRow(context, film, place, row, k, colours));
  timeAxis(context, film, place, colours);
}

function commonPeriods(context, film, place, rows, colours) {
  const third = rows[2]?.beats ?? [], ends = [...third.map((beat) => beat.at), film.frames];
  context.fillStyle = colours.shade;
  for (let k = 0; k < third.length; k += 2) {
    context.fillRect(place.at(ends[k]), place.top, place.at(ends[k + 1]) - place.at(ends[k]), place.foot - place.top);
  }
  context.strokeStyle = rows[2]?.colour ?? colours.ink;
  context.lineWidth = 2;
  context.setLineDash([4, 5]);
  for (const { at } of third) {
    context.beginPath();
    context.moveTo(place.at(at), place.top);
    context.lineTo(place.at(at), place.foot);
    context.stroke();
  }
  context.setLineDash([]);
}

function oneRow(context, film, place, row, k, colours) {
  const floor = floorOf(place, k), { font, left, narrow } = place;
  context.strokeStyle = colours.rule;
  context.lineWidth = 1;
  context.strokeRect(left, floor + 0.5, place.w, 0);
  if (row.curve) curve(context, film, place, row.curve, row.colour, floor, Math.min(...row.curve, 0), Math.max(...row.curve));
  for (const [values, colour, low, high] of row.curves ?? []) curve(context, film, place, values, colour, floor, low, high);
  for (const beat of row.beats) tick(context, place, row, beat, floor);
  context.fillStyle = row.colour;
  context.textAlign = narrow ? "left" : "right";
  context.font = `bold ${font}px ${colours.family}`;
  const y = narrow ? floor - place.tall + font + 4 : floor - place.tall * 0.3;
  context.fillText(row.name, narrow ? left : left - font * 1.9, row.also && !narrow ? y - font * 0.6 : y);
  if (row.also) {
    const after = context.measureText(`${row.name}  `).width;
    context.fillStyle = row.hue;
    context.fillText(row.also, narrow ? left + after : left - font * 1.9, narrow ? y : y + font * 0.6);
  }
  context.font = `${font}px ${colours.family}`;
  if (row.beats.length || !row.missing) return;
  context.fillStyle = colours.faint;
  context.textAlign = "left";
  context.fillText(row.missing, left + (narrow ? 0 : font), floor - 8);
}

function curve(context, film, place, values, colour, floor, low, high) {
  const room = place.tall * 0.52;
  context.beginPath();
  const y = (value) => floor - 3 - (room * (value - low)) / (high - low || 1);
  for (let k = 0; k <= film.frames; k++) context.lineTo(place.at(k), y(valueAt(values, k % film.frames)));
  context.strokeStyle = colour;
  context.globalAlpha = 0.55;
  context.lineWidth = 2;
  context.stroke();
  context.globalAlpha = 1;
}

function tick(context, place, row, beat, floor) {
  const x = place.at(beat.at), tall = place.tall * (place.narrow ? 0.55 : 0.62);
  context.fillStyle = row.colour;
  context.fillRect(x - 2, floor - tall, 4, tall);
  if (beat.number === undefined) return;
  const first = beat.number === 1;
  context.font = `${first ? "bold " : ""}${place.font}px ${place.family}`;
  context.textAlign = x > place.left + place.w - place.font * 1.5 ? "right" : "left";
  const label = [String(beat.number), x + (context.textAlign === "left" ? 5 : -5), floor - tall + place.font * 0.75];
  context.strokeStyle = place.paper;
  context.lineWidth = 4;
  context.strokeText(...label);
  context.fillText(...label);
}

function timeAxis(context, film, place, colours) {
  const { font, foot, left, w } = place, whole = film.frames * film.step * 1000;
  const rough = whole / (place.narrow ? 4 : 8), ten = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].find((k) => k * ten >= rough) * ten;
  context.fillStyle = colours.faint;
  context.font = `${font}px ${colours.family}`;
  for (let mark = 0; mark <= whole * 1.0001; mark += step) {
    const x = left + (w * mark) / whole, last = x > left + w - font * 2;
    context.textAlign = mark === 0 ? "left" : last ? "right" : "center";
    context.fillRect(x - 0.5, foot, 1, 6);
    context.fillText(step < 1 ? mark.toFixed(1) : `${Math.round(mark)}`, x, foot + font * 1.35);
  }
  if (place.narrow) return;
  context.textAlign = "right";
  context.fillText("time, ms", left - font * 1.9, foot + font * 1.35);
}

/** The mover of the rows: the line of now, and the beats that have just been, lit. */
export function ticker(context, still, film, place, rows, colours) {
  const dots = still.width / place.width;
  let before = [[0, 0, place.width, place.height]];
  return (at) => {
    for (const box of before) context.drawImage(still, ...box.map((length) => length * dots), ...box);
    before = [];
    rows.forEach((row, k) => lit(context, place, row, k, at, before));
    const x = place.at(at);
    context.fillStyle = colours.ink;
    context.fillRect(x - 1.5, place.top - 4, 3, place.foot - place.top + 8);
    before.push([x - 3, place.top - 6, 6, place.foot - place.top + 12]);
  };
}

function lit(context, place, row, k, at, before) {
  const last = row.beats.findLast((beat) => beat.at <= at);
  if (!last) return;
  const since = phaseAt(row.phase, at) - phaseAt(row.phase, last.at);
  const glow = Math.max(0, 1 - since / GLOW), floor = floorOf(place, k);
  if (!glow) return;
  const x = place.at(last.at), tall = place.tall * (place.narrow ? 0.55 : 0.62);
  const wide = 4 + 8 * glow;
  context.fillStyle = row.colour;
  context.fillRect(x - wide / 2, floor - tall, wide, tall);
  before.push([x - 8, floor - tall - 2, 16, tall + 4]);
  lamp(context, place, k, glow, row.colour, before);
}

/** A lamp beside each row, to be seen from the back. Small and fading: no flashing surface. */
function lamp(context, place, k, glow, colour, before) {
  const size = place.font * 0.62, y = floorOf(place, k) - place.tall * (place.narrow ? 1 : 0.38);
  const x = place.narrow ? place.left + place.w - size - 2 : place.left - place.font * 0.9;
  context.globalAlpha = glow;
  context.fillStyle = colour;
  context.beginPath();
  context.arc(x, y + (place.narrow ? size + 8 : 0), size, 0, 2 * Math.PI);
  context.fill();
  context.globalAlpha = 1;
  before.push([x - size - 2, y - size - 2, 2 * size + 4, 2 * size + (place.narrow ? size + 12 : 4)]);
}
