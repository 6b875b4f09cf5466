"""Tables in, one assessment out: circuit physics, trend, drift, part, probability, plan."""
