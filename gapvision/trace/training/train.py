"""Train the tracer's network on painted joints, and on rendered ones where there are any, and write it.

    torchrun --nproc-per-node 4 -m gapvision.trace.training.train TEXTURES OUT --minutes 8

TEXTURES holds ``skin`` (bark, wood) and ``back`` (anything else): folders of pictures. OUT gets
tracer.pt and tracer.onnx. --bands names a folder of bands (`bands.save`), which may still be
filling up. With --look closer it is the network of the second look, its files closer.pt and closer.onnx,
and the bands are those of `bands.make_sample` in its cells. PyTorch is needed to train, and for nothing
else.
"""

from __future__ import annotations

import argparse
import math
import os
import random
import time
from pathlib import Path

import numpy as np
import torch
import torch.distributed as group
import torch.nn.functional as F

from gapvision.trace.network import BLOCK, CLOSER, TRACER, Network
from gapvision.trace.training.net import CLASSES, build, write_onnx
from gapvision.trace.training.paint import Batch, paint
from gapvision.trace.training.rendered import Bands, changed
from gapvision.trace.training.skins import BACK_MAKERS, WOOD_MAKERS, Pool, textures_below

LOOKS = {"tracer": TRACER, "closer": CLOSER}
ENCODER_RATE, RATE = 5e-4, 2e-3
DECAY = 1e-4
WARM_STEPS = 150
PLACE_SHARE = 0.25  # of a limb's cross entropy beside the labels'
RENEW_EVERY, RENEW = 4, 3  # steps; made textures
LOOK_EVERY = 40  # steps between looks for new bands
SAVE_EVERY_S = 60.0


