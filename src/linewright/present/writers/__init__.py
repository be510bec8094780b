"""Writers: a document in, a page or a sheet of paper out."""
