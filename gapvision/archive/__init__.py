"""Measured joints kept in a folder: what was asked, the answer, the photographs, what came of them.

It takes a measurement with its options and its joint's name, and gives records to list, search, show,
export and measure again. Read docs/archive.md first, then `store` (the folder and its one writer) and
`record` (what is kept of a joint).
"""
