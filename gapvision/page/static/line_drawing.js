// Draws the traced lines over their photograph: the upper log's solid, the lower's dashed, what was changed
// by hand in yellow, pins as rings, what is not the gap hatched. All is as thick on the screen at any zoom.

const SVG = "http://www.w3.org/2000/svg";
const THICK = 3, UNDER = 6, PIN = 11, HATCH = 12;

export function draw(svg, { lines, ops, held, scale, width, height }) {
  if (!Number(width)) return;
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  const px = 1 / scale, parts = [];
  for (const log of ["upper", "lower"]) {
    const d = lines.runs(log).map(path).join("");
    parts.push(...line(d, log, px));
  }
  const drawn = ops.slice();
  if (held && held.kind === "move") {
    drawn.push({ kind: "line", log: held.log, stroke: lines.bent(ops, held.log, held.x, held.dy, held.wide) });
  } else if (held && held.kind === "draw" && held.stroke.length > 1) {
    drawn.push({ kind: "line", log: held.log, stroke: held.stroke });
  }
  for (const op of drawn) {
    if (op.kind === "line" && op.stroke.length > 1) parts.push(...line(path(op.stroke), `${op.log} moved`, px));
  }
  drawn.forEach((op, index) => {
    if (op.kind === "not") parts.push(...band(lines, ops, lines.column(op.from), lines.column(op.to), px));
    else if (op.stroke.length === 1 && !(held && held.old === index)) parts.push(...pin(op.stroke[0], op.log, px));
  });
  if (held && held.kind === "pin") parts.push(...pin(held.at, held.log, px));
  if (held && held.kind === "not") parts.push(...band(lines, ops, held.from, held.to, px));
  svg.replaceChildren(...parts);
}

function line(d, kind, px) {
  return [
    node("path", { d, class: "outline under", "stroke-width": UNDER * px }),
    node("path", {
      d, class: `outline ${kind}`, "stroke-width": THICK * px,
      ...(kind.startsWith("lower") ? { "stroke-dasharray": `${10 * px} ${5 * px}` } : {}),
    }),
  ];
}

function band(lines, ops, a, b, px) {
  const [from, to] = a < b ? [a, b] : [b, a];
  const middle = (from + to) / 2;
  const ys = ["upper", "lower"].filter((log) => lines.traced[log].length).map((log) => lines.at(ops, log, middle));
  const top = Math.min(...ys) - 30 * px, bottom = Math.max(...ys) + 30 * px;
  const parts = [node("rect", { class: "notgap", x: from, y: top, width: to - from, height: bottom - top, "stroke-width": 3 * px })];
  let d = "";
  for (let x = from; x < to; x += HATCH * px) { // strokes of one slope, cut off at the right end
    const end = Math.min(to, x + (bottom - top) / 2);
    d += `M${x} ${bottom}L${end} ${bottom - 2 * (end - x)}`;
  }
  parts.push(node("path", { d, class: "notgap-hatch", "stroke-width": 2 * px }));
  return parts;
}

function pin([x, y], log, px) {
  const r = PIN * px;
  return [
    node("circle", { class: "pin under", cx: x, cy: y, r, "stroke-width": 6 * px }),
    node("circle", { class: "pin", cx: x, cy: y, r, "stroke-width": 3 * px }),
    // A tail on the side of the log that it belongs to, so that colour is not needed to tell.
    node("path", { class: "pin", d: `M${x} ${log === "upper" ? y - r : y + r}v${(log === "upper" ? -14 : 14) * px}`, "stroke-width": 3 * px }),
    node("circle", { class: "pin point", cx: x, cy: y, r: 2.2 * px }),
  ];
}

function path(points) {
  return `M${points.map((p) => `${p[0]} ${p[1]}`).join("L")}`;
}

function node(name, attributes) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}
