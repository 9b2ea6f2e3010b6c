"""A value is worked out once per key, whoever asks at the same time."""

import threading
import time
from collections.abc import Callable

import pytest

from axlewright.contact.once import OncePerKey


def together(*calls: Callable[[], object]) -> None:
    """Run the calls in threads that start at the same moment."""
    gate = threading.Barrier(len(calls))

    def start(call: Callable[[], object]) -> None:
        gate.wait()
        call()

    threads = [threading.Thread(target=start, args=(c,)) for c in calls]
    for t in threads:
        t.start()
    for t in threads:
        t.join()


def test_threads_that_ask_at_once_share_one_value() -> None:
    once: OncePerKey[str, object] = OncePerKey(4)
    made: list[object] = []
    got: list[object] = []

    def make() -> object:
        time.sleep(0.05)  # long enough for the others to arrive
        made.append(object())
        return made[-1]

    together(*[lambda: got.append(once.get("a", make))] * 8)
    assert len(made) == 1
    assert got == made * 8
    assert once._making == {}


def test_other_keys_do_not_wait() -> None:
    once: OncePerKey[str, str] = OncePerKey(4)
    met = threading.Barrier(2)

    def make(name: str) -> str:
        met.wait(600)  # both are being made at the same time, or this breaks
        return name

    got: list[str] = []
    together(
        lambda: got.append(once.get("a", lambda: make("a"))),
        lambda: got.append(once.get("b", lambda: make("b"))),
    )
    assert sorted(got) == ["a", "b"]


def test_a_failure_is_not_kept_and_blocks_nobody() -> None:
    once: OncePerKey[str, int] = OncePerKey(4)

    def fail() -> int:
        raise ValueError("no")

    with pytest.raises(ValueError, match="no"):
        once.get("a", fail)
    assert once._making == {}
    assert once.get("a", lambda: 3) == 3


def test_the_one_not_asked_for_longest_goes_first() -> None:
    once: OncePerKey[str, int] = OncePerKey(2)
    for key in "ab":
        once.get(key, lambda: 1)
    once.get("a", lambda: 2)
    once.get("c", lambda: 3)
    assert once.get("a", lambda: 4) == 1
    assert once.get("b", lambda: 5) == 5
    once.clear()
    assert once.get("a", lambda: 6) == 6
