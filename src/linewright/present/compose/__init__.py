"""Composers: a result in, a document out."""
