"""What leaves the program as a file: paper, plan exports, JSON."""
