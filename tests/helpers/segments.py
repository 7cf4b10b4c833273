"""Circular segments, as the tables have them: an expected value that the program does not compute."""

from __future__ import annotations


def sagitta(radius_mm: float, chord_mm: float) -> float:
    """Height of a circle's segment over a chord: ``r - sqrt(r^2 - (c/2)^2)``, mm.

    Source: any table of circular segments; held against published examples in
    ``tests/truth/segments.csv``.
    """
    return radius_mm - (radius_mm**2 - (chord_mm / 2) ** 2) ** 0.5
