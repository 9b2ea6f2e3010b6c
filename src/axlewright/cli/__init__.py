"""Commands; asks the other rooms, computes nothing."""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    from axlewright.cli.main import app

    app()
