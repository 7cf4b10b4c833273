// The screen of an answer: reading it aloud, reading the profile place by place, and sharing its report.

import "./entries.js";
import { readProfile } from "./profile.js";
import { share } from "./share.js";
import { speakable } from "./speak.js";

speakable(document.getElementById("speak"));
const profile = document.getElementById("profile");
if (profile) readProfile(profile);
const link = document.getElementById("share");
if (link) share(link);

// What belongs to a place beside a card, and to a trial line, is shown only where it is asked for.
const form = document.getElementById("reading");
if (form) {
  const sort = () => {
    form.querySelector("[data-part=beside]").hidden = !form.elements.card.value;
    form.elements.setting.closest(".field").hidden = form.elements.kind.value !== "trial";
  };
  form.addEventListener("change", sort);
  sort();
}
