"""Charts: nouns in, Vega-Lite specifications out; one specification serves page, file and report."""
