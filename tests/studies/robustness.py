"""The demo's photographs disturbed in every way that happens: what is answered, beside the truth.

    PYTHONPATH=tests python tests/studies/robustness.py docs/robustness.md

writes the page anew; ``--only TEXT`` prints the rows of which the name holds the text. Disturbances are
made in the pixels of the bundled photographs, all three alike unless the row says otherwise.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before numpy loads

import cv2
import numpy as np
from helpers.demo import FOLDER, TRUTH, options
from joblib import Parallel, delayed
from PIL import ExifTags, Image

from gapvision.errors import MeasurementError
from gapvision.photo.cards import read_cards
from gapvision.photo.light import linear
from gapvision.photo.pose import card_pose
from gapvision.scene import card
from gapvision.scene.camera import Lens
from gapvision.spine import measure

QUALITY = 95
FOCAL_OF_SIDE = 26 / 36  # of the demo's lens, as its Exif says: 26 mm beside 36 mm
BEND_CELLS = 1.0  # mm, of the grid on which a card is bent
Change = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Disturbance:
    """What happens to the pixels, to the file and to the options, and to which photographs.

    ``first_only``: the level photograph alone is disturbed, the others stay. ``copies`` are further files,
    made of the level photograph; ``beside`` are further files as they are.
    """

    name: str
    pixels: Change = staticmethod(lambda bgr: bgr)
    quality: int = QUALITY
    exif: Callable[[Image.Exif], None] = staticmethod(lambda exif: None)
    stated: dict = field(default_factory=dict)
    first_only: bool = False
    copies: tuple[Change, ...] = ()
    beside: tuple[str, ...] = ()


# --- pixels ---------------------------------------------------------------------------------------


def _turned(degrees: float) -> Change:
    def change(bgr):
        h, w = bgr.shape[:2]
        m = cv2.getRotationMatrix2D(((w - 1) / 2, (h - 1) / 2), degrees, 1.0)
        return cv2.warpAffine(bgr, m, (w, h), flags=cv2.INTER_CUBIC)

    return change


def _quarter(times: int) -> Change:
    return lambda bgr: np.ascontiguousarray(np.rot90(bgr, times))


def _cropped(left: float, right: float, top: float, bottom: float) -> Change:
    def change(bgr):
        h, w = bgr.shape[:2]
        rows = slice(round(top * h), round((1 - bottom) * h))
        return bgr[rows, round(left * w) : round((1 - right) * w)]

    return change


def _noisy(sd: float) -> Change:
    def change(bgr):
        noise = np.random.default_rng(7).normal(0, sd, bgr.shape)
        return np.clip(bgr + noise, 0, 255).astype(np.uint8)

    return change


def _blurred(sd: float) -> Change:
    return lambda bgr: cv2.GaussianBlur(bgr, (0, 0), sd)


def _shaken(px: int) -> Change:
    return lambda bgr: cv2.blur(bgr, (px, 1))


def _lit(*gains: float) -> Change:
    """Light times a gain, blue, green, red, and cut off where it is too much."""

    def change(bgr):
        light = np.clip(linear(bgr) * np.array(gains), 0, 1)
        low = light * 12.92
        high = 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
        return np.round(255 * np.where(light < 0.0031308, low, high)).astype(np.uint8)

    return change


def _scaled(across: float, down: float | None = None) -> Change:
    def change(bgr):
        times = across, across if down is None else down
        mode = cv2.INTER_AREA if max(times) < 1 else cv2.INTER_CUBIC
        return cv2.resize(bgr, None, fx=times[0], fy=times[1], interpolation=mode)

    return change


def _each_card(bgr: np.ndarray):
    """Where each card lies: its sighting, and its corners (4, 2) px from the top left round."""
    for seen in read_cards(bgr, "")[0]:
        x, y = card.corner_points_mm()[:, 0], card.corner_points_mm()[:, 1]
        edge = card.SQUARE_MM
        box = [(x.min() - edge, y.max() + edge), (x.max() + edge, y.max() + edge)]
        box += [(x.max() + edge, y.min() - edge), (x.min() - edge, y.min() - edge)]
        to_px = np.linalg.inv(seen.card_from_image)
        yield seen, cv2.perspectiveTransform(np.array([box], float), to_px)[0]


def _hidden(share: float, numbers: tuple[int, ...] = (1, 2, 3, 4)) -> Change:
    """A grey sheet before this share of each card, from its right."""

    def change(bgr):
        out = bgr.copy()
        for seen, (tl, tr, br, bl) in _each_card(bgr):
            if seen.number in numbers:
                top, bottom = tr + share * (tl - tr), br + share * (bl - br)
                cv2.fillConvexPoly(out, np.rint([top, tr, br, bottom]).astype(int), (120, 125, 130))
        return out

    return change


def _bent(bow_mm: float) -> Change:
    """Each card bent about its plumb middle line, which stands out by so much before its edges."""

    def change(bgr):
        h, w = bgr.shape[:2]
        lens = Lens(FOCAL_OF_SIDE * w, 0.0, 0.0, 0.0)
        at_x, at_y = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32))
        for seen, box in _each_card(bgr):
            camera = card_pose(seen, lens, (w, h))
            lo = np.maximum(np.floor(box.min(0)).astype(int), 0)
            hi = np.minimum(np.ceil(box.max(0)).astype(int), (w, h))
            patch = np.s_[lo[1] : hi[1], lo[0] : hi[0]]
            px = np.stack([at_x[patch], at_y[patch]], -1).reshape(1, -1, 2).astype(float)
            on_card = cv2.perspectiveTransform(px, seen.card_from_image)[0]
            middle = card.corner_points_mm()[:, 0].mean()
            half = card.CARD_WIDTH_MM / 2
            z = bow_mm * np.clip(1 - ((on_card[:, 0] - middle) / half) ** 2, 0, None)
            flat = np.c_[on_card, np.zeros(len(z))]
            moved = camera.project(np.c_[on_card, z]) - camera.project(flat)
            shape = at_x[patch].shape
            inside = (z > 0).reshape(shape)
            at_x[patch] -= np.where(inside, moved[:, 0].reshape(shape), 0).astype(np.float32)
            at_y[patch] -= np.where(inside, moved[:, 1].reshape(shape), 0).astype(np.float32)
        return cv2.remap(bgr, at_x, at_y, cv2.INTER_CUBIC)

    return change


def _second_joint(bgr: np.ndarray) -> np.ndarray:
    """The strip with the gap once more, below, as of a course that is stacked but not scribed."""
    h = bgr.shape[0]
    out, tall = bgr.copy(), round(0.16 * h)
    _, box = next(_each_card(bgr))
    top = int(box[:, 1].max()) + round(0.01 * h)
    down = min(top + round(1.6 * tall), h - tall)
    out[down : down + tall] = bgr[top : top + tall]
    return out


def _of_a_photograph(bgr: np.ndarray) -> np.ndarray:
    """A print of the photograph, photographed slightly from the side on a dark table."""
    h, w = bgr.shape[:2]
    of = np.float32([[0, 0], [w, 0], [w, h], [0, h]])
    to = np.float32([[0.08, 0.10], [0.91, 0.06], [0.94, 0.93], [0.06, 0.90]]) * np.float32([w, h])
    m = cv2.getPerspectiveTransform(of, to)
    return cv2.warpPerspective(bgr, m, (w, h), flags=cv2.INTER_AREA, borderValue=(40, 45, 50))


# --- files ----------------------------------------------------------------------------------------


def _focal(times: float):
    def change(exif):
        own = exif.get_ifd(ExifTags.IFD.Exif)
        own[ExifTags.Base.FocalLengthIn35mmFilm] = round(26 * times)

    return change


def _no_exif(exif) -> None:
    for tag in list(exif):
        del exif[tag]


DISTURBANCES = (
    Disturbance("as they are"),
    Disturbance("turned by 2 degrees, corners black", _turned(2)),
    Disturbance("turned by 10 degrees, corners black", _turned(10)),
    Disturbance("turned by a quarter, Exif silent", _quarter(1)),
    Disturbance("upside down", _quarter(2)),
    Disturbance("cropped by 10 % all round", _cropped(0.1, 0.1, 0.1, 0.1)),
    Disturbance("cropped by 20 % at the left", _cropped(0.2, 0, 0, 0)),
    Disturbance("cropped by 20 % at the top", _cropped(0, 0, 0.2, 0)),
    Disturbance("JPEG quality 95", quality=95),
    Disturbance("JPEG quality 75", quality=75),
    Disturbance("JPEG quality 50", quality=50),
    Disturbance("JPEG quality 30", quality=30),
    Disturbance("noise of 5 grey levels", _noisy(5)),
    Disturbance("noise of 15 grey levels", _noisy(15)),
    Disturbance("noise of 30 grey levels", _noisy(30)),
    Disturbance("out of focus by 1 px (sd)", _blurred(1)),
    Disturbance("out of focus by 2 px", _blurred(2)),
    Disturbance("out of focus by 4 px", _blurred(4)),
    Disturbance("shaken by 8 px across", _shaken(8)),
    Disturbance("light halved twice", _lit(0.25, 0.25, 0.25)),
    Disturbance("light doubled", _lit(2, 2, 2)),
    Disturbance("light doubled twice", _lit(4, 4, 4)),
    Disturbance("white balance of a lamp", _lit(0.55, 0.9, 1.5)),
    Disturbance("white balance too blue", _lit(1.5, 1.0, 0.6)),
    Disturbance("scaled by 0.75", _scaled(0.75)),
    Disturbance("scaled by 0.5", _scaled(0.5)),
    Disturbance("scaled by 0.3", _scaled(0.3)),
    Disturbance("scaled by 1.5", _scaled(1.5)),
    Disturbance("stretched across by 3 %", _scaled(1.03, 1.0)),
    Disturbance("the level one alone stretched by 3 %", _scaled(1.03, 1.0), first_only=True),
    Disturbance("mirrored", lambda bgr: np.ascontiguousarray(bgr[:, ::-1])),
    Disturbance("a quarter of each card hidden", _hidden(0.25)),
    Disturbance("half of each card hidden", _hidden(0.5)),
    Disturbance("card 2 hidden", _hidden(1.0, (2,))),
    Disturbance("card 1 hidden, from which the ends are typed", _hidden(1.0, (1,))),
    Disturbance("all cards hidden", _hidden(1.0)),
    Disturbance("cards bent by 2 mm", _bent(2.0)),
    Disturbance("cards bent by 6 mm", _bent(6.0)),
    Disturbance("cards bent back by 6 mm", _bent(-6.0)),
    Disturbance("cards printed at 97 %, the bar not stated", stated={"printed_bar_mm": 100 / 0.97}),
    Disturbance("Exif tells a focal length 30 % too long", exif=_focal(1.3)),
    Disturbance("Exif tells a focal length 30 % too short", exif=_focal(0.7)),
    Disturbance("without Exif", exif=_no_exif),
    Disturbance("a second joint in view", _second_joint),
    Disturbance("a photograph of each photograph", _of_a_photograph),
    Disturbance("the level one a photograph of it", _of_a_photograph, first_only=True),
    Disturbance("a photograph of another joint among them", beside=("whole_log/photo0.jpg",)),
    Disturbance(
        "copies among them: compressed, reduced", copies=(lambda bgr: bgr, _scaled(0.6), _scaled(0.6))
    ),
)  # fmt: skip


# --- what comes of it -----------------------------------------------------------------------------


def _answered(d: Disturbance, alone: bool) -> str:
    """A cell: of all photographs, or of the level one alone."""
    with tempfile.TemporaryDirectory() as folder:
        os.environ["GAPVISION_CONFIG_DIR"] = folder
        paths = list(_written(d, Path(folder), TRUTH["files"][:1] if alone else TRUTH["files"]))
        try:
            m = measure(options(*paths, **d.stated))
        except MeasurementError as error:
            return f"refused: {error.code}"
    pairs = (m.setting, TRUTH["setting_mm"]), (m.widest_gap, TRUTH["widest_gap_mm"])
    off = " / ".join(f"{q.value_mm - true:+.1f} ± {q.U95_mm:.1f}" for q, true in pairs)
    held = all(abs(q.value_mm - true) <= q.U95_mm for q, true in pairs)
    if m.status == "doubtful":
        codes = dict.fromkeys(c.code for c in m.cautions if c.doubtful)
        return f"doubtful: {', '.join(codes)} ({off})"
    return off if held else f"**WRONG: {off}**"


def _written(d: Disturbance, folder: Path, names: list[str]):
    for k, name in enumerate(names):
        picture = Image.open(FOLDER / name)
        bgr = np.ascontiguousarray(np.asarray(picture)[..., ::-1])
        exif = picture.getexif()
        disturbed = k == 0 or not d.first_only
        if disturbed:
            d.exif(exif)
        pixels = d.pixels(bgr) if disturbed else bgr
        yield _saved(folder / name, pixels, exif, d.quality if disturbed else QUALITY)
        for n, change in enumerate(d.copies if k == 0 else ()):
            yield _saved(folder / f"copy{n}.jpg", change(bgr), exif, 80 - 10 * n)
    yield from (FOLDER / name for name in d.beside)


def _saved(path: Path, bgr: np.ndarray, exif: Image.Exif, quality: int) -> Path:
    Image.fromarray(bgr[..., ::-1]).save(path, "JPEG", quality=quality, exif=exif)
    return path


def _row(d: Disturbance) -> tuple[str, str, str]:
    return d.name, _answered(d, False), _answered(d, True)


HEAD = """\
# Robustness

