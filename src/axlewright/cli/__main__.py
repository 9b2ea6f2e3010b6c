"""Lets ``python -m axlewright.cli`` run the command line."""

from axlewright.cli import main

main()
