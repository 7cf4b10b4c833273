// The form of a joint: the keyboard that its lengths need. Inches want fractions, which a keypad of decimals
// cannot write.

import "./entries.js";

const form = document.getElementById("form");
const LENGTHS = ["cover", "upper_left", "upper_right", "lower_left", "lower_right"];

function suit() {
  const mode = form.elements.units.value === "in" ? "text" : "decimal";
  LENGTHS.forEach((name) => { form.elements[name].inputMode = mode; });
}

form.addEventListener("change", suit);
suit();
