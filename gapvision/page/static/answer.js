// The screen of an answer: reading it aloud, reading the profile place by place, and sharing its report.

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
