"""Nouns and charts to things that others can read: documents, pages on paper, labels, and the sentences they share.

Nothing here computes a figure. Sentences are values (``units.said``), so one report can be written in any manner.
"""
