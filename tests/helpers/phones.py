"""A photograph with all that phones tell besides the picture."""

import io

import numpy as np
from PIL import ExifTags, Image

SECRETS = (b"SN-1234567", b"LENS-7654321", b"Owner Name", b"maker's own note", b"my street")
XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><exif:GPSLatitude>61,30N my street</exif:GPSLatitude>'
Base, IFD = ExifTags.Base, ExifTags.IFD


def exif_of_a_phone():
    exif = Image.Exif()
    exif.update({Base.Make: "Example", Base.Model: "EX-1", Base.Orientation: 6})
    exif[Base.ImageDescription] = "my street"
    exif[IFD.Exif] = {
        Base.FocalLengthIn35mmFilm: 26,
        Base.LensModel: "EX main",
        Base.DateTimeOriginal: "2026:05:14 09:12:33",
        Base.OffsetTimeOriginal: "+02:00",
        Base.BodySerialNumber: "SN-1234567",
        Base.LensSerialNumber: "LENS-7654321",
        Base.CameraOwnerName: "Owner Name",
        Base.MakerNote: b"maker's own note",
    }
    exif[IFD.GPSInfo] = {1: "N", 2: (61.0, 30.0, 0.0), 3: "E", 4: (23.0, 45.0, 0.0)}
    return exif


def pixels():
    rng = np.random.default_rng(3)
    return Image.fromarray(rng.integers(0, 255, (30, 40, 3), np.uint8)).resize((800, 600))


def saved(kind, **more):
    file = io.BytesIO()
    pixels().save(file, kind, **more)
    return file.getvalue()


def jpeg(**more):
    return saved("JPEG", quality=90, exif=exif_of_a_phone().tobytes(), xmp=XMP, **more)
