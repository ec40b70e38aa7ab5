"""What there is: kinds, parts, units, places, events and the configuration they lead to. No I/O."""
