"""A measured joint as the command line is given it, without a photograph."""

import numpy as np

from gapvision.advice.caution import told
from gapvision.joint.gap import Profile
from gapvision.joint.photo_results import CardResult, PhotoResult
from gapvision.measurement import Measurement
from gapvision.quantity import Place, Quantity

STATION = np.arange(-700.0, 700.1, 5.0)


def answer(status="measured"):
    gap = 30.0 + 0 * STATION
    return Measurement(
        status=status,
        cover_mm=75.0,
        widest_gap=Quantity(38.0, 0.9, 1.8),
        widest_place=Place(310.0, 2, -390.0),
        setting=Quantity(46.2, 1.0, 2.0),
        set_to_mm=48.0,
        deciding_place=Place(310.0, 2, -390.0),
        narrowest_groove=Quantity(80.0, 2.0, 4.0),
        narrowest_place=Place(310.0, 2, -390.0),
        profile=Profile(STATION, gap, gap / 30, 2.5 * gap, gap / 15, gap + 8, gap / 30),
        photos=(PhotoResult("level.jpg", "0" * 64, "outside", True, height_mm=1, distance_mm=9),),
        cards=(CardResult(2, "outside", 700.0, 0.0, ("level.jpg",)),),
        cautions=(told("one-height", "One height only."),),
    )
