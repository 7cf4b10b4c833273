"""Odd inputs for every entrance, and what must hold of whatever comes of them.

An entrance is a strategy and a check: the check takes one input and an empty folder, and ends quietly,
with a refusal in a sentence, or with an AssertionError where an answer is wrong. Anything else that it
raises is a traceback. `tests/test_fuzz.py` tries some of each, `tests/studies/fuzzing.py` many.
"""
