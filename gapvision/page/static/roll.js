// The first photographs of many joints: a roll is begun for them, they are kept on the phone, and the screen
// of the roll sends them.

import { hold } from "./waiting.js";

const form = document.getElementById("roll");
const input = form.querySelector("input");
const trouble = document.getElementById("trouble");

async function begin() {
  const files = Array.from(input.files);
  if (!files.length) return;
  trouble.hidden = true;
  try {
    const response = await fetch(form.action, { method: "POST" });
    if (!response.ok) throw new Error(response.status);
    const roll = new URL(response.url).pathname.split("/").pop();
    for (const file of files) {
      const item = await hold(roll, file);
      if (item.id === null) { form.submit(); return; } // a phone that keeps nothing sends them at once
    }
    location.href = response.url;
  } catch (error) {
    trouble.textContent = "The laptop cannot be reached just now: choose them again.";
    trouble.hidden = false;
    input.value = "";
  }
}

input.addEventListener("change", begin);
begin();
