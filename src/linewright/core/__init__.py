"""Errors, quantities as people write them, nouns and formulas. Nothing here reads a file or a clock."""
