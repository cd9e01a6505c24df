"""Results in sentences, by reader; the only place where words are made."""
