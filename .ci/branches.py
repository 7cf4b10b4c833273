"""The branches that tests take, by package and module, from what `coverage json` wrote; too few fail."""

import json
import sys
from collections import defaultdict
from pathlib import Path
from typing import NamedTuple

LEAST_PERCENT = 95
MOST_NAMED = 8


class Module(NamedTuple):
    name: str
    taken: int
    branches: int
    missing: list[list[int]]  # from line to line; to a negative one is out of the function there


def main() -> None:
    modules = [
        Module(
            name,
            file["summary"]["covered_branches"],
            file["summary"]["num_branches"],
            file["missing_branches"],
        )
        for name, file in sorted(json.loads(Path(sys.argv[1]).read_text())["files"].items())
    ]
    packages = defaultdict(list)
    for m in modules:
        packages[str(Path(m.name).parent)].append(m)
    for package, within in packages.items():
        print(f"{told(within)}  {package}")
    print(f"{told(modules)}  all\n\nNot taken, from line to line:")
    for m in modules:
        if m.missing:
            named = ", ".join(f"{a} to {b}" for a, b in m.missing[:MOST_NAMED])
            more = ", ..." if len(m.missing) > MOST_NAMED else ""
            print(f"{m.taken:4} of {m.branches:4}  {m.name}: {named}{more}")
    raise SystemExit(percent(modules) < LEAST_PERCENT)


def percent(modules: list[Module]) -> float:
    return 100 * sum(m.taken for m in modules) / max(sum(m.branches for m in modules), 1)


def told(modules: list[Module]) -> str:
    taken, all_ = sum(m.taken for m in modules), sum(m.branches for m in modules)
    return f"{taken:5} of {all_:5}  {percent(modules):5.1f} %"


if __name__ == "__main__":
    main()
