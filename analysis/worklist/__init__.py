"""The weekly list: which part, how probable, flagged or not; `assess` composes it."""
