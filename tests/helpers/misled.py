"""A network that takes another edge for one log's outline, and lines drawn through the right one."""

from __future__ import annotations

import numpy as np

from gapvision.trace.network import GAP, LOWER, UPPER

LIMB = {"upper": 0, "lower": 1}
OWN = {"upper": UPPER, "lower": LOWER}


def misled(labels, limbs, log, blocks, rows):
    """What the network says, with one log's edge so many rows lower in some blocks (a slice)."""
    labels, limbs = labels.copy(), limbs.copy()
    limb, own = limbs[LIMB[log]], labels[OWN[log]]
    limb[:, blocks] = np.roll(limb[:, blocks], rows, axis=0)
    before = own[:, blocks].copy()
    own[:, blocks] = np.roll(before, rows, axis=0)
    labels[GAP][:, blocks] += np.clip(before - own[:, blocks], 0, 1)
    return labels, limbs


def drawn(photo, log, first, last, off_px=0.0, waver_px=2.0, step=9, seed=3):
    """A line through a photograph's claimed points from station to station, wavering as a finger does.

    ``photo`` is of `outlines_answer`; a point in ``step`` is taken, 36 mm apart.
    """
    blocks = photo["outlines"]["blocks"]
    seen = np.array(blocks[f"{log}_state"]) == "seen"
    at = np.array(blocks["station_mm"])[seen]
    points = np.array(photo["outlines"][log])[(at > first) & (at < last)][::step]
    waver = np.random.default_rng(seed).normal(0, waver_px, len(points))
    return (points + np.stack([0 * waver, waver + off_px], 1)).tolist()
