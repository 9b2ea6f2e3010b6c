"""Commands; asks the other rooms, computes nothing."""

from __future__ import annotations


def main() -> None:
    """Run the command line in the person's language."""
    import os

    from axlewright.language import from_environment, using_language

    with using_language(from_environment(os.environ)):
        from axlewright.cli.main import app

        app()
