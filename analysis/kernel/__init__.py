"""Arithmetic that takes longest, as plain loops that are compiled where they can be; the arrays of the callers stay its equal."""
