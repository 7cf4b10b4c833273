"""Times and memory of the whole program; see `bench.__main__`."""
