// The screen of an answer: reading it aloud, reading the profile place by place, sharing its report; and
// looking whether it still holds, since another phone may change something meanwhile.

import "./entries.js";
import { readProfile } from "./profile.js";
import "./reading.js";
import { share } from "./share.js";
import { speakable } from "./speak.js";

const voice = document.getElementById("speak");
if (voice) speakable(voice);
const profile = document.getElementById("profile");
if (profile) readProfile(profile);
const link = document.getElementById("share");
if (link) share(link);

const ASK_MS = 5000;
const joint = document.body.dataset.joint;

async function ask() {
  if (!document.hidden) {
    try {
      const state = await (await fetch(`/joint/${joint}/state`, { cache: "no-store" })).json();
      if (state.stale || !["answered", "kept"].includes(state.state)) { location.reload(); return; }
    } catch (error) { /* out of reach: it is asked again */ }
  }
  setTimeout(ask, ASK_MS);
}

if (joint) setTimeout(ask, ASK_MS);
