// The two traced lines of a photograph, and what of them was changed by hand: points [x, y, station in mm],
// px of the upright full-size picture.

const APART_MM = 12; // points farther apart have a stretch between them that was not traced
const STEP_PX = 6; // from point to point of a line that was moved

export class Lines {
  constructor(traced) {
    this.traced = traced;
    const all = traced.upper.concat(traced.lower).sort((a, b) => a[0] - b[0]);
    this.all = all;
  }

  // Where along the log a column lies, mm; beyond the ends as the ends go on. Not known where nothing was
  // traced.
  station(x) {
    const all = this.all;
    if (!all.length) return NaN;
    let i = all.findIndex((p) => p[0] > x);
    if (i < 0) i = all.length - 1;
    let j = Math.max(0, i - 1);
    while (j > 0 && all[i][0] - all[j][0] < 2) j -= 1;
    if (all[i][0] === all[j][0]) return all[i][2];
    return all[j][2] + ((x - all[j][0]) * (all[i][2] - all[j][2])) / (all[i][0] - all[j][0]);
  }

  // The column of a station.
  column(station) {
    const all = this.all;
    let low = all[0][0] - 4000, high = all[all.length - 1][0] + 4000;
    for (let n = 0; n < 40; n += 1) {
      const middle = (low + high) / 2;
      if (this.station(middle) < station) low = middle;
      else high = middle;
    }
    return low;
  }

  // The first and the last column of a line, traced or drawn; null where there is none.
  extent(ops, log) {
    const drawn = ops.filter((op) => op.kind === "line" && op.log === log && op.stroke.length > 1);
    const xs = this.traced[log].concat(...drawn.map((op) => op.stroke)).map((p) => p[0]);
    return xs.length ? [Math.min(...xs), Math.max(...xs)] : null;
  }

  // The runs of a line that were traced, each a list of points.
  runs(log) {
    const out = [];
    let last = null;
    for (const point of this.traced[log]) {
      if (!last || point[2] - last[2] > APART_MM) out.push([]);
      out[out.length - 1].push(point);
      last = point;
    }
    return out;
  }

  // The height of a line in a column, with what was moved by hand; between runs straight on.
  at(ops, log, x) {
    for (let i = ops.length - 1; i >= 0; i -= 1) {
      const op = ops[i];
      if (op.kind !== "line" || op.log !== log || op.stroke.length < 2) continue;
      const stroke = op.stroke;
      if (x >= stroke[0][0] && x <= stroke[stroke.length - 1][0]) return between(stroke, x);
    }
    return this.traced[log].length ? between(this.traced[log], x) : NaN;
  }

  // Which line a finger means: the chosen one where it is within `near`, else the nearest; null where
  // that is twice as far, and where there is none.
  nearest(ops, chosen, x, y, near) {
    const off = (log) => {
      const extent = this.extent(ops, log);
      return extent && x >= extent[0] - near && x <= extent[1] + near ? Math.abs(this.at(ops, log, x) - y) : Infinity;
    };
    if (off(chosen) < near) return chosen;
    const best = off("upper") < off("lower") ? "upper" : "lower";
    return off(best) < 2 * near ? best : null;
  }

  // A stretch of a line moved by dy at x, less and less towards `wide` to either side.
  bent(ops, log, x, dy, wide) {
    const stroke = [];
    const step = Math.max(STEP_PX, wide / 24), [first, last] = this.extent(ops, log);
    for (let at = Math.max(first, x - wide); at <= Math.min(last, x + wide); at += step) {
      const share = 0.5 * (1 + Math.cos((Math.PI * (at - x)) / wide));
      stroke.push([round(at), round(this.at(ops, log, at) + dy * Math.min(1, 1.3 * share))]);
    }
    return stroke;
  }
}

function between(points, x) {
  const last = points.length - 1;
  if (x <= points[0][0]) return points[0][1];
  if (x >= points[last][0]) return points[last][1];
  let low = 0, high = last;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (points[middle][0] <= x) low = middle;
    else high = middle;
  }
  const [a, b] = [points[low], points[high]];
  return a[1] + ((x - a[0]) * (b[1] - a[1])) / (b[0] - a[0] || 1);
}

function round(value) {
  return Math.round(value * 100) / 100;
}
