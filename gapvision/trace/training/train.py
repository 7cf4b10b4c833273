"""Train a network of the tracer on photographs whose truth is known, and write it.

    python -m gapvision.trace.training.train tracer FOLDER --seconds 1200
    python -m gapvision.trace.training.train lines FOLDER --seconds 1200

FOLDER holds one folder a joint, each with photographs and a ``truth.json`` that describes the logs'
surfaces, the cards and the shots. PyTorch (tried with 2.13) and onnx are needed to train, and for
nothing else.
docs/tracer.md tells what the shipped weights were trained on.
"""

from __future__ import annotations

import argparse
import multiprocessing
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

from gapvision.trace.training import lines, tracer
from gapvision.trace.training.samples import Sample, load_samples

NETWORKS = {"tracer": tracer, "lines": lines}
BATCH = 8
PEAK_RATE = 2e-3
DECAY = 1e-4
EASY = 0.5  # share of samples drawn alike from all photographs; the rest by their running loss
MEMORY = 0.2
LEAST_HARD, MOST_HARD = 0.01, 4.0
WARM_STEPS = 60
KEEP_STEPS = 150  # the weights are written so often, should the training be cut short


def train(
    network, samples: list[Sample], seconds: float, out: Path, start: Path | None, seed: int,
    processes: int,
) -> None:  # fmt: skip
    """Minimise a network's loss for some time; write ``out``.pt and ``out``.onnx.

    Each process varies and learns a batch of its own, and all go the mean of their steps: with one
    thread each they wait for each other no longer than a step.
    """
    cv2.setNumThreads(1)
    fork = multiprocessing.get_context("fork")  # the samples are shared, not copied
    with tempfile.TemporaryDirectory() as folder:
        shared = (processes, Path(folder) / "meeting", network, samples, seconds, out, start, seed)
        others = [fork.Process(target=_learn, args=(rank, *shared)) for rank in range(1, processes)]
        for other in others:
            other.start()
        _learn(0, *shared)
        for other in others:
            other.join()


def _learn(rank, processes, meeting, network, samples, seconds, out, start, seed) -> None:
    """One process of `train`; the first one writes."""
    import torch  # after the fork: its threads would not survive one
    import torch.distributed as group

    torch.set_num_threads(1)
    group.init_process_group(
        "gloo", init_method=f"file://{meeting}", rank=rank, world_size=processes
    )
    rng = np.random.default_rng([seed, rank])
    torch.manual_seed(seed)
    net = network.build_network().to(memory_format=torch.channels_last)
    if start:
        net.load_state_dict(torch.load(start), strict=False)  # layers it lacks begin anew
    weights = list(net.parameters())
    sizes = [w.numel() for w in weights]
    optimiser = torch.optim.AdamW(weights, PEAK_RATE, weight_decay=DECAY)
    half = torch.cpu.get_capabilities().get("amx_tile", False)  # elsewhere it is slower than whole
    hard = np.ones(len(samples))  # each photograph's running loss
    begun, past = time.time(), []
    while (done := _agreed(group, (time.time() - begun) / seconds)) < 1:
        warm = min(1.0, (len(past) + 1) / WARM_STEPS)
        for setting in optimiser.param_groups:
            setting["lr"] = PEAK_RATE * warm * (0.5 + 0.5 * np.cos(np.pi * done) + 0.01)
        share = EASY / len(samples) + (1 - EASY) * hard / hard.sum()  # the hard ones come oftener
        chosen, varied = [], []
        while len(varied) < BATCH:
            k = int(rng.choice(len(samples), p=share / share.sum()))
            of_one = network.examples(samples[k], samples, rng)
            chosen += [k] * len(of_one)
            varied += of_one
        x, *truth = (torch.from_numpy(np.stack(p)) for p in zip(*varied, strict=True))
        net.train()
        with torch.autocast("cpu", torch.bfloat16, enabled=half):
            entropy, counted = network.losses(net, x.to(memory_format=torch.channels_last), *truth)
        loss = (entropy * counted).sum() / counted.sum()
        each = (entropy * counted).detach().flatten(1).sum(1)
        each = each / counted.flatten(1).sum(1).clamp(min=1.0)
        for k, value in zip(chosen, np.clip(each.numpy(), LEAST_HARD, MOST_HARD), strict=True):
            hard[k] += MEMORY * (value - hard[k])
        optimiser.zero_grad()
        loss.backward()
        step = torch.cat([w.grad.reshape(-1) for w in weights])
        group.all_reduce(step)
        for w, mean in zip(weights, (step / processes).split(sizes), strict=True):
            w.grad.copy_(mean.view_as(w.grad))
        torch.nn.utils.clip_grad_norm_(weights, 5.0)
        optimiser.step()
        past.append(loss.item())
        if rank == 0 and len(past) % 50 == 0:
            spent = f"{time.time() - begun:.0f} s"
            print(len(past), spent, f"{np.mean(past[-50:]):.4f}", flush=True)
        if rank == 0 and len(past) % KEEP_STEPS == 0:
            torch.save(net.state_dict(), out.with_suffix(".pt"))
    for statistic in net.buffers():
        if statistic.is_floating_point():
            group.all_reduce(statistic)
            statistic /= processes
    if rank == 0:
        torch.save(net.state_dict(), out.with_suffix(".pt"))
        network.write_onnx(net, out.with_suffix(".onnx"))


def _agreed(group, done: float) -> float:
    """The first process's clock, by which all stop after the same step."""
    import torch

    clock = torch.tensor([done])
    group.broadcast(clock, 0)
    return float(clock)


def main() -> None:
    """Parse the command line and train."""
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )  # noqa: E501
    ask.add_argument("network", choices=NETWORKS)
    ask.add_argument("folder", type=Path, nargs="+")
    ask.add_argument("--seconds", type=float, default=1200)
    ask.add_argument("--out", type=Path)
    ask.add_argument("--start", type=Path)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--processes", type=int, default=2, help="one a core")
    a = ask.parse_args()
    rng = np.random.default_rng(a.seed)
    samples = [s for folder in a.folder for s in load_samples(folder, rng)]
    print(f"{len(samples)} photographs")
    out = a.out or Path(a.network)
    train(NETWORKS[a.network], samples, a.seconds, out, a.start, a.seed, a.processes)


if __name__ == "__main__":
    main()
