"""Screens, command line and paper: the only package that imports the others."""
