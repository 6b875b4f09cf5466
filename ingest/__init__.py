"""Readings in: files and forms become checked rows in one SQLite database."""
