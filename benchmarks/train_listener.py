"""Fit the listener's chances on simulated drives.

    python benchmarks/train_listener.py road_drives:0:700 own_drives:0:100 --kept FOLDER [--out FILE]

Each group of sources gets a logistic function of its signs, with a penalty on the squares of the
weights; the penalty and the two numbers that join the sources into "nothing stands out" are settled by
leaving out a fifth of the drives in turn. Seeds of drives and the way they were told are all that
there is to the data: nothing else is kept.
"""

from __future__ import annotations

import argparse
import json
import pickle
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from axlewright.sound.chances import GROUPS, chances, row
from axlewright.sound.hearing import follow
from axlewright.sound.signs import measure
from told_drives import told_drive

FloatArray = NDArray[np.float64]
Row = dict[str, Any]
OUT: Final = Path(__file__).parents[1] / "src" / "axlewright" / "sound" / "chances.json"
PENALTIES: Final = (0.3, 1.0, 3.0, 10.0)
FOLDS: Final = 5


def signs_of(simulator: str, seed: int, folder: Path | None) -> Row:
    """Make, read and follow one drive, or take its signs from the folder."""
    kept = folder / "signs" / simulator / f"{seed}.pickle" if folder else None
    if kept and kept.exists():
        result: Row = pickle.loads(kept.read_bytes())
        return result
    drive = told_drive(simulator, seed, folder)
    heard = follow(drive.recording(), drive.axle, drive.tyre, drive.speed)
    result = {
        "signs": measure(heard, drive.axle, drive.tyre),
        "complaint": drive.complaint,
        "sources": [(s["name"], s["prominence_db"]) for s in drive.sources],
    }
    if kept:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(result))
    return result


def fit_group(rows: list[Row], group: str, penalty: float) -> dict[str, Any]:
    """Fit one group's logistic function; signs are clipped to their middle 96 % and scaled to 0 to 1."""
    members = GROUPS[group]
    x = np.array([row(r["signs"], group, s) for r in rows for s in members])
    y = np.array([float(s in r["complaint"]) for r in rows for s in members])
    low, high = np.percentile(x, 2, axis=0), np.percentile(x, 98, axis=0)
    z = (np.clip(x, low, high) - low) / np.maximum(high - low, 1e-9)
    z[:, high - low < 1e-9] = 0.0
    mean = z.mean(axis=0)

    def loss(b: FloatArray) -> tuple[float, FloatArray]:
        t = (z - mean) @ b[:-1] + b[-1]
        p = 1 / (1 + np.exp(-t))
        value = float((np.logaddexp(0, t) - y * t).sum() + 0.5 * penalty * (b[:-1] ** 2).sum())
        return value, np.append((z - mean).T @ (p - y) + penalty * b[:-1], (p - y).sum())

    start = np.zeros(z.shape[1] + 1)
    start[-1] = np.log((y.mean() + 1e-3) / (1 - y.mean()))
    b = optimize.minimize(loss, start, jac=True, method="L-BFGS-B").x
    return {
        "low": low.round(5).tolist(),
        "high": high.round(5).tolist(),
        "weight": b[:-1].round(4).tolist(),
        "bias": round(float(b[-1] - mean @ b[:-1]), 4),
    }


def left_out(rows: list[Row], penalty: float, group: str) -> list[dict[str, float]]:
    """Return every drive's chances from fits that have not seen it."""
    fold = np.random.default_rng(1).integers(0, FOLDS, len(rows))
    result: list[dict[str, float]] = [{} for _ in rows]
    for k in range(FOLDS):
        model = {group: fit_group([r for r, f in zip(rows, fold, strict=True) if f != k], group, penalty)}
        for i in np.flatnonzero(fold == k):
            result[i] = chances(rows[i]["signs"], model)
    return result


def log_loss(rows: list[Row], guesses: list[dict[str, float]]) -> float:
    """Mean of minus the logarithm of the chance given to what was so."""
    return float(
        np.mean(
            [
                -np.log(p if s in r["complaint"] else 1 - p)
                for r, g in zip(rows, guesses, strict=True)
                for s, p in g.items()
            ]
        )
    )


def fit(rows: list[Row]) -> dict[str, Any]:
    """Fit everything."""
    model: dict[str, Any] = {}
    joined: list[dict[str, float]] = [{} for _ in rows]
    for group in GROUPS:
        tried = {p: left_out(rows, p, group) for p in PENALTIES}
        best = min(PENALTIES, key=lambda p: log_loss(rows, tried[p]))
        print(f"{group}: penalty {best}, log loss {log_loss(rows, tried[best]):.4f}")
        model[group] = fit_group(rows, group, best)
        for all_of, own in zip(joined, tried[best], strict=True):
            all_of.update(own)
    model["nothing"] = _fit_nothing(rows, joined)
    return model


def _fit_nothing(rows: list[Row], guesses: list[dict[str, float]]) -> dict[str, float]:
    y = np.array([float(not r["complaint"]) for r in rows])
    x = np.array([sum(np.log1p(-p) for p in g.values()) for g in guesses])

    def loss(b: FloatArray) -> float:
        t = x * b[0] + b[1]
        return float((np.logaddexp(0, t) - y * t).sum())

    slope, bias = optimize.minimize(loss, np.zeros(2), method="Nelder-Mead", options={"maxiter": 4000}).x
    return {"slope": round(float(slope), 4), "bias": round(float(bias), 4)}


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("drives", nargs="+", help="simulator:first seed:seed after the last")
    parser.add_argument("--kept", type=Path)
    parser.add_argument("--out", type=Path, default=OUT)
    options = parser.parse_args()
    rows = []
    for drives in options.drives:
        simulator, first, last = drives.split(":")
        rows += [signs_of(simulator, seed, options.kept) for seed in range(int(first), int(last))]
    model = fit(rows)
    model["fitted on"] = options.drives
    options.out.write_text(json.dumps(model, indent=None, separators=(",", ":")) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
