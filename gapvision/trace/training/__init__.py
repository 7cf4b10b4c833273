"""How the tracer's two networks were made: for the reader and the repository, not installed.

Takes folders of photographs with ``truth.json``; gives `tracer.onnx` and `lines.onnx`. Needs PyTorch
and onnx, which nothing else does. Read `train.py` first, then docs/tracer.md, the record.
"""
