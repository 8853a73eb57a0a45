// A sweep along one axis: the course of the played note over a strip of the states.

import { printed } from "../../../core/canvas.js";
import { colourOf } from "../../../core/looks.js";

const STRIP = 44, ROOM = 28; // [px]

/** The same frame with the strip only, whose cells are the states. */
export const stripOf = (edge, height) => ({ ...edge, top: height - edge.bottom - STRIP });

/** Draw what is played above the strip; a locked value is a square, any other a dot. */
export function drawCourse({ head: { axes: [x], looks }, cells }, pen, frame, top, shades) {
  const played = cells.map((cell) => cell.played), known = played.filter((value) => value !== null);
  const least = Math.min(0, ...known), most = Math.max(0, ...known), low = frame.top - ROOM;
  const y = (value) => low - ((low - top - ROOM) * (value - least)) / Math.max(most - least, 1);
  pen.strokeStyle = shades.faint;
  pen.strokeRect(frame.left, top, frame.wide, frame.top - top);
  scale(pen, frame, [least, 0, most], y, shades);
  pen.fillStyle = shades.faint;
  pen.textAlign = "left";
  pen.fillText("played, from the fingered note [cents]", frame.left + 6, top + 14);
  const points = played.map((value, k) => (value === null ? null : [frame.across(x.places[k]), y(value)]));
  pen.strokeStyle = shades.ink;
  pen.lineWidth = 1;
  pen.beginPath();
  points.forEach((point, k) => point && pen[points[k - 1] ? "lineTo" : "moveTo"](...point));
  pen.stroke();
  points.forEach((point, k) => point && mark(pen, point, cells[k].state === "locked", colourOf(looks.locked), shades));
}

/** A line from the cell that is looked at up to its value. */
export function drawPointer({ head: { axes: [x] }, at: [i] }, pen, frame, top, shades) {
  const place = frame.across(x.places[i]);
  pen.strokeStyle = shades.ink;
  pen.lineWidth = 1.8;
  pen.beginPath();
  pen.moveTo(place, top), pen.lineTo(place, frame.top);
  pen.stroke();
}

function scale(pen, frame, values, y, shades) {
  pen.textBaseline = "middle";
  pen.textAlign = "right";
  for (const value of new Set(values.map((v) => Number(v.toFixed(1))))) {
    pen.strokeStyle = shades.rule;
    pen.beginPath();
    pen.moveTo(frame.left, y(value)), pen.lineTo(frame.left + frame.wide, y(value));
    pen.stroke();
    pen.fillStyle = shades.ink;
    pen.fillText(printed(value), frame.left - 6, y(value));
  }
}

function mark(pen, [x, y], locked, lock, shades) {
  pen.fillStyle = locked ? lock : shades.ink;
  if (locked) pen.fillRect(x - 4, y - 4, 8, 8);
  else (pen.beginPath(), pen.arc(x, y, 2, 0, 7), pen.fill());
}
