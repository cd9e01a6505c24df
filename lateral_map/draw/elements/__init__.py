"""One drawing element a file, each a function from a Report to one ``Layer`` of a plan."""
