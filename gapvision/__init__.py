"""gapvision: from phone photographs of an open log joint to the setting of the dividers."""

from __future__ import annotations

__version__ = "0.1.0"
