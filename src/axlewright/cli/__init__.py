"""Commands; asks the other rooms, computes nothing."""

from __future__ import annotations


def main() -> None:
    """Run the command line in the person's language; end quietly when nobody reads on."""
    import os
    import sys

    from axlewright.language import from_environment, using_language

    with using_language(from_environment(os.environ)):
        from axlewright.cli.app import app

        try:
            app()
        finally:
            try:
                sys.stdout.flush()
            except BrokenPipeError:
                os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
