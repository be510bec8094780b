"""The pages, one place a file. Each reads what was asked, calls one verb, and shows."""
