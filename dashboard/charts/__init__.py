"""Charts and the one design of type, spacing and colour."""