The photographs of `gapvision demo` (three heights; level alone), whose truth is known, disturbed as it
happens on sites and on the way to the computer. A cell tells by how much setting and widest gap are off,
and their half-width (95 %), mm; or that the answer is doubtful, by which caution, or refused. **WRONG** is
an answer off by more than its half-width that is not called doubtful: {wrong}

Setting needed {setting} mm, widest gap {widest} mm; diameters and ends stated as in the demo. One joint,
rendered: the table shows what is noticed, not how often. Made by
`PYTHONPATH=tests python tests/studies/robustness.py docs/robustness.md`.

| disturbance | three heights | level alone |
|---|---|---|
"""


def page(rows: list[tuple[str, str, str]]) -> str:
    wrong = [f"{n} ({w})" for n, *cells in rows for w, c in zip(("three heights", "level alone"), cells,
             strict=True) if "WRONG" in c]  # fmt: skip
    told = f"{len(wrong)} of {2 * len(rows)} cells: {'; '.join(wrong)}." if wrong else (
        f"none of {2 * len(rows)} cells is."
    )  # fmt: skip
    head = HEAD.format(wrong=told, setting=TRUTH["setting_mm"], widest=TRUTH["widest_gap_mm"])
    return head + "".join(f"| {' | '.join(row)} |\n" for row in rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("page", type=Path, nargs="?")
    parser.add_argument("--only", default="")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    chosen = [d for d in DISTURBANCES if asked.only in d.name]
    rows = []
    for row in Parallel(asked.jobs, return_as="generator")(delayed(_row)(d) for d in chosen):
        print("| " + " | ".join(row) + " |", flush=True)
        rows.append(row)
    if asked.page:
        asked.page.write_text(page(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
