"""What was typed with `gapvision measure`, by groups of options."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import typer

from gapvision.cli.terminal import Typed, card_numbers, printed_bar_given, read_option
from gapvision.inputs.options import Cards, HandMeasured, Stretch, ToDecide
from gapvision.inputs.preferences import Preferences
from gapvision.inputs.rules import length_of_limit, parse_limit, rules_of
from gapvision.lengths import parse_length, parse_lengths, parse_reading, parse_trial

# Options whose lengths are in the units that are spoken; a printed bar is always in mm.
LENGTHS = (
    "--cover", "--upper-diameter", "--lower-diameter", "--from", "--to", "--wall-thickness",
    "--reading", "--trial", "--lower-to", "--covers", "--heights-at", "--underscribe",
)  # fmt: skip


def said_in(context: typer.Context) -> dict[str, Any]:
    """What was typed of each option, by its name, as it was typed: of whatever type the option is."""
    return {p.opts[0]: context.params.get(p.name) for p in context.command.params}


def lengths_of(said: Mapping[str, Any]) -> Typed:
    """The lengths that were typed, by their options."""
    limits = [length_of_limit(text) for text in said["--limit"] or ()]
    return {option: said[option] for option in LENGTHS} | {"--limit": limits}


def typed_cards(
    inside_cards: str | None,
    printed_bar: str | None,
    wall_thickness: str | None,
    units: str,
    preferred: Preferences,
) -> Cards:
    """Which cards, and how they were printed."""
    return Cards(
        inside_cards=read_option("--inside-cards", card_numbers, inside_cards, units) or (),
        printed_bar_mm=printed_bar_given(printed_bar, preferred),
        wall_thickness_mm=read_option("--wall-thickness", parse_length, wall_thickness, units),
    )


def typed_stretch(from_: str | None, to: str | None, units: str) -> Stretch:
    """The ends of the stretch."""
    return Stretch(
        from_mm=read_option("--from", parse_length, from_, units),
        to_mm=read_option("--to", parse_length, to, units),
    )


def typed_by_hand(reading: list[str] | None, trial: list[str] | None, units: str) -> HandMeasured:
    """Readings and trial lines."""
    return HandMeasured(
        readings=tuple(read_option("--reading", parse_reading, r, units) for r in reading or ()),
        trials=tuple(read_option("--trial", parse_trial, t, units) for t in trial or ()),
    )


def typed_to_decide(
    lower_to: str | None,
    covers: str | None,
    rules: str,
    limit: list[str] | None,
    heights_at: str | None,
    underscribe: str | None,
    units: str,
) -> ToDecide:
    """What is to be decided beside the setting."""
    return ToDecide(
        lower_to_mm=read_option("--lower-to", parse_length, lower_to, units),
        covers_mm=read_option("--covers", parse_lengths, covers, units) or (),
        rules=read_option("--rules", rules_of, rules, units),
        limits=tuple(read_option("--limit", parse_limit, x, units) for x in limit or ()),
        heights_at_mm=read_option("--heights-at", parse_lengths, heights_at, units) or (),
        underscribe_mm=read_option("--underscribe", parse_length, underscribe, units) or 0.0,
    )
