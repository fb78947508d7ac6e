"""What something costs, told by counts that are the same on a busy machine as on an idle one."""

import sys
import tracemalloc
from collections.abc import Callable
from types import FrameType


def calls_in(act: Callable[[], object]) -> int:
    """How many functions are called while it runs, Python's and those written in C."""
    count = 0

    def heard(_frame: FrameType, event: str, _argument: object) -> None:
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(heard)
    try:
        act()
    finally:
        sys.setprofile(before)
    return count


def most_memory_in(act: Callable[[], object]) -> int:
    """How many bytes it holds at its most, beyond what was held before."""
    tracemalloc.start()
    try:
        act()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
