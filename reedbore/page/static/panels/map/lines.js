// Lines over a lock map: where the sung note is just p/q times the note that the horn plays alone.

const SUNG = ["sung", "voice.frequency_hz"];
const ANOTHER_REGISTER = 600; // [cents] from one cell to the next: no line runs through such a cliff
const THIN = 1.6, RIM = 4.5, TALL = 15, AWAY = 6; // [px]

/**
 * The lines that cross a map, simplest ratio first: [{ratio, parts}], a part being two points
 * [i, j] in cells, whole in their middles. Each cell tells how far the sung note is from what the
 * horn plays alone; a line is where that is the size of a ratio.
 */
export function linesOf({ head, cells }) {
  const grid = gridOf(head, cells);
  if (!grid) return [];
  const squares = squaresOf(grid, head.axes.map(({ field }) => !SUNG.includes(field)));
  return head.ratios
    .map(([ratio, size]) => ({ ratio, parts: squares.flatMap((corners) => partsIn(corners, size)) }))
    .filter(({ parts }) => parts.length);
}

/** What is known on the finest grid that is complete, and half a cell further, to the map's edge. */
function gridOf(head, cells) {
  const counts = head.axes.map((axis) => axis.values.length);
  const every = (step) => counts.map((n) => Array.from({ length: Math.ceil(n / step) }, (_, k) => k * step));
  const complete = ([is, js]) => is.length > 1 && js.length > 1 && is.every((i) => js.every((j) => cells.has(`${i},${j}`)));
  const inner = head.levels.map(every).findLast(complete);
  if (!inner) return null;
  const [is, js] = inner.map((places, n) => [-0.5, ...places, counts[n] - 0.5]);
  const columns = inner[0].map((i) => reaching(inner[1].map((j) => cells.get(`${i},${j}`).interval), js));
  const rows = js.map((_, k) => reaching(columns.map((column) => column[k]), is));
  return { is, js, rows };
}

/** Values at all places, given those at all but the two ends, where they go on in a straight line. */
function reaching(values, places) {
  const beyond = ([end, near, far], one, two) => (one === null || two === null ? one : one + ((one - two) * (end - near)) / (near - far));
  return [beyond(places, values[0], values[1]), ...values, beyond(places.slice(-3).reverse(), values.at(-1), values.at(-2))];
}

/** Four corners [i, j, value] of each square whose values belong together. */
function squaresOf({ is, js, rows }, steady) {
  const corner = (k, n) => [is[k], js[n], rows[n][k]];
  const cliff = ([, , one], [, , two], way) => steady[way] && Math.abs(one - two) > ANOTHER_REGISTER;
  const found = [];
  for (let n = 0; n + 1 < js.length; n += 1) {
    for (let k = 0; k + 1 < is.length; k += 1) {
      const [a, b, c, d] = [corner(k, n), corner(k + 1, n), corner(k + 1, n + 1), corner(k, n + 1)];
      if ([a, b, c, d].some(([, , value]) => value === null)) continue;
      if (!cliff(a, b, 0) && !cliff(d, c, 0) && !cliff(a, d, 1) && !cliff(b, c, 1)) found.push([a, b, c, d]);
    }
  }
  return found;
}

/** The part of a line in a square: from side to side, where the values pass a size. */
function partsIn(corners, size) {
  const cuts = corners.flatMap(([i, j, value], k) => {
    const [i2, j2, next] = corners[(k + 1) % 4];
    if ((value >= size) === (next >= size)) return [];
    const share = (size - value) / (next - value);
    return [[i + share * (i2 - i), j + share * (j2 - j)]];
  });
  return cuts.length === 4 ? [cuts.slice(0, 2), cuts.slice(2)] : cuts.length ? [cuts] : [];
}

/** Draw the lines, thin on a rim that keeps them apart from cells of any state, and name them. */
export function drawLines(lines, pen, frame, shades) {
  const path = new Path2D(), at = ([i, j]) => [frame.x(i + 0.5), frame.y(j + 0.5)];
  for (const [from, to] of lines.flatMap(({ parts }) => parts)) (path.moveTo(...at(from)), path.lineTo(...at(to)));
  for (const [colour, thick] of [[shades.paper, RIM], [shades.ink, THIN]]) {
    pen.strokeStyle = colour;
    pen.lineWidth = thick;
    pen.stroke(path);
  }
  pen.lineWidth = 1;
  nameLines(lines, pen, frame, at, shades);
}

/** Write each ratio beside the end of its line, as far as there is room: the simplest come first. */
function nameLines(lines, pen, frame, at, shades) {
  const taken = [], right = frame.left + frame.wide;
  pen.fillStyle = shades.ink;
  pen.textBaseline = "middle";
  pen.textAlign = "left";
  const named = lines.flatMap(({ ratio, parts }) => endsOf(parts.flat(), frame).map((end) => [ratio, ...at(end)]));
  for (const [ratio, x, y] of named) {
    const wide = pen.measureText(ratio).width, beside = x > right - 1;
    const left = beside ? x + AWAY : x - wide / 2, middle = beside ? y : y - TALL / 2 - 1;
    const box = [left, middle - TALL / 2, left + wide + AWAY, middle + TALL / 2];
    if (taken.some((other) => box[0] < other[2] && other[0] < box[2] && box[1] < other[3] && other[1] < box[3])) continue;
    taken.push(box);
    pen.fillText(ratio, left, middle);
  }
}

/** Where a line leaves the map: on the right, else at the top, else as far to the right as it gets. */
function endsOf(points, { nx, ny }) {
  const last = (n, end) => points.filter((point) => point[n] > end - 0.5 - 1e-9);
  const found = [last(0, nx), last(1, ny)].find((ends) => ends.length);
  return found ?? [points.reduce((best, point) => (point[0] > best[0] ? point : best))];
}
