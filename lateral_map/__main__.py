"""``python -m lateral_map`` is the command line."""

from lateral_map.cli.main import main

main()
