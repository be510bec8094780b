"""A line's loss from one end: readings to likelihoods, likelihoods to one law, the law to findings."""
