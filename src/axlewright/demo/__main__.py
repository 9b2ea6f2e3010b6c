"""``python -m axlewright.demo [--no-serve] [--folder DIR] [--port N]``: run the demo job."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from axlewright.errors import AxlewrightError


def main(argv: list[str] | None = None) -> int:
    """Run the demo; return the exit code."""
    parser = argparse.ArgumentParser(prog="python tasks.py demo", description="Run the demo job.")
    parser.add_argument("--no-serve", action="store_true", help="do not open the page afterwards")
    parser.add_argument("--folder", type=Path, default=Path("demo-output"), help="where records and sheet go")
    parser.add_argument("--port", type=int, default=8420, help="port of the page; 0 takes a free one")
    given = parser.parse_args(argv)
    try:
        from axlewright.demo.job import run_demo

        result = run_demo(given.folder, print)
        print(f"\nThe sheet lies in {result.sheet}")
        if given.no_serve:
            return 0
        print(f"The page runs until Ctrl+C; this job is at /jobs/{result.number} there.", flush=True)
        from axlewright.web import serve

        serve(port=given.port, store_folder=result.home)
    except AxlewrightError as error:
        print(error, file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        pass
    return 0


if __name__ == "__main__":
    sys.exit(main())
