"""Records made up for the tests of the archive: a small joint, and bytes that stand for photographs."""

import hashlib
from dataclasses import replace

from helpers.joints import joint, photo

from gapvision.answer.as_json import answer_json
from gapvision.archive.record import NewRecord, SourceFile, add_record, options_json
from gapvision.archive.record import plain_result as plain
from gapvision.archive.store import SPARE
from gapvision.inputs.joint_name import JointName
from gapvision.inputs.options import MeasureOptions

JOINT = JointName("Lake house", "north", "3")
# A JPEG that is whole as to its form: a start, one scan, an end.
TINY_JPEG = b"\xff\xd8\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00%s\xff\xd9"


def jpeg(n=0):
    """Bytes of a photograph, others for each number."""
    return TINY_JPEG % f"picture {n}".encode()


def new_record(contents=None, of=JOINT, options=None, **changes):
    """A record of the made-up joint, with these bytes as its photographs (one, if not told)."""
    contents = (jpeg(),) if contents is None else contents
    options = options or MeasureOptions(photos=())
    shown = tuple(
        photo(f"photo{n}.jpg", sha256=hashlib.sha256(c).hexdigest()) for n, c in enumerate(contents)
    )
    measured = joint(photos=shown, first=-500.0, last=500.0, **changes)
    files = tuple(
        SourceFile(content, p.file, "photograph", "photos", True, p.sha256)
        for content, p in zip(contents, shown, strict=True)
    )
    return NewRecord(of, options_json(options, shown), plain(answer_json(measured)), files)


def keep(archive, *contents, **changes):
    """Keep such a record, and return its number."""
    return add_record(archive, new_record(contents or None, **changes)).record


def named(new, building="Lake house", wall="north", log="3"):
    """The same record of another joint."""
    return replace(new, joint=JointName(building, wall, log))


def files_in(folder):
    """Every file below a folder of an archive but the database's own and the spare room, by its path."""
    return {
        str(p.relative_to(folder)): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and p.name != SPARE and not p.name.startswith("archive.sqlite")
    }
