"""Reports made up for the tests of what is written of them."""

import io
from dataclasses import replace

import cv2
import numpy as np
from helpers.joints import joint
from PIL import Image

from gapvision.advice.caution import told
from gapvision.answer.as_json import answer_json
from gapvision.answer.report.joint import JointReport
from gapvision.inputs.joint_name import JointName

PLACE = b"SECRETPLACE"  # what a photograph tells of itself and a report must not
SERIAL = b"SERIAL0815"


def picture(colour=(40, 90, 160), shape=(300, 400)):
    """A small JPEG of stripes."""
    bgr = np.full((*shape, 3), colour, np.uint8)
    bgr[:, ::20] = 255
    return cv2.imencode(".jpg", bgr)[1].tobytes()


def telling_photo(path, shape=(900, 1600)):
    """A JPEG with a location, serial numbers, a maker's note and a preview in its Exif."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    image = Image.fromarray(np.dstack([x % 256, y % 256, (x + y) % 256]).astype(np.uint8))
    exif = Image.Exif()
    exif[0x010E] = PLACE.decode()  # ImageDescription
    detail = exif.get_ifd(0x8769)
    detail[0xA431] = SERIAL.decode()  # BodySerialNumber
    detail[0xA435] = SERIAL.decode()  # LensSerialNumber
    detail[0x927C] = SERIAL  # MakerNote
    place = exif.get_ifd(0x8825)
    place[1], place[2], place[3], place[4] = "N", (47.0, 30.0, 0.0), "E", (8.0, 45.0, 0.0)
    place[27] = PLACE  # GPSProcessingMethod
    image.save(path, exif=exif, comment=PLACE)
    return path


def report(
    log="3", status="measured", refused="", units="mm", building="Barn", wall="north", **changes
):
    """A joint's report, 49 mm for 75; a doubtful one lacks a stretch."""
    m = joint((-100.0, 100.0) if status == "doubtful" else None, status=status)
    if status == "doubtful":
        m = replace(m, cautions=(told("not-seen", "A hole.", -105.0, 95.0), *m.cautions))
    result = answer_json(m)
    if refused:
        result = {
            "format": "gapvision-measurement", "version": 1, "status": "refused", "cautions": [],
            "reason": {"code": "no-card", "text": refused},
        }  # fmt: skip
    given = dict(
        joint=JointName(building, wall, log), date="2026-05-14T09:12:33+02:00",
        version="gapvision 0.1.0", result=result, photos=(("joint.jpg", picture()),),
        picture=picture((20, 160, 60), (400, 300)), units=units,
    )  # fmt: skip
    return JointReport(**given | changes)


def jpegs(content):
    """Every JPEG in a file, as pictures."""
    found = []
    at = content.find(b"\xff\xd8\xff")
    while at >= 0:
        found.append(Image.open(io.BytesIO(content[at:])))
        at = content.find(b"\xff\xd8\xff", at + 3)
    return found
