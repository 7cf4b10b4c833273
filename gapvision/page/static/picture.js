// The picture of an answer, to pinch and zoom; its buttons do the same.

import { zoomable } from "./zoom.js";

const zoom = zoomable(document.getElementById("zoom"));
document.querySelectorAll("[data-zoom]").forEach((button) => {
  button.addEventListener("click", () => zoom[button.dataset.zoom]());
});
