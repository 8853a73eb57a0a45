// Over a swept map: bands where a lock was searched for and found, dots where there may be one, and ratios.

import { colourOf } from "../../../core/looks.js";

const RING = 6, APART = [30, 15], MARGIN = 45; // [px]

/** The bands of each ratio; `edges` have the ends of its lock, or where it may be, for each place across. */
export function drawBands(sweep, pen, frame, shades) {
  const { edges, z, head: { axes: [x, y], looks } } = sweep, lock = colourOf(looks.locked), n = x.values.length;
  pen.save();
  pen.beginPath();
  pen.rect(frame.left, frame.top, frame.wide, frame.tall);
  pen.clip();
  for (const { low, high, perhaps } of edges) {
    if (!y) {
      drawStrip(pen, frame, low[0], high[0], lock, shades);
      continue;
    }
    const slice = (side) => side.slice(z * n, (z + 1) * n);
    drawDots(pen, frame, slice(perhaps), lock);
    for (const [start, stop] of runs(slice(low))) drawBand(pen, frame, x, slice(low), slice(high), start, stop, lock, shades);
  }
  pen.restore();
}

/** Stretches [start, stop) of values that are there. */
function runs(values) {
  const found = [];
  values.forEach((value, k) => {
    if (value === null) return;
    if (found.length && found.at(-1)[1] === k) found.at(-1)[1] = k + 1;
    else found.push([k, k + 1]);
  });
  return found;
}

function drawDots(pen, frame, places, lock) {
  pen.strokeStyle = lock;
  pen.lineWidth = 1.5;
  pen.setLineDash([2, 2]);
  pen.beginPath();
  places.forEach((p, k) => p === null || (pen.moveTo(frame.x(k), frame.up(p)), pen.lineTo(frame.x(k + 1), frame.up(p))));
  pen.stroke();
  pen.setLineDash([]);
}

function drawBand(pen, frame, x, low, high, start, stop, lock, shades) {
  const points = (side) => {
    const inner = [];
    for (let k = start; k < stop; k += 1) inner.push([frame.across(x.places[k]), frame.up(side[k])]);
    return [[frame.x(start), inner[0][1]], ...inner, [frame.x(stop), inner.at(-1)[1]]];
  };
  const under = points(low), over = points(high);
  const trace = (path, line) => (line.forEach((point, k) => path[k ? "lineTo" : "moveTo"](...point)), path);
  pen.strokeStyle = shades.card;
  pen.lineWidth = 3.6;
  for (const line of [under, over]) pen.stroke(trace(new Path2D(), line));
  pen.fillStyle = pen.strokeStyle = lock;
  pen.lineWidth = 1.3;
  const band = trace(new Path2D(), [...under, ...over.reverse()]);
  band.closePath();
  pen.fill(band);
  pen.stroke(band);
}

function drawStrip(pen, frame, low, high, lock, shades) {
  if (low === null) return;
  const left = frame.across(low), wide = Math.max(frame.across(high) - left, 1.3);
  pen.fillStyle = shades.card;
  pen.fillRect(left - 1.8, frame.top, wide + 3.6, frame.tall);
  pen.fillStyle = lock;
  pen.fillRect(left, frame.top, wide, frame.tall);
}

/** Rings where to aim, and the ratios beside them as far as there is room, the widest lock first. */
export function drawRatios(sweep, pen, frame, shades) {
  const { z, head: { axes: [x, y] } } = sweep, taken = [];
  pen.textBaseline = "middle";
  pen.font = `700 ${pen.font}`;
  pen.lineJoin = "round";
  const listed = sweep.labels.filter(({ at }) => at[2] === z).sort((a, b) => (b.width ?? 0) - (a.width ?? 0));
  for (const { ratio, at: [i, j], middle } of listed) {
    const left = y || middle === undefined ? frame.across(x.places[i]) : frame.across(middle);
    const top = !y ? frame.top - 10 : frame.up(middle ?? y.places[j]);
    if (y && middle !== undefined) ring(pen, left, top, shades);
    if (taken.some(([a, b]) => Math.abs(a - left) < APART[0] && Math.abs(b - top) < APART[1])) continue;
    taken.push([left, top]);
    const far = left > frame.left + frame.wide - MARGIN;
    pen.textAlign = !y ? "center" : far ? "right" : "left";
    const place = [ratio, left + (!y ? 0 : far ? -11 : 11), top];
    pen.lineWidth = 4;
    pen.strokeStyle = shades.card;
    pen.strokeText(...place);
    pen.fillStyle = shades.ink;
    pen.fillText(...place);
  }
}

function ring(pen, x, y, shades) {
  pen.beginPath();
  pen.arc(x, y, RING, 0, 7);
  for (const [colour, thick] of [[shades.card, 4], [shades.ink, 1.8]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = thick;
    pen.stroke();
  }
}
