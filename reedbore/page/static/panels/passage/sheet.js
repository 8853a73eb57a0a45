// The notes of a passage against time: fingered, sung and third notes, and a line that moves while they sound.

import { canvas, kept } from "../../core/canvas.js";
import { midiName, midiOf, pretty } from "../../core/notes.js";

const HEIGHT = 300, LEFT = 34, BELOW = 24, ABOVE = 12; // [px]
const THICK = 9, LINE = 3; // [px]
const ROOM = 26; // for a name [px]

/**
 * A picture of notes: {root, show(plan), judged(told), at(seconds), mark(number)}.
 * `pick(seconds)` is told where it was clicked.
 */
export function createSheet({ label, pick }) {
  let plan = null, told = {}, now = null, marked = null, version = 0;
  const under = kept((pen, width, height, shades) => drawn(pen, width, height, shades, plan, told));
  const picture = canvas((pen, width, height, shades) => {
    if (!plan) return;
    const scale = scaleOf(plan, told, width, height);
    const row = told.rows?.[marked];
    if (row) (pen.fillStyle = shades.shade), pen.fillRect(scale.x(row.begin_s), 0, scale.x(row.end_s) - scale.x(row.begin_s), height);
    under(pen, width, height, shades, version);
    if (now == null) return;
    pen.fillStyle = shades.third;
    pen.fillRect(scale.x(now) - 1, 0, 2.5, height - BELOW);
  }, { label, height: HEIGHT });
  picture.root.classList.add("sheet");
  picture.sheet.addEventListener("click", (event) => {
    if (!plan) return;
    const box = picture.sheet.getBoundingClientRect();
    const share = (event.clientX - box.left - LEFT) / (box.width - LEFT);
    pick(Math.min(Math.max(share, 0), 1) * plan.seconds);
  });
  return {
    root: picture.root,
    show(next) {
      plan = next;
      told = {};
      now = marked = null;
      version += 1;
      picture.say(`${label}: ${next.fingered.length} notes fingered, ${next.sung.length} sung, ${next.seconds.toFixed(1)} seconds`);
      picture.again();
    },
    judged(next) {
      told = next;
      version += 1;
      picture.again();
    },
    at(seconds) {
      if (now === seconds) return;
      now = seconds;
      picture.root.dataset.at = seconds == null ? "" : seconds.toFixed(2);
      picture.again();
    },
    mark(number) {
      if (number === marked) return;
      marked = number;
      picture.again();
    },
  };
}

function scaleOf(plan, told, width, height) {
  const heights = [...plan.fingered, ...plan.sung, ...(told.third ?? [])].map(({ hz }) => midiOf(hz, plan.a4));
  for (const [, hz] of told.sang ?? []) if (hz) heights.push(midiOf(hz, plan.a4));
  const low = Math.min(...heights, 60) - 1.5, high = Math.max(...heights, 60) + 2;
  const tall = (height - BELOW - ABOVE) / (high - low);
  return {
    low, high,
    x: (seconds) => LEFT + (seconds / plan.seconds) * (width - LEFT),
    y: (hz) => ABOVE + (high - midiOf(hz, plan.a4)) * tall,
    row: (midi) => ABOVE + (high - midi) * tall,
  };
}

function drawn(pen, width, height, shades, plan, told) {
  const scale = scaleOf(plan, told, width, height);
  pen.textBaseline = "middle";
  ruled(pen, width, height, shades, plan, scale);
  for (const one of told.third ?? []) third(pen, one, scale, shades);
  for (const one of plan.fingered) bar(pen, one, scale, shades.horn, { hollow: Boolean(told.played) });
  for (const course of told.played ?? []) curve(pen, course, scale, shades.horn);
  const measured = told.sang?.length;
  for (const one of plan.sung) bar(pen, one, scale, shades.voice, { hollow: Boolean(measured), dashed: measured, thin: true });
  if (measured) curve(pen, told.sang, scale, shades.voice);
  names(pen, plan, scale, shades);
  words(pen, told, scale, shades, height);
}

