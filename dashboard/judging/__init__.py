"""The fleet judged by a process of its own."""
