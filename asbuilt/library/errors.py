"""What working over many records raises."""

from __future__ import annotations

from asbuilt.errors import AsbuiltError


class LibraryError(AsbuiltError, RuntimeError):
    """A folder of records, or the machines to work on it, cannot be used."""
