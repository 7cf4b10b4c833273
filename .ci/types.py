"""Compare what mypy says with what each module is allowed; `--write` to allow what there is."""

import re
import sys
from collections import Counter
from pathlib import Path

ALLOWED = Path(__file__).parent / "types.txt"


def main() -> None:
    said = Path(sys.argv[1]).read_text()
    found = Counter(re.findall(r"^(\S+?):\d+: error:", said, re.MULTILINE))
    if "--write" in sys.argv:
        ALLOWED.write_text("".join(f"{n} {module}\n" for module, n in sorted(found.items())))
        return
    lines = (line.split() for line in ALLOWED.read_text().splitlines())
    allowed = {module: int(n) for n, module in lines}
    for module, n in sorted(allowed.items()):
        if found[module] < n:
            print(f"{module}: {found[module]} now, {n} allowed: lower .ci/types.txt")
    more = {module for module, n in found.items() if n > allowed.get(module, 0)}
    for line in said.splitlines():
        if line.partition(":")[0] in more:
            print(line)
    print(f"{sum(found.values())} errors, {sum(allowed.values())} allowed")
    raise SystemExit(bool(more))


if __name__ == "__main__":
    main()
