"""A bar for work that is counted in bytes."""

from __future__ import annotations

from tqdm import tqdm


def byte_bar(word: str) -> tqdm:
    """A bar that shows in a terminal only, and only once the work takes a second."""
    return tqdm(unit="B", unit_scale=True, desc=word, leave=False, disable=None, delay=1)
