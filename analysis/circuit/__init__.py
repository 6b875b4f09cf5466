"""Published limits and laws, and what volts and amps say of the circuit's resistances; knows no vehicle and no date."""
