"""Options of a run, each under its own name whatever group it is of."""

from dataclasses import fields, replace

from gapvision.inputs.options import GROUPS, MeasureOptions

_OWN = {"scriber_largest_mm": "largest_mm", "scriber_step_mm": "step_mm"}


def options_with(photos=(), base=None, **stated):
    """`MeasureOptions` of these photographs, or those of ``base``, with what is stated."""
    options = base or MeasureOptions(photos=photos)
    for key, value in stated.items():
        key = _OWN.get(key, key)
        for name in GROUPS:
            group = getattr(options, name)
            if key in {f.name for f in fields(group)}:
                options = replace(options, **{name: replace(group, **{key: value})})
                break
        else:
            options = replace(options, **{key: value})
    return options
