"""A fleet's readings side by side, as comparable numbers with errors: class laws, wrong meters, renewals, outcomes."""
