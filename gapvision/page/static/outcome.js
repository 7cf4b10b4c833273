// The form of what came of a joint.

import "./entries.js";
import "./reading.js";
