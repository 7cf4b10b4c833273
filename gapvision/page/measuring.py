"""A draft measured: in a worker, with its progress in the draft's folder, until it is answered or refused."""

from __future__ import annotations

import json
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from gapvision.errors import MeasurementError
from gapvision.files import write_new
from gapvision.inputs.options import MeasureOptions


def measure_draft(options: MeasureOptions, progress_file: Path) -> dict:
    """In a worker: the JSON of the answer or the refusal, as `measure --json` writes it."""
    from gapvision.answer.as_json import answer_json, refusal_json, stamped
    from gapvision.spine import measure

    def tell(done: int, total: int) -> None:
        with suppress(MeasurementError):
            text = json.dumps({"done": done, "total": total})
            write_new(progress_file, text.encode(), "the progress", overwrite=True)

    now = datetime.now().astimezone().isoformat(timespec="seconds")
    try:
        return stamped(answer_json(measure(options, tell)), now)
    except MeasurementError as error:
        return stamped(refusal_json(error), now)
