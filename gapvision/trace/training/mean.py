"""One network of several runs: the mean of their weights, where on joints kept apart it beats each of them.

    python -m gapvision.trace.training.mean OUT.onnx A.pt B.pt

The runs must have begun with the same weights, or a mean of them is no network.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import torch

from gapvision.trace.training.net import build, write_onnx


def mean_of(runs: list[dict[str, torch.Tensor]]) -> dict[str, torch.Tensor]:
    """The mean of runs' weights, by name; counts of batches are averaged too, and rounded."""
    return {
        name: torch.stack([run[name].double() for run in runs]).mean(0).to(value.dtype)
        for name, value in runs[0].items()
    }


def main() -> None:
    """Read weights, write the network of their mean."""
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("out", type=Path)
    ask.add_argument("runs", type=Path, nargs="+")
    ask.add_argument("--kind", choices=("lite", "plain"), default="lite")
    a = ask.parse_args()
    net = build(a.kind)
    net.load_state_dict(mean_of([torch.load(run, map_location="cpu") for run in a.runs]))
    write_onnx(net, a.out)


if __name__ == "__main__":
    main()
