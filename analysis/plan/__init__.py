"""The replacement plan: what a visit costs and saves in each week, and which visits fit the hours."""
