"""One reading taken apart at the vehicle: does it fit, what does it point to, what to measure next, whose is it."""
