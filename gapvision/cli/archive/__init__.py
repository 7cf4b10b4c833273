"""`gapvision archive`: a file a command, as in the rest of `cli`.

Takes what was typed; gives lists and texts of the joints that are kept. It has no face: read `group.py`
first, which gathers the commands, then `records.py`: by which options they say which joints they mean.
"""
