"""gapvision: from phone photographs of an open log joint to the setting of the dividers."""

__version__ = "0.1.0"
