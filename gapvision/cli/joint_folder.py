"""The one folder that `gapvision measure` was given: a joint's, with what its form states, or a day's."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from gapvision.inputs.joint_name import JointName

if TYPE_CHECKING:
    from gapvision.inputs.joint_form import JointForm
    from gapvision.inputs.options import MeasureOptions

Said = Mapping[str, object]


def folders_below(photos: Sequence[Path]) -> dict[Path, list[Path]]:
    """Folders of joints at or below the one folder given; empty where something else was."""
    if len(photos) != 1 or not os.path.isdir(photos[0]):
        return {}
    from gapvision.day.joints import joint_folders

    return joint_folders(photos[0])


def joint_of_folder(
    below: Mapping[Path, list[Path]], asked: MeasureOptions, told: str | None, said: Said
) -> tuple[MeasureOptions, JointName]:
    """What is asked of the one joint in a folder, and its names, as far as its form states them.

    Parameters
    ----------
    below : mapping
        As `folders_below` has it: this folder, or nothing.
    asked : MeasureOptions
        As it was typed.
    told : str or None
        The units that were told; None where they follow from what is stated.
    said : mapping
        What was typed, by options.

    Raises
    ------
    MeasurementError
        As `load_joint_form`, and where the folder is one joint and holds others.
    """
    if not below:
        return asked, JointName()
    from gapvision.day.joints import check_one_joint, options_of
    from gapvision.inputs.joint_form import load_joint_form

    ((folder, inner),) = below.items()
    form = load_joint_form(folder)
    check_one_joint(folder, inner, form)
    if form is None:
        return asked, JointName()
    _check_said_once(form, said)
    units = told or ("in" if form.inches else "mm")
    return replace(options_of(asked, folder, form), units=units), form.name


def _check_said_once(form: JointForm, said: Said) -> None:
    """Refuse what was typed and stands in the form too: which of the two is meant?"""
    from gapvision.inputs.joint_form import KEYS

    for key in KEYS:
        option = f"--{key.replace('_', '-')}"
        own = getattr(form.name, key, "") or key in form.stated or f"{key}_mm" in form.stated
        if said[option] and own:
            text = f"{form.path} states it too: leave it out, or correct that file."
            raise typer.BadParameter(text, param_hint=option)
