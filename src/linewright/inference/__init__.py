"""What measurements say: one engine a folder. Engines know nouns and formulas, and no other engine."""
