"""Numbers in the names of pictures: where some are missing, pictures are missing."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

FEW = 0.1
"""Up to this share of missing numbers is lost pictures; more is another way of numbering."""

_DIGITS = re.compile(r"(\d+)")


def places(names: Sequence[str]) -> tuple[list[int], str]:
    """The place of each picture in its sequence, from 0, and words where that is no plain count.

    Names that differ in one number alone are numbered by it, in steps of whatever is usual there.
    All others, and those of which many are missing, follow one after the other.

    Parameters
    ----------
    names : sequence of str
        In order.
    """
    plain = list(range(len(names)))
    numbers = _counter(names)
    steps = [later - earlier for earlier, later in pairwise(numbers)]
    if len(steps) < 2 or min(steps) < 1:
        return plain, ""
    often = Counter(steps)
    step = max(often, key=lambda one: (often[one], -one))
    if any(other % step for other in steps):
        return plain, ""
    found = [(number - numbers[0]) // step for number in numbers]
    span = found[-1] + 1
    missing = span - len(names)
    if not missing:
        return plain, ""
    after = next(i for i, one in enumerate(steps) if one != step)
    words = f"{missing} of {span} numbers are missing in the names (the first after {names[after]})"
    if missing > max(1.0, FEW * span):
        return plain, f"{words}: taken one after the other all the same"
    return found, f"{words}: taken as lost pictures, time goes on there"


def _counter(names: Sequence[str]) -> list[int]:
    """The one number in which the names differ; empty where they differ otherwise."""
    parts = [_DIGITS.split(name) for name in names]
    if len({len(one) for one in parts}) != 1:
        return []
    differing = [i for i, column in enumerate(zip(*parts, strict=True)) if len(set(column)) > 1]
    if len(differing) != 1 or differing[0] % 2 == 0:
        return []
    return [int(one[differing[0]]) for one in parts]
