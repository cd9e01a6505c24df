"""Many sites at once: found, solved over all cores, gathered into one set of files."""
