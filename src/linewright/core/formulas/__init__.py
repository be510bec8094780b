"""Formulas: arrays in, arrays out, one topic a file. Nothing here knows a cable, a meter or a file."""
