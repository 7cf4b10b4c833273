"""What a person states: of one run, of a joint's name, and once for all runs.

It takes what was typed and gives checked values, lengths in mm; it knows of no photograph. Read
`options` first: `MeasureOptions`, its groups, and the ranges that each number is held against.
"""
