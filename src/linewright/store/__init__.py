"""Everything a person keeps: one SQLite file, or a PostgreSQL server that a club shares.

Few tables and one way of changing. Whatever is changed, the state before and after is written beside it in the same
transaction, so that nothing is ever lost to a change.
"""
