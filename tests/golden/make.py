"""Keep anew what the program gives, and print what changed: ``python tests/golden/make.py [NAME ...]``.

Numbers that moved are printed first. With ``--words`` only words may change: nothing is written where a
number moved, went or came.
"""

from __future__ import annotations

import argparse
import sys
import time

from golden_scenes import SCENES, forget_places
from golden_split import KEPT, keep, kept, kept_path, number_differences, word_differences


def main() -> int:
    parser = argparse.ArgumentParser(description="Keep anew what the program gives.")
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"all without one: {', '.join(SCENES)}")
    parser.add_argument("--words", action="store_true", help="refuse to write where a number moved")
    parser.add_argument("--dry", action="store_true", help="print what changed and write nothing")
    given = parser.parse_args()
    if unknown := set(given.names) - set(SCENES):
        parser.error(f"nothing is kept under {', '.join(sorted(unknown))}")
    refused = False
    for name in given.names or SCENES:
        begin = time.process_time()
        old, new = kept(name), SCENES[name]()
        print(f"{name}: {time.process_time() - begin:.1f} s", flush=True)
        numbers, words = number_differences(old, new), word_differences(old, new)
        if kept_path(name).exists():
            print("\n".join([*numbers, *words]), end="\n" if numbers or words else "")
        if given.words and numbers:
            print(f"{name}: not written, numbers moved")
            refused = True
        elif not given.dry and (numbers or words or not kept_path(name).exists()):
            keep(name, new)
    if not given.names and not given.dry:
        for path in KEPT.glob("*.json"):
            if path.stem not in SCENES:
                path.unlink()
                print(f"{path.name}: no scene of that name any more, removed")
    return int(refused)


if __name__ == "__main__":
    try:
        sys.exit(main())
    finally:
        forget_places()
