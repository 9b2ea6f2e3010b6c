"""What is slow to prepare is prepared once, whatever threads ask for it."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import axlewright as aw
from axlewright.contact import atlas, build_mesh, mesh


def test_threads_share_one_mesh(monkeypatch):
    design = replace(aw.load_design("TY-222"), backlash_nominal_mm=0.1234)
    made = []
    real = mesh.prepare_mesh

    def counted(*args):
        made.append(args)
        time.sleep(0.05)
        return real(*args)

    monkeypatch.setattr(mesh, "prepare_mesh", counted)
    with ThreadPoolExecutor(4) as pool:
        got = list(pool.map(lambda _k: build_mesh(design, 25, 15, 48), range(4)))
    assert len(made) == 1
    assert all(m is got[0] for m in got)


def test_threads_share_one_atlas(monkeypatch, tmp_path):
    monkeypatch.setenv("AXLEWRIGHT_HOME", str(tmp_path))
    design = replace(aw.load_design("TY-222"), backlash_nominal_mm=0.1235)
    whole = atlas.atlas_of(aw.load_design("TY-222"))
    made = []

    def counted(asked):
        made.append(asked)
        time.sleep(0.05)
        return whole

    monkeypatch.setattr(atlas, "build_atlas", counted)
    with ThreadPoolExecutor(4) as pool:
        got = list(pool.map(lambda _k: atlas.atlas_of(design), range(4)))
    assert len(made) == 1
    assert all(a is got[0] for a in got)


def test_designs_that_differ_only_in_the_words_of_their_estimates_are_one():
    design = aw.load_design("TY-222")
    other = replace(design, estimates=())
    assert other == design
    assert build_mesh(other, 25, 15, 48) is build_mesh(design, 25, 15, 48)
