// The profile read place by place: by a finger on the drawing, by the slider, its two buttons, or the
// arrow keys. All that is told was written by the laptop.

export function readProfile(figure) {
  const readings = JSON.parse(figure.dataset.readings); // [x, [y of each plot], where, gap, groove]
  const svg = figure.querySelector("svg");
  const cursor = svg.querySelector("[data-part=cursor]");
  const line = cursor.querySelector("line"), dots = cursor.querySelectorAll("circle");
  const told = document.getElementById("reading-here");
  const slider = document.getElementById("slider");
  document.getElementById("reader").hidden = false;
  cursor.removeAttribute("hidden");

  function at(index) {
    const [x, ys, where, gap, groove] = readings[index];
    line.setAttribute("x1", x);
    line.setAttribute("x2", x);
    dots.forEach((dot, i) => {
      dot.setAttribute("cx", x);
      dot.setAttribute("cy", ys[i] === null ? -99 : ys[i]);
    });
    const large = document.createElement("b");
    large.textContent = gap;
    const lines = [large, document.createElement("br"), groove, groove ? document.createElement("br") : "", where];
    told.replaceChildren(...lines);
    slider.setAttribute("aria-valuetext", [where, gap, groove].filter(Boolean).join(", "));
  }

  function to(index) {
    slider.value = Math.max(0, Math.min(readings.length - 1, index));
    at(Number(slider.value));
  }

  slider.addEventListener("input", () => at(Number(slider.value)));
  document.querySelectorAll("[data-step]").forEach((button) => {
    button.addEventListener("click", () => to(Number(slider.value) + Number(button.dataset.step)));
  });

  function point(event) {
    const box = svg.getBoundingClientRect();
    const x = ((event.clientX - box.left) / box.width) * svg.viewBox.baseVal.width;
    let best = 0;
    readings.forEach((r, i) => { if (Math.abs(r[0] - x) < Math.abs(readings[best][0] - x)) best = i; });
    to(best);
  }
  svg.addEventListener("pointerdown", (event) => {
    svg.setPointerCapture(event.pointerId);
    point(event);
  });
  svg.addEventListener("pointermove", (event) => { if (event.buttons) point(event); });
  to(Number(slider.value));
}
