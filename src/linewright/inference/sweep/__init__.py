"""What a sweep says of a line: law, impedance, delay, faults, resemblance."""
