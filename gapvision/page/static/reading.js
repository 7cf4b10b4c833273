// A caliper reading or a trial line: what belongs to a place beside a card, and to a trial line, is shown only
// where it is asked for.

function sort(form) {
  form.querySelector("[data-part=beside]").hidden = !form.elements.card.value;
  form.elements.setting.closest(".field").hidden = form.elements.kind.value !== "trial";
}

document.querySelectorAll("form[data-reading]").forEach((form) => {
  form.addEventListener("change", () => sort(form));
  sort(form);
});