def targets(b: Batch, look: Network):
    """Shares of the classes (n, 4, rows, m), weights (n, rows, m), limbs (n, 2, m), known (n, 2, m).

    Rows and blocks are the network's, of so many of the batch's cells as a look makes one.
    """
    n, rows, _ = b.label.shape
    width = look.along * BLOCK
    shape = (n, rows // look.down, look.down, -1, width)
    shares = torch.stack(
        [(b.label == k).view(shape).float().mean((2, 4)) for k in range(CLASSES)], 1
    )
    limb = torch.nan_to_num(b.limb.view(n, 2, -1, width)).mean(-1)
    return (
        shares, b.weight.reshape(shape).mean((2, 4)), (limb + 0.5) / look.down - 0.5,
        b.known.view(n, 2, -1, width).all(-1),
    )  # fmt: skip


def losses(score: torch.Tensor, b: Batch, look: Network) -> tuple[torch.Tensor, torch.Tensor]:
    """Mean cross entropy of the labels and of the limbs' rows, which two neighbours share."""
    shares, weight, limb, known = targets(b, look)
    score = score.float()
    entropy = -(shares * F.log_softmax(score[:, :CLASSES], 1)).sum(1)
    told = shares.sum(1) * weight
    labels = (entropy * weight).sum() / told.sum().clamp(min=1.0)
    place = F.log_softmax(score[:, CLASSES:], 2)
    at = (limb + 0.5).clamp(0, place.shape[2] - 1.001)
    low = at.floor().long()
    part = at - low
    first, second = (place.gather(2, (low + k)[:, :, None])[:, :, 0] for k in (0, 1))
    places = -((1 - part) * first + part * second)
    return labels, (places * known).sum() / known.sum().clamp(min=1)


class Mean:
    """Running mean of a network's weights: what is written."""

    def __init__(self, net) -> None:
        self.values = {k: v.clone() for k, v in net.state_dict().items()}
        self.steps = 0

    @torch.no_grad()
    def add(self, net) -> None:
        """One step more."""
        self.steps += 1
        keep = min(0.999, self.steps / (self.steps + 20))
        for name, value in net.state_dict().items():
            if value.dtype.is_floating_point:
                self.values[name].lerp_(value, 1 - keep)
            else:
                self.values[name].copy_(value)


def one_step(net, optimiser, batch: Batch, look: Network, half: bool, processes: int):
    """Loss of the labels and of the places, after a step that all processes share."""
    planes = F.avg_pool2d(batch.planes, (look.down, look.along))
    with torch.autocast(planes.device.type, torch.bfloat16, enabled=half):
        score = net(planes.to(memory_format=torch.channels_last))
    parts = losses(score, batch, look)
    optimiser.zero_grad(set_to_none=True)
    (parts[0] + PLACE_SHARE * parts[1]).backward()
    weights = [w for w in net.parameters() if w.grad is not None]
    if processes > 1:
        step = torch.cat([w.grad.reshape(-1) for w in weights])
        group.all_reduce(step)
        for w, mean in zip(
            weights, (step / processes).split([w.numel() for w in weights]), strict=True
        ):
            w.grad.copy_(mean.view_as(w))
    torch.nn.utils.clip_grad_norm_(weights, 2.0)
    optimiser.step()
    return parts[0].detach(), parts[1].detach()


def train(a: argparse.Namespace) -> None:
    """Minimise for some minutes; write OUT/tracer.pt and OUT/tracer.onnx."""
    rank, processes = int(os.environ.get("RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
    on_gpu = torch.cuda.is_available()
    device = (
        torch.device("cuda", int(os.environ.get("LOCAL_RANK", 0)) if a.gpu is None else a.gpu)
        if on_gpu
        else "cpu"
    )
    if on_gpu:
        torch.cuda.set_device(device)
        torch.backends.cudnn.benchmark = True
    if processes > 1:
        group.init_process_group("nccl" if on_gpu else "gloo")
    own_seed = a.seed * 100 + rank
    torch.manual_seed(own_seed)
    random.seed(own_seed)
    begun, look = time.time(), LOOKS[a.look]
    skins = Pool(textures_below(a.textures / "skin"), WOOD_MAKERS, a.made, device)
    backs = Pool(
        textures_below(a.textures / "back") + textures_below(a.textures / "skin")[::3], BACK_MAKERS,
        a.made // 2, device,
    )  # fmt: skip
    bands = Bands(a.bands, device, np.random.default_rng(own_seed))
    torch.manual_seed(a.seed)
    net = build(a.kind, a.pretrained).to(device).to(memory_format=torch.channels_last)
    if a.weights:
        net.load_state_dict(torch.load(a.weights, map_location=device))
    torch.manual_seed(own_seed)
    inner = [p for k, p in net.named_parameters() if k.startswith("encoder")]
    outer = [p for k, p in net.named_parameters() if not k.startswith("encoder")]
    rate = ENCODER_RATE if a.kind == "lite" else RATE
    rates = [rate * a.rate, RATE * a.rate]
    optimiser = torch.optim.AdamW(
        [{"params": inner}, {"params": outer}], RATE, weight_decay=DECAY, fused=on_gpu
    )
    mean, step, past, saved = Mean(net), 0, [], time.time()
    if rank == 0:
        print(
            f"{a.kind}: {skins.real} skins, {backs.real} backs, begun after {time.time() - begun:.0f} s",
            flush=True,
        )
    begun = time.time() if a.until is None else begun
    length = a.minutes * 60 if a.until is None else a.until - begun
    while (done := agreed((time.time() - begun) / length, device, processes)) < 1:
        warm = min(1.0, (step + 1) / WARM_STEPS)
        for setting, base in zip(optimiser.param_groups, rates, strict=True):
            setting["lr"] = base * warm * max(0.5 + 0.5 * math.cos(math.pi * done), 0.005)
        if step % LOOK_EVERY == 0:
            bands.look()
        if step % RENEW_EVERY == 0:
            skins.renew(RENEW)
            backs.renew(RENEW)
        wider = (look.most_mm / look.cell_mm) ** random.random() ** 2
        batch = paint(a.batch, skins, backs, device, look.cell_mm * wider)
        if bands.bands:
            batch = joined(batch, changed(bands.draw(a.rendered), skins, backs, look.cell_mm))
        net.train()
        past.append(torch.stack(one_step(net, optimiser, batch, look, on_gpu, processes)))
        mean.add(net)
        step += 1
        if rank == 0 and step % a.tell == 0:
            spent = time.time() - begun
            shown = torch.stack(past[-a.tell :]).mean(0).tolist()
            print(
                f"{a.kind} {step} {spent:.0f} s, labels {shown[0]:.4f} places {shown[1]:.3f}, "
                f"bands {len(bands.bands)}",
                flush=True,
            )
        if rank == 0 and time.time() - saved > SAVE_EVERY_S:
            torch.save(mean.values, a.out / f"{a.look}.pt")
            saved = time.time()
    if rank == 0:
        torch.save(mean.values, a.out / f"{a.look}.pt")
        net.load_state_dict(mean.values)
        plain = net.cpu().float().to(memory_format=torch.contiguous_format)
        write_onnx(plain, a.out / look.weights)
        print(f"{a.kind} done {step}", flush=True)


def joined(a: Batch, b: Batch) -> Batch:
    """Two batches as one."""
    return Batch(*(torch.cat([getattr(a, k), getattr(b, k)]) for k in Batch.__slots__))


def agreed(done: float, device, processes: int) -> float:
    """The first process's clock, by which all stop after the same step."""
    if processes == 1:
        return done
    clock = torch.tensor([done], device=device)
    group.broadcast(clock, 0)
    return float(clock)


def main() -> None:
    """Parse the command line and train."""
    ask = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    ask.add_argument("textures", type=Path)
    ask.add_argument("out", type=Path)
    ask.add_argument("--minutes", type=float, default=8)
    ask.add_argument("--until", type=float, help="seconds since 1970 at which to end instead")
    ask.add_argument("--bands", type=Path, help="folder of rendered bands")
    ask.add_argument("--kind", choices=("lite", "plain"), default="lite")
    ask.add_argument(
        "--pretrained", action="store_true", help="begin with the encoder's own weights"
    )
    ask.add_argument("--weights", type=Path, help="weights to begin with")
    ask.add_argument("--batch", type=int, default=24, help="painted samples a step and process")
    ask.add_argument("--rendered", type=int, default=12, help="rendered ones, where there are any")
    ask.add_argument("--made", type=int, default=160, help="made textures held at a time")
    ask.add_argument("--rate", type=float, default=1.0, help="factor of the learning rate")
    ask.add_argument("--look", choices=tuple(LOOKS), default="tracer", help="whose network")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--tell", type=int, default=100)
    ask.add_argument("--gpu", type=int)
    a = ask.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    train(a)


if __name__ == "__main__":
    main()
