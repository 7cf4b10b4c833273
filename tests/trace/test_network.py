"""What the network says of a long strip, piece by piece, beside what it says of it at once."""

import numpy as np
import onnxruntime
import pytest

from gapvision.trace import network


@pytest.mark.parametrize("look", [network.TRACER, network.CLOSER])
def test_pieces_say_what_the_whole_says(look, monkeypatch):
    rng = np.random.default_rng(4)
    planes = rng.random((6, 64, 2400), dtype=np.float32)
    planes[3:] = 0.0
    whole = network.read_planes(planes, look)
    passes, run = [], network._session
    monkeypatch.setattr(network, "_session", lambda name: passes.append(name) or run(name))
    monkeypatch.setattr(network, "MOST_CELLS", 64 * 900)
    pieces = network.read_planes(planes, look)
    assert passes == [look.weights] * 3
    assert pieces.shape == whole.shape
    np.testing.assert_allclose(pieces, whole, atol=0.01)


def test_what_is_loaded_ahead_is_not_loaded_again(monkeypatch):
    loaded, load = [], onnxruntime.InferenceSession
    monkeypatch.setattr(
        onnxruntime, "InferenceSession", lambda w, *a, **k: loaded.append(w) or load(w, *a, **k)
    )
    for begun_once in (network._session, network.load_ahead):
        begun_once.cache_clear()
    for look in (network.TRACER, network.CLOSER):
        network.load_ahead()
        network.read_planes(np.zeros((6, 64, 96), np.float32), look)
    assert len(loaded) == len(set(loaded)) == 2
