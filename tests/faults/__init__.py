"""What a machine, a disk, a person and a stranger may do to a database: kills, power cuts, full disks, odd files.

The short form runs with the tests; `python -m tests.faults --long` is the long one and prints the table of DEVELOPERS.md.
"""
