"""What a shoot would know: the program's own fit of a nominal joint seen from the shoot's stands.

Nothing is drawn at random. Corners and outlines lie exactly where the nominal joint has them and
carry the uncertainties that `measure` would give them; how well the fit then knows the setting is
what to expect. Wrongly labelled outlines are not in it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from gapvision.inputs.diameters import radius_along
from gapvision.joint.by_hand import risk_left
from gapvision.joint.disagreement import least_u_label
from gapvision.joint.first_joint import swinging
from gapvision.joint.fit import fit_joint
from gapvision.joint.gap import gap_profile
from gapvision.joint.model import KNOT_H_MM, KNOT_S_MM, FittedPhoto, Joint, residuals
from gapvision.joint.readings import GapReading
from gapvision.joint.solve import BEYOND_MM
from gapvision.lengths import U_READING_MM
from gapvision.quantity import Quantity
from gapvision.scene.camera import FACING, Camera, Lens, rotation
from gapvision.scene.card import CARD_WIDTH_MM, corner_points_mm, outline_mm
from gapvision.scene.hung_card import HungCard
from gapvision.scene.photo_rows import CardSighting, OutlineRows, PhotoRows
from gapvision.scene.priors import Beliefs, Half, Priors
from gapvision.scene.spline import Spline
from gapvision.shoot.ways import PICTURE_PX, STRETCH_MM, VIEW, Hung, Shoot, Site, Stand
from gapvision.trace.outlines import LEAST_GAP_PX
from gapvision.trace.rows import rough_mm

U_FOCAL = 0.027  # of the focal length that a photograph states
CORNER_PX = 0.08  # card corners on rendered photographs: 0.07
OUTLINE_PX = 0.5  # limbs, beside what rows are off by together (`rows.rough_mm`)
ROW_MM = 12.0  # of outline that makes one row of the fit
FIELD_PX = 40.0  # nothing is traced nearer to the picture's edge
TAPER = 0.003  # of the radius, where no diameter is stated
SAG_MM = 4.0  # by which the gap narrows 1 m beside its widest place
READINGS_APART_MM = 400.0
# Ways are compared, so that a half-width must not hang on the draw: more draws than an answer takes,
# at fewer stations, for the crowns bend over some 60 mm.
DRAWS, STATION_STEP_MM = 1600, 20.0


@dataclass(frozen=True, slots=True)
class Expected:
    """The widest gap and the setting as the shoot would know them."""

    widest: Quantity
    setting: Quantity


def expected(site: Site, shoot: Shoot, priors: Priors | None = None) -> Expected:
    """How well a shoot would know one stretch of the log that decides.

    Parameters
    ----------
    site : Site
    shoot : Shoot
        Its sweep over the stretch in the log's middle, and what it gives to a stretch.

    Notes
    -----
    The nominal logs are two cones with their crowns above each other, the thick end of one over
    the thin end of the other, and the gap widest in the stretch's middle. Where the crowns' offset
    is unknown the half-width follows from its prior.
    """
    priors = priors or Priors()
    half = min(site.length_mm, STRETCH_MM) / 2
    at = sorted({s.station_mm for s in shoot.sweep if s.height_mm == shoot.sweep[0].height_mm})
    centre = at[len(at) // 2] if site.length_mm > STRETCH_MM else site.length_mm / 2
    stands, hung = _around(shoot, centre, half)
    truth = _nominal(site, stands, hung, half, priors)
    rough = rough_mm([s.height_mm / s.distance_mm for s in stands], [s.side for s in stands])
    truth = truth.observing(
        _rows(truth, p, s, half, rough) for p, s in zip(truth.photos, stands, strict=True)
    )
    truth = replace(truth, cards=tuple(swinging(c, truth.photos) for c in truth.cards))
    middle = -hung[0].station_mm
    readings = tuple(
        GapReading(x, float(truth.sections(np.array([x])).gap()[0]), U_READING_MM)
        for x in middle + min(READINGS_APART_MM, 0.8 * half) * np.arange(shoot.readings)
    )
    stated = {log: _radius(site, log, middle) for log in ("upper", "lower")}
    known = {
        log: f if getattr(site, f"{log}_diameter") is not None else None
        for log, f in stated.items()
    }
    joint = fit_joint(truth, Beliefs(truth.lenses, known, priors), readings)
    n = int(half // STATION_STEP_MM)
    station = middle + STATION_STEP_MM * np.arange(-n, n + 1)
    risk = risk_left(least_u_label(joint, station), station, readings)
    profile = gap_profile(joint, station, site.cover_mm, risk, DRAWS)
    return Expected(profile.widest, profile.setting)


def _around(shoot: Shoot, middle: float, half: float) -> tuple[list[Stand], list[Hung]]:
    """Stands that see the stretch and the cards they see, stations from its middle."""
    stands = [replace(s, station_mm=s.station_mm - middle) for s in shoot.sweep]
    stands = [s for s in stands if abs(s.station_mm) < half + 0.5 * s.width_mm - ROW_MM]
    stands += shoot.stretch
    cards = [replace(c, station_mm=c.station_mm - middle) for c in shoot.cards]
    cards = [c for c in cards if any(_shows(s, c) for s in stands)]
    return stands, sorted(cards, key=lambda c: c.side != "outside")


def _shows(stand: Stand, card: Hung) -> bool:
    reach = (stand.width_mm - CARD_WIDTH_MM) / 2
    return stand.side == card.side and abs(stand.station_mm - card.station_mm) <= reach


def _nominal(
    site: Site, stands: list[Stand], hung: list[Hung], half: float, priors: Priors
) -> Joint:
    """The joint itself, its cameras and cards, in the world of its first card."""
    middle = -hung[0].station_mm
    spline_h = Spline.over(middle - half - BEYOND_MM, middle + half + BEYOND_MM, KNOT_H_MM)
    spline_s = Spline.over(middle - half - BEYOND_MM, middle + half + BEYOND_MM, KNOT_S_MM)
    r_u, r_l = (_radius(site, log, middle) for log in ("upper", "lower"))
    log = site.cards_on
    on = r_u if log == "upper" else r_l
    axis_z = -float(on(np.zeros(1))[0]) - priors.standoff_mm

    def opening(x: np.ndarray) -> np.ndarray:
        return site.gap_mm - SAG_MM * ((x - middle) / 1000.0) ** 2

    # The nail of the first card is the origin: at the widest place of the log that it hangs on.
    zero = np.zeros(1)
    lower_y = -float(r_u(zero)[0]) - float(opening(zero)[0]) if log == "upper" else 0.0
    lower_y += float(r_l(zero)[0]) if log == "lower" else 0.0
    at_h, at_s = spline_h.centres(), spline_s.centres()
    flat = np.full(len(at_s), axis_z)
    coefficients = {
        "h_l": np.full(len(at_h), lower_y), "z_l": flat, "r_l": r_l(at_s),
        "h_u": lower_y + opening(at_h), "z_u": flat, "r_u": r_u(at_s),
    }  # fmt: skip
    focal = PICTURE_PX[0] / VIEW
    gap_y = lower_y + site.gap_mm / 2
    photos = []
    for s in stands:
        out = 1.0 if s.side == "outside" else -1.0
        away = s.distance_mm + float(on(zero)[0])
        place = np.array([middle + s.station_mm, gap_y + s.height_mm, axis_z + out * away])
        # The phone is tipped so that the gap lies in the middle of the picture.
        tip = rotation(np.array([np.arctan2(s.height_mm, away), 0.0, 0.0]))
        camera = Camera(tip @ FACING[s.side], place, focal, 0.0, PICTURE_PX)
        photos.append(FittedPhoto(PhotoRows(s.side, PICTURE_PX, 0), camera))
    cards = []
    for number, c in enumerate(hung, 1):
        x = np.array([middle + c.station_mm])
        radius = float(on(x)[0])
        out = 1.0 if c.side == "outside" else -1.0
        crown = lower_y + float(opening(x)[0]) if log == "upper" else lower_y
        y = crown + radius if log == "upper" else crown - radius
        nail = np.array([float(x[0]), y, axis_z + out * (radius + priors.standoff_mm)])
        cards.append(HungCard(number, c.side, log, nail, np.zeros(3)))
    lens = Lens(focal, U_FOCAL * focal, 0.0, priors.k1)
    return Joint(tuple(photos), (lens,), tuple(cards), spline_h, spline_s, coefficients)


def _radius(site: Site, log: str, middle: float) -> Half:
    """Half diameter (n,) mm at stations (n,), of a cone over the whole log."""
    half = site.length_mm / 2
    stated = radius_along(getattr(site, f"{log}_diameter"), (middle - half, middle + half))
    if stated is not None:
        return stated
    slope = TAPER if log == "upper" else -TAPER
    return lambda x: site.radius_mm(log) + slope * (np.asarray(x, float) - middle)


def _rows(truth: Joint, photo: FittedPhoto, stand: Stand, half: float, rough: float) -> PhotoRows:
    """What one photograph of the nominal joint brings to the fit."""
    camera = photo.camera
    sightings, hidden = [], []
    for c in truth.cards:
        if c.side != stand.side:
            continue
        px = camera.project(c.nail_mm + np.c_[outline_mm(), np.zeros(4)])
        size = np.array(camera.size)
        if np.any(px < FIELD_PX) or np.any(px > size - FIELD_PX):
            continue
        ids = np.arange(len(corner_points_mm()))
        corners = camera.project(c.points(corner_points_mm()))
        module = float(np.linalg.norm(corners[9] - corners[0])) / 198.0 * 17.0 / 6.0
        sightings.append(CardSighting(c.number, ids, corners, CORNER_PX, np.eye(3), module))
        hidden.append(px)
    outlines = _outlines(truth, camera, hidden, half, rough)
    return replace(photo.rows, sightings=tuple(sightings), outlines=outlines)


def _outlines(
    truth: Joint, camera: Camera, hidden: list[np.ndarray], half: float, rough: float
) -> tuple[OutlineRows, ...]:
    axis_z = float(truth.coefficients["z_l"][0])
    depth = abs(camera.centre_mm[2] - axis_z)
    mm_per_px = depth / camera.focal_px
    column = np.arange(FIELD_PX, camera.size[0] - FIELD_PX, ROW_MM / mm_per_px)
    traced = {log: _grazing(truth, camera, log, column, axis_z) for log in ("lower", "upper")}
    opening = traced["lower"][0] - traced["upper"][0]
    middle = truth.spline_h.from_mm + half + BEYOND_MM
    out = []
    for log, (row, station) in traced.items():
        ok = (opening > LEAST_GAP_PX) & (np.abs(station - middle) < half + BEYOND_MM - 10)
        ok &= (row > FIELD_PX) & (row < camera.size[1] - FIELD_PX)
        for px in hidden:  # a card's box: what it covers a little more generously than it is
            low, high = px.min(0), px.max(0)
            ok &= ~((column > low[0]) & (column < high[0]) & (row > low[1]) & (row < high[1]))
        if ok.any():
            u = np.full(int(ok.sum()), np.hypot(OUTLINE_PX, rough / mm_per_px))
            out.append(OutlineRows(log, np.stack([column[ok], row[ok]], 1), u))
    return tuple(out)


def _grazing(
    truth: Joint, camera: Camera, log: str, column: np.ndarray, axis_z: float
) -> tuple[np.ndarray, np.ndarray]:
    """Rows (n,) px at which sight rays graze a log, and the stations (n,) that they touch."""
    crown = "h_l" if log == "lower" else "h_u"
    start = np.array([camera.centre_mm[0], float(np.mean(truth.coefficients[crown])), axis_z])
    row = np.full(len(column), camera.project(start)[1])
    toward = 1.0 if log == "lower" else -1.0
    for _ in range(4):  # the miss is in px and nearly straight: two steps reach 0.001 px
        xy = np.stack([column, row], 1)
        miss, station = residuals(camera, OutlineRows(log, xy, np.ones(len(xy))), truth)
        row = row + toward * miss
    return row, station
