"""How the tracer's network was made: for the reader and the repository, not installed.

Takes folders of textures, and bands of rendered photographs where there are any; gives `tracer.onnx`.
Needs PyTorch and onnx, which nothing else does. Read `train.py` first, then docs/tracer.md, the record.
"""
