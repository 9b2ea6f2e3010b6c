"""Make the roll-test log of the invented shop: sets rolled at several positions, read with noise.

Nothing in the log is an answer: best positions, marks, charts and matchings are worked out from it each time.
Run it from the project's folder; it writes into the package's data folder, so that the page and the commands
can fill an empty log with it.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from axlewright.gearset import load_design
from axlewright.plant import simulated_log, write_log

SETS = 120
SEED = 20260302
FOLDER = Path(__file__).parents[1] / "src" / "axlewright" / "plant" / "data"
# Spacer for a zero mark, and its spread from carrier to carrier: invented, of the size of the demo job.
ZERO_SPACER_MM, CARRIER_SPREAD_MM, CARRIERS = 1.562, 0.05, 24


def main() -> None:
    """Write the log and the measured carriers."""
    made = simulated_log([load_design("TY-222"), load_design("TY-310")], SETS, seed=SEED)
    FOLDER.mkdir(exist_ok=True)
    rolls = [roll for one in made for roll in one.rolls]
    (FOLDER / "demo-roll-log.csv").write_text(write_log(rolls), encoding="utf-8")
    rng = np.random.default_rng(SEED)
    with (FOLDER / "demo-carriers.csv").open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["carrier", "design", "zero_spacer_mm"])
        for n in range(CARRIERS):
            zero = ZERO_SPACER_MM + float(rng.normal(0.0, CARRIER_SPREAD_MM))
            writer.writerow([f"C-{101 + n}", "TY-222", f"{zero:.3f}"])


if __name__ == "__main__":
    main()
