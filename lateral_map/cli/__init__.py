"""The command line: thin, one file a command."""