function ruled(pen, width, height, shades, plan, scale) {
  pen.textAlign = "right";
  for (let midi = Math.ceil(scale.low); midi <= scale.high; midi += 1) {
    if (midi % 12) continue;
    pen.fillStyle = shades.rule;
    pen.fillRect(LEFT, scale.row(midi), width - LEFT, 1);
    pen.fillStyle = shades.faint;
    pen.fillText(midiName(midi), LEFT - 5, scale.row(midi));
  }
  pen.fillStyle = shades.rule;
  for (const at of plan.bars) pen.fillRect(scale.x(at), 0, 1, height - BELOW);
}

function bar(pen, { begin_s, end_s, hz }, scale, colour, { hollow, dashed, thin }) {
  const left = scale.x(begin_s) + 1, wide = Math.max(scale.x(end_s) - left - 1, 2), tall = thin ? LINE : THICK;
  pen.fillStyle = pen.strokeStyle = colour;
  pen.lineWidth = 1;
  pen.setLineDash(dashed ? [4, 3] : []);
  if (dashed) line(pen, left, wide, scale.y(hz));
  else if (hollow) pen.strokeRect(left, scale.y(hz) - tall / 2, wide, tall);
  else pen.fillRect(left, scale.y(hz) - tall / 2, wide, tall);
  pen.setLineDash([]);
}

function line(pen, left, wide, y) {
  pen.beginPath();
  pen.moveTo(left, y);
  pen.lineTo(left + wide, y);
  pen.stroke();
}

function third(pen, { begin_s, end_s, hz, heard }, scale, shades) {
  const left = scale.x(begin_s) + 1, wide = Math.max(scale.x(end_s) - left - 1, 2), y = scale.y(hz);
  pen.fillStyle = pen.strokeStyle = shades.third;
  pen.lineWidth = 1.2;
  pen.setLineDash(heard === "planned" ? [2, 3] : []);
  const tall = { yes: THICK, uncertain: 5, no: 2 }[heard];
  if (tall) pen.fillRect(left, y - tall / 2, wide, tall);
  else pen.strokeRect(left, y - 7, wide, 14);
  pen.setLineDash([]);
}

function curve(pen, course, scale, colour) {
  pen.strokeStyle = colour;
  pen.lineWidth = 2;
  pen.beginPath();
  let on = false;
  for (const [at, hz] of course) {
    if (hz) (on ? pen.lineTo : pen.moveTo).call(pen, scale.x(at), scale.y(hz));
    on = Boolean(hz);
  }
  pen.stroke();
}

/** Names of notes above their bars, where there is room. */
function names(pen, plan, scale, shades) {
  pen.textAlign = "left";
  for (const [notes, colour] of [[plan.fingered, shades.horn], [plan.sung, shades.voice]])
    for (const { begin_s, end_s, hz, note } of notes) {
      const wide = scale.x(end_s) - scale.x(begin_s), name = pretty(note.replace(/[+-]\d+c$/, ""));
      if (wide < ROOM) continue;
      pen.fillStyle = colour;
      pen.fillText(name, scale.x(begin_s) + 3, scale.y(hz) - 12);
    }
}

/** Number and outcome of each note at the foot. */
function words(pen, told, scale, shades, height) {
  pen.textAlign = "center";
  for (const [k, row] of (told.rows ?? []).entries()) {
    const left = scale.x(row.begin_s), wide = scale.x(row.end_s) - left;
    const says = [`${k + 1} ${told.short?.[k] ?? ""}`.trim(), String(k + 1)].find((text) => pen.measureText(text).width < wide - 4);
    pen.fillStyle = (row.reached ?? row).state === "locked" ? shades.third : shades.ink;
    if (says) pen.fillText(says, left + wide / 2, height - BELOW / 2);
  }
}
