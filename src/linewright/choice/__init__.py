"""Decisions: which line to buy, how long it may be, and how to share out the shelf."""
