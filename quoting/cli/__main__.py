"""``python -m quoting.cli``: the command line where the script is not on the path."""

from quoting.cli import main

main()
