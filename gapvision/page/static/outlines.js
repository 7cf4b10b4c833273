// The photograph with its traced lines: a finger moves a line, draws one where none was traced, pins a point
// of it, or marks what is not the gap. Each change goes to the laptop at once, and is kept on the phone until it has arrived.

import { changes } from "./changes.js";
import { draw } from "./line_drawing.js";
import { Lines } from "./lines.js";
import { zoomable } from "./zoom.js";

const NEAR_PX = 44; // of a finger from a line or a pin, on the screen
const WIDE_PX = 70; // how far to either side a moved line gives way, on the screen
const TOLD = {
  look: "Pinch to zoom. Does a line leave its log? Move it.",
  move: "Drag a line to its log's edge. Where there is none, draw along the edge.",
  pin: "Choose the log, then tap where its edge is.",
  not: "Drag along what is not the gap.",
};

const frame = document.getElementById("zoom");
const said = document.getElementById("said");
const tools = document.getElementById("tools");
const lines = tools ? new Lines(JSON.parse(frame.dataset.lines)) : null;
const tool = () => (tools ? tools.elements.tool.value : "look");
const zoom = zoomable(frame, () => tool() === "look");

if (tools) {
  const kept = changes(frame.dataset, JSON.parse(frame.dataset.byHand), show);
  const svg = frame.querySelector("svg");
  let held = null; // what the finger holds

  tools.hidden = false;
  tools.addEventListener("change", () => {
    document.getElementById("logs").hidden = tool() === "look" || tool() === "not";
    tell(TOLD[tool()]);
  });
  const log = () => tools.elements.log.value;
  const choose = (name) => { tools.elements.log.value = name; };

  function show() {
    draw(svg, { lines, ops: kept.ops, held, scale: zoom.scale(), width: frame.dataset.width, height: frame.dataset.height });
    document.getElementById("undo").disabled = !kept.ops.length;
  }

  function tell(text) {
    if (said.textContent !== text) said.textContent = text;
  }

  // --- a finger ----------------------------------------------------------------------------------

  frame.addEventListener("pointerdown", (event) => {
    if (tool() === "look") return;
    if (zoom.fingers() > 1) { held = null; show(); return; } // the second finger zooms
    const [x, y] = zoom.toSheet(event), near = NEAR_PX / zoom.scale();
    if (tool() === "move") {
      const found = lines.nearest(kept.ops, log(), x, y, near);
      if (found) choose(found);
      held = found ? { kind: "move", log: found, x, from: y, dy: 0, wide: WIDE_PX / zoom.scale() }
        : { kind: "draw", log: log(), stroke: [[rounded(x), rounded(y)]] };
    } else if (tool() === "pin") {
      const old = kept.ops.findIndex((op) => op.kind === "line" && op.stroke.length === 1
        && Math.hypot(op.stroke[0][0] - x, op.stroke[0][1] - y) < near);
      held = old < 0 ? { kind: "pin", log: log(), at: [x, y], grip: [x, y] }
        : { kind: "pin", log: kept.ops[old].log, at: kept.ops[old].stroke[0].slice(), grip: [x, y], old };
      choose(held.log);
    } else {
      const old = kept.ops.findIndex((op) => op.kind === "not" && inside(op, lines.station(x)));
      held = { kind: "not", from: x, to: x, old };
    }
    show();
  });

  frame.addEventListener("pointermove", (event) => {
    if (!held || zoom.fingers() > 1) return;
    const [x, y] = zoom.toSheet(event);
    if (held.kind === "move") held.dy = y - held.from;
    else if (held.kind === "draw") held.stroke.push([rounded(x), rounded(y)]);
    else if (held.kind === "pin") {
      held.at = [held.at[0] + x - held.grip[0], held.at[1] + y - held.grip[1]];
      held.grip = [x, y];
    } else held.to = x;
    show();
  });

  frame.addEventListener("pointerup", () => {
    const done = held;
    held = null;
    if (!done) return;
    if (done.kind === "move") {
      if (Math.abs(done.dy) * zoom.scale() >= 1) moved(done.log, done.x, done.dy, done.wide); // else a tap
    }
    else if (done.kind === "draw") drawn(done);
    else if (done.kind === "pin") pinned(done);
    else marked(done);
    show();
  });
  frame.addEventListener("pointercancel", () => { held = null; show(); });

  function moved(name, x, dy, wide) {
    kept.add({ kind: "line", log: name, stroke: lines.bent(kept.ops, name, x, dy, wide) });
    tell(`${name === "upper" ? "Upper" : "Lower"} line moved ${dy < 0 ? "up" : "down"} by ${Math.abs(dy).toFixed(0)} px. Measure again when done.`);
  }

  function drawn({ log: name, stroke }) {
    const along = stroke.slice().sort((a, b) => a[0] - b[0]).filter((p, i, all) => !i || p[0] > all[i - 1][0]);
    if ((along[along.length - 1][0] - along[0][0]) * zoom.scale() < NEAR_PX) return; // a tap
    kept.add({ kind: "line", log: name, stroke: along });
    tell(`${name === "upper" ? "Upper" : "Lower"} line drawn. Draw as far as it was wrong; measure again when done.`);
  }

  function pinned(done) {
    const op = { kind: "line", log: done.log, stroke: [done.at.map(rounded)] };
    if (done.old === undefined) kept.add(op);
    else kept.replace(done.old, op);
    tell("Pinned. Drag the pin to where the edge is; measure again when done.");
  }

  function marked(done) {
    const ends = [lines.station(done.from), lines.station(done.to)].sort((a, b) => a - b);
    if (ends[1] - ends[0] < 5) { // a tap: takes a mark away
      if (done.old >= 0) { kept.remove(done.old); tell("Mark removed."); }
      return;
    }
    kept.add({ kind: "not", from: ends[0], to: ends[1] });
    tell(`${Math.round(ends[1] - ends[0])} mm are not the gap. Measure again when done.`);
  }

  // --- keys: with the tool to move a line, left and right choose the place, up and down move it --------

  let caret = null;
  frame.addEventListener("keydown", (event) => {
    if (event.target !== frame || tool() !== "move") return;
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key], up = { ArrowUp: -1, ArrowDown: 1 }[event.key];
    if (!step && !up) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const wide = WIDE_PX / zoom.scale();
    const extent = lines.extent(kept.ops, log());
    if (!extent) { tell("No line was traced here."); return; }
    if (caret === null) caret = (extent[0] + extent[1]) / 2;
    if (step) {
      caret = Math.max(extent[0], Math.min(extent[1], caret + (step * wide) / 2));
      held = { kind: "move", log: log(), x: caret, from: 0, dy: 0, wide };
      show();
      held = null;
      tell(`${log() === "upper" ? "Upper" : "Lower"} line at ${Math.round(lines.station(caret))} mm.`);
    } else {
      moved(log(), caret, up * Math.max(1, 0.5 / zoom.scale()), wide);
      show();
    }
  }, true);

  document.getElementById("undo").addEventListener("click", () => {
    kept.remove(kept.ops.length - 1);
    tell("Undone.");
    show();
  });

  // --- measuring again, once all has arrived ----------------------------------------------------------

  document.getElementById("again").addEventListener("submit", async (event) => {
    event.preventDefault();
    tell("Sending what was changed.");
    const refusal = await kept.arrived();
    if (refusal) tell(refusal);
    else event.target.submit();
  });

  zoom.watch(show);
  tell(TOLD.look);
  show();
}

function inside(op, station) {
  return station >= op.from && station <= op.to;
}

function rounded(value) {
  return Math.round(value * 100) / 100;
}
