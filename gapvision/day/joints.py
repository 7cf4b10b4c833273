"""Which folders of a folder are joints, what each is called, and what is asked of it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace
from pathlib import Path

from gapvision.errors import MeasurementError
from gapvision.inputs.joint_form import FORM, NAMES, JointForm, load_joint_form, with_form
from gapvision.inputs.joint_name import JointName, as_counted, parse_joint_name
from gapvision.inputs.options import MeasureOptions
from gapvision.photo.photo import SUFFIXES, photo_paths


@dataclass(frozen=True, slots=True)
class DayJoint:
    """One joint of a day.

    Attributes
    ----------
    folder : Path
        Where its photographs lie.
    label : str
        How it is called on the screen: by its form's names, else by its folder below the day's.
    name : JointName
        As the form has it, else as it was typed for all, else after the folders.
    options : MeasureOptions
        What is asked of it: what was typed for all, and what its form states in its place.
    inches : bool
        Whether its form states a length in inches.
    refused : MeasurementError or None
        Why it cannot be measured, where that is known from its folder alone.
    """

    folder: Path
    label: str
    name: JointName
    options: MeasureOptions
    inches: bool = False
    refused: MeasurementError | None = None


def joint_folders(folder: Path) -> dict[Path, list[Path]]:
    """Each folder at or below this one that holds photographs, or a joint's form, in order of name.

    Returns
    -------
    dict of Path to list of Path
        The outermost such folders, and those inside each of them. Hidden folders are not searched.
    """
    found: dict[Path, list[Path]] = {}
    for current, folders, files in os.walk(folder):
        folders[:] = sorted((f for f in folders if not f.startswith(".")), key=as_counted)
        if not any(name == FORM or _is_photo(name) for name in files):
            continue
        here = Path(current)
        outer = next((f for f in found if f in here.parents), None)
        if outer is None:
            found[here] = []
        else:
            found[outer].append(here)
    return found


def joints_of(
    day: Path,
    folders: dict[Path, list[Path]],
    asked: MeasureOptions,
    building: str | None = None,
    wall: str | None = None,
) -> list[DayJoint]:
    """The joints of a day's folder.

    Parameters
    ----------
    day : Path
    folders : dict of Path to list of Path
        As `joint_folders` has it.
    asked : MeasureOptions
        Of all of them; its photographs do not count.
    building, wall : str, optional
        As typed for all joints whose form names none.

    Raises
    ------
    MeasurementError
        ``names-differ`` where a form names another building or wall than was typed.
    """
    return [_joint(day, f, inner, asked, building, wall) for f, inner in folders.items()]


def named(joints: Sequence[DayJoint]) -> list[DayJoint]:
    """The joints with their names as the archive writes them.

    Raises
    ------
    MeasurementError
        ``no-name``, ``bad-name``, or ``same-name`` of two joints. Those that are refused need none.

    Notes
    -----
    Where a part of a name lacks, the whole is taken from a slip that a photograph of the folder shows.
    """
    out: list[DayJoint] = []
    seen: dict[JointName, Path] = {}
    for joint in joints:
        if joint.refused:
            out.append(joint)
            continue
        joint = _by_slip(joint)
        lacking = [what for what in NAMES if not getattr(joint.name, what)]
        if lacking:
            raise MeasurementError(
                "no-name",
                f"{joint.folder} does not say its {' and '.join(lacking)}: write it into the "
                f"{FORM} of that folder, give --building and --wall for all, or put the photograph "
                "of its slip beside the others.",
            )
        try:
            name = parse_joint_name(*astuple(joint.name))
        except ValueError as error:
            raise MeasurementError("bad-name", f"{joint.folder}: {error}") from None
        if name in seen:
            raise MeasurementError(
                "same-name",
                f"{seen[name]} and {joint.folder} are both {name.title}: put the photographs of one "
                f"joint into one folder, or correct the {FORM} of one of them.",
            )
        seen[name] = joint.folder
        out.append(replace(joint, name=name))
    return out


def check_one_joint(folder: Path, inner: Sequence[Path], form: JointForm | None) -> None:
    """Refuse a folder of photographs with folders of photographs in it: one joint, or several?

    Raises
    ------
    MeasurementError
        ``joint-and-joints``.
    """
    inside = form.stated.get("inside", ()) if form else ()
    others = [f for f in inner if not any(f == i or i in f.parents for i in inside)]
    if others:
        name = others[0].relative_to(folder)
        raise MeasurementError(
            "joint-and-joints",
            f"{folder} holds photographs, and so does {name} in it: to measure one joint, name the "
            "photographs themselves; to measure a joint a folder, move these photographs into a "
            "folder of their own.",
        )


def _by_slip(joint: DayJoint) -> DayJoint:
    """A joint whose name lacks a part, called as the slip that one of its photographs shows, if any does."""
    if all(astuple(joint.name)):
        return joint
    from gapvision.shoot.roll import read_shot

    for path in photo_paths(joint.options.photos):
        if (slip := read_shot(path).slip) is not None:
            return replace(joint, name=slip.joint, label=slip.joint.title)
    return joint


def _is_photo(name: str) -> bool:
    return not name.startswith(".") and Path(name).suffix.lower() in SUFFIXES


def _joint(
    day: Path,
    folder: Path,
    inner: list[Path],
    asked: MeasureOptions,
    building: str | None,
    wall: str | None,
) -> DayJoint:
    below = folder.relative_to(day)
    options, form, refused = replace(asked, photos=(folder,)), None, None
    try:
        form = load_joint_form(folder)
        check_one_joint(folder, inner, form)
        options = options_of(asked, folder, form)
    except MeasurementError as error:
        refused = error
    name = _name(below, form, building, wall)
    label = name.title if form and form.name.log else below.as_posix()
    return DayJoint(folder, label, name, options, bool(form and form.inches), refused)


def options_of(asked: MeasureOptions, folder: Path, form: JointForm | None) -> MeasureOptions:
    """What is asked of the joint in a folder: what was asked of all, and what its form states.

    Raises
    ------
    MeasurementError
        As `photo_paths`.
    """
    options = with_form(asked, form) if form else asked
    inside = set(photo_paths(options.inside))
    if any(p.parent == folder for p in inside):  # all others of the folder are from outside
        others = tuple(p for p in photo_paths([folder]) if p not in inside)
        return replace(options, photos=others)
    return replace(options, photos=(folder,))


def _name(below: Path, form: JointForm | None, building: str | None, wall: str | None) -> JointName:
    """Part by part: of the form, else as typed, else after the folders, the last of which is the log."""
    folders = below.parts[-3:]
    parts = list(astuple(form.name) if form else ("", "", ""))
    for k, (what, typed) in enumerate((("building", building), ("wall", wall))):
        if form and typed and parts[k] and typed != parts[k]:
            raise MeasurementError(
                "names-differ",
                f"{form.path} says {what} {parts[k]}, and --{what} {typed} was typed: leave "
                f"--{what} out, or correct that file.",
            )
        parts[k] = parts[k] or typed or ""
    after_folders = ("",) * (3 - len(folders)) + folders
    return JointName(*(p or f for p, f in zip(parts, after_folders, strict=True)))
