"""The commands of `gapvision archive`, in the order in which help lists them."""

from __future__ import annotations

from gapvision.cli.commands import group_of

# Modules that open the archive, or load more, are imported inside: help must not wait for them.
app = group_of(
    {
        "list": "gapvision.cli.archive.listing:list_",
        "search": "gapvision.cli.archive.listing:search",
        "show": "gapvision.cli.archive.show:show",
        "outcome": "gapvision.cli.archive.outcome:outcome",
        "outcomes": "gapvision.cli.archive.outcomes:outcomes",
        "export": "gapvision.cli.archive.export:export",
        "verify": "gapvision.cli.archive.verify:verify",
        "remeasure": "gapvision.cli.archive.remeasure:remeasure",
        "remove": "gapvision.cli.archive.remove:remove",
    },
    "Look up, export and check the joints that measure --keep has kept.",
)
