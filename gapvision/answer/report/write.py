"""A report as the bytes of a file: HTML or PDF, of one joint or a wall."""

from __future__ import annotations

from collections.abc import Sequence

from gapvision.answer.report.joint import JointReport


def write_kind(reports: Sequence[JointReport], whole_wall: bool, suffix: str, paper: str) -> bytes:
    """One joint or a wall, as HTML or PDF by the suffix ``.html`` or ``.pdf``."""
    if suffix == ".pdf":
        from gapvision.answer.report.pdf import joint_pdf, wall_pdf

        return wall_pdf(reports, paper) if whole_wall else joint_pdf(reports[0], paper)
    from gapvision.answer.report.html import joint_html, wall_html

    return (wall_html(reports) if whole_wall else joint_html(reports[0])).encode()
