"""What is odd about what was given: photographs of two joints, days apart, copies, damaged; diameters."""

from __future__ import annotations

import math

from gapvision.advice.caution import Caution, capped
from gapvision.advice.findings import Findings
from gapvision.joint.photo_results import PhotoResult
from gapvision.joint.several import HOURS_APART, hours_between
from gapvision.trace.traced_photo import APART

# Messengers reduce pictures to 1280 to 2048 px and drop what the camera wrote; a phone's own file of
# this size tells its camera.
REDUCED_PX = 2100
PERHAPS_SEVERAL = "perhaps-several"
# u of its prior by which the fit has a focal length otherwise: by chance in 3 of 1000 lenses. Where it
# is wrong by more, the fit meets it half way, and the gap with it.
FOCAL_OFF_U = 3.0


def perhaps_several(f: Findings) -> list[Caution]:
    """Photographs that may be of two joints."""
    if f.suspicion is None:
        return []
    facts = {"groups": f.suspicion.files, "cards": f.suspicion.cards}
    return [Caution(PERHAPS_SEVERAL, doubtful=True, facts=facts)]


def diameters_contradicted(f: Findings) -> list[Caution]:
    """Stated diameters that the photographs show otherwise."""
    return [
        Caution("diameter-contradicted", doubtful=True, facts={"found": found})
        for found in f.contradicted
    ]


def lens_contradicted(f: Findings) -> list[Caution]:
    """Focal lengths that several heights show otherwise than Exif or a calibration tells."""
    out = []
    for k, prior in enumerate(f.lenses):
        longer = f.joint.lenses[k].focal_px / prior.focal_px
        if abs(math.log(longer)) > FOCAL_OFF_U * prior.u_focal_px / prior.focal_px:
            pairs = zip(f.photos, f.joint.photos, strict=True)
            photo = next(p for p, fitted in pairs if fitted.rows.lens == k)
            facts = {"photo": photo.name, "longer": longer, "told_by": photo.exposure.lens}
            out.append(Caution("lens-contradicted", doubtful=True, facts=facts))
    return capped(out)


def hours_apart(f: Findings) -> list[Caution]:
    """Photographs between which hours lie."""
    hours = hours_between((p.exposure.camera, p.exposure.taken) for p in f.photos)
    return [Caution("hours-apart", facts={"hours": hours})] if hours > HOURS_APART else []


def reduced_copies(f: Findings) -> list[Caution]:
    """Small photographs that tell no camera."""
    out = [Caution("reduced-copy", facts={"photo": p.name}) for p in f.photos if _is_reduced(p)]
    return capped(out)


def damaged_photos(f: Findings) -> list[Caution]:
    """Files of which a part is lost: doubtful where that is, or may be, in what is measured."""
    out = [
        Caution("damaged", doubtful=p.damage != APART, facts={"photo": p.name, "where": p.damage})
        for p in f.photos
        if p.damage
    ]
    return capped(sorted(out, key=lambda c: not c.doubtful))


def _is_reduced(photo: PhotoResult) -> bool:
    key = photo.exposure.camera
    if key is None or key.make or key.model or key.focal35_mm is not None:
        return False
    return max(key.width_px, key.height_px) <= REDUCED_PX
