// What was typed into a form outlives a reload, a sleeping phone and a lost connection: each change is
// kept on the phone until the form has arrived, which another screen shows (`screen.js`).

import { read, write } from "./kept.js";

const OLD_MS = 7 * 24 * 3600 * 1000; // what was typed longer ago belongs to another joint

export function keepEntries(form) {
  const key = `entries ${form.dataset.entries}`;
  restore(form, key);
  const keep = () => {
    const entries = {};
    for (const field of form.elements) {
      if (!field.name || field.type === "hidden") continue;
      if (field.type === "radio") {
        if (field.checked) entries[field.name] = field.value;
      } else if (field.type === "checkbox") {
        entries[field.name] = field.checked;
      } else {
        entries[field.name] = field.value;
      }
    }
    write(key, JSON.stringify({ at: Date.now(), entries }));
  };
  form.addEventListener("input", keep);
  form.addEventListener("change", keep);
  form.addEventListener("submit", () => write("sent", JSON.stringify({ key, from: location.pathname })));
}

function restore(form, key) {
  const text = read(key);
  // A form that comes back with refusals shows what was sent.
  if (!text || form.querySelector(".error")) return;
  const { at, entries } = JSON.parse(text);
  if (Date.now() - at > OLD_MS) return;
  for (const field of form.elements) {
    if (!(field.name in entries)) continue;
    if (field.type === "radio") field.checked = field.value === entries[field.name];
    else if (field.type === "checkbox") field.checked = entries[field.name];
    else field.value = entries[field.name];
    const details = field.closest("details");
    if (details && field.type !== "radio" && entries[field.name]) details.open = true;
  }
}

document.querySelectorAll("form[data-entries]").forEach(keepEntries);
