// What was changed by hand in one photograph: in the order in which it was done, so that it can be undone;
// sent to the laptop after each change, and kept on the phone until it has arrived.

import { read, write } from "./kept.js";

const AGAIN_MS = 3000;

// `byHand` is what the laptop has: {upper: [stroke], lower: [stroke], not_gap: [[from, to]]}.
export function changes({ joint, sha }, byHand, changed) {
  const key = `outlines ${joint} ${sha}`;
  const unsent = JSON.parse(read(key));
  const ops = opsOf(unsent || byHand);
  let sending = null, dirty = Boolean(unsent), refusal = "";

  async function send() {
    while (dirty) {
      dirty = false;
      refusal = "";
      try {
        const response = await fetch(`/joint/${joint}/outlines`, {
          method: "POST",
          headers: { "Content-Type": "application/json", Accept: "application/json" },
          body: JSON.stringify({ [sha]: byHandOf(ops) }),
        });
        if (response.status >= 400 && response.status < 500) {
          refusal = (await response.json()).sentence || "The laptop did not take it.";
        } else if (!response.ok) throw new Error(response.status);
        if (!dirty) write(key, null);
      } catch (error) {
        dirty = true;
        await new Promise((resolve) => setTimeout(resolve, AGAIN_MS));
      }
    }
    sending = null;
  }

  function touched() {
    dirty = true;
    write(key, JSON.stringify(byHandOf(ops)));
    if (!sending) sending = send();
    changed();
  }

  if (dirty) sending = send();
  return {
    ops,
    add: (op) => { ops.push(op); touched(); },
    replace: (index, op) => { ops[index] = op; touched(); },
    remove: (index) => { ops.splice(index, 1); touched(); },
    // Resolves once the laptop has all: to its refusal, or to nothing.
    arrived: async () => { if (sending) await sending; return refusal; },
  };
}

function byHandOf(ops) {
  const out = {};
  for (const op of ops) {
    const [name, value] = op.kind === "not" ? ["not_gap", [round(op.from), round(op.to)]] : [op.log, op.stroke];
    (out[name] = out[name] || []).push(value);
  }
  return out;
}

function opsOf(byHand) {
  const ops = [];
  for (const log of ["upper", "lower"]) {
    for (const stroke of byHand[log] || []) ops.push({ kind: "line", log, stroke });
  }
  for (const [from, to] of byHand.not_gap || []) ops.push({ kind: "not", from, to });
  return ops;
}

function round(mm) {
  return Math.round(mm * 10) / 10;
}
