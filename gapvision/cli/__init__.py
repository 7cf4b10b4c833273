"""The command line: a file a command, which parses, makes one call, and prints.

Takes what was typed; gives text on the screen, files and an exit status. It has no face: the program
is ``main`` in `main.py`, to be read first, and `terminal.py` has what all commands share. Commands
import what loads arrays and pictures only when they run, so that help need not wait.
"""
