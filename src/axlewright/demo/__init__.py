"""The demo job: one axle from measurements and photos to a printed sheet."""

from axlewright.demo.job import DemoResult, run_demo

__all__ = ["DemoResult", "run_demo"]
