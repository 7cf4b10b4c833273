// What every screen does: the bright-sun switch, and forgetting what was typed into a form that arrived.

import "./look.js";
import { read, write } from "./kept.js";

const sent = JSON.parse(read("sent"));
if (sent && sent.from !== location.pathname) { // where it did not arrive, its form is shown again
  write(sent.key, null);
  write("sent", null);
}
