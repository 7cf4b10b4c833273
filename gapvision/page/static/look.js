// The bright-sun switch in the head of every screen, without loading the page again.

const form = document.querySelector("[data-look-switch]");

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const button = form.querySelector("button");
  const on = button.getAttribute("aria-pressed") !== "true";
  const look = on ? "sun" : "auto";
  const body = new URLSearchParams({ look, next: form.elements.next.value });
  document.documentElement.dataset.look = look;
  button.setAttribute("aria-pressed", String(on));
  button.value = on ? "auto" : "sun";
  // Should the laptop be out of reach just now, the look holds until the next page.
  fetch(form.action, { method: "POST", body, redirect: "manual", keepalive: true }).catch(() => {});
});
