"""The branches that tests take, by package and module, from what `coverage json` wrote."""

import json
import sys
from collections import defaultdict
from pathlib import Path

MOST_NAMED = 8


def main() -> None:
    files = json.loads(Path(sys.argv[1]).read_text())["files"]
    packages = defaultdict(list)
    for name, file in sorted(files.items()):
        taken, all_ = (file["summary"][k] for k in ("covered_branches", "num_branches"))
        lines = file["missing_lines"]
        packages[package_of(name)].append((name, taken, all_, file["missing_branches"], lines))
    for package, modules in packages.items():
        print(f"{told(modules)}  {package}")
    print(f"{told([m for modules in packages.values() for m in modules])}  all")
    print("\nNot taken, as line->line (negative: out of the function there):")
    for modules in packages.values():
        for name, taken, all_, missing, lines in modules:
            if missing or lines:
                named = [f"{a}->{b}" for a, b in missing[:MOST_NAMED]]
                more = (
                    [f"and {len(missing) - MOST_NAMED} more"] if len(missing) > MOST_NAMED else []
                )
                print(f"{taken:4} of {all_:4}  {name}  {' '.join(named + more)}")


def package_of(name: str) -> str:
    """``gapvision/photo`` of a module there or deeper, ``gapvision`` of one beside the packages."""
    parts = Path(name).parts
    return "/".join(parts[parts.index("gapvision") :][: 2 if len(parts) > 2 else 1])


def told(modules: list) -> str:
    taken, all_ = (sum(m[k] for m in modules) for k in (1, 2))
    return f"{taken:5} of {all_:5}  {100 * taken / max(all_, 1):5.1f} %"


if __name__ == "__main__":
    main()
