// What every screen does: the bright-sun switch, forgetting what was typed into a form that arrived, and
// asking the laptop again where a browser shows a screen of before.

import "./look.js";
import { read, write } from "./kept.js";

const sent = JSON.parse(read("sent"));
if (sent && sent.from !== location.pathname) { // where it did not arrive, its form is shown again
  write(sent.key, null);
  write("sent", null);
}

addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
