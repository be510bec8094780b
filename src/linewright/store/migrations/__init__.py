"""How the tables grew, one step a file; each is run once, on open."""
