"""What handing over raises."""

from __future__ import annotations

from asbuilt.errors import AsbuiltError


class PackageError(AsbuiltError, ValueError):
    """A package cannot be made, opened or trusted; the text names the file."""
