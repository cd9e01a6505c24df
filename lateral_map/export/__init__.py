"""A Report to files, one format each."""
