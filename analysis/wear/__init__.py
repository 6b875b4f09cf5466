"""How parts wear: growth paths, what a fleet teaches of them, drift at a stated rate, the state of a fleet on a day."""
