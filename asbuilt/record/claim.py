"""One worker at a time on a record, also where the folder is on storage that several machines share."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from asbuilt.errors import RecordError

try:
    import fcntl
except ImportError:  # not on this system: two workers are then kept apart by SQLite alone
    fcntl = None

CLAIM = Path("derived") / "worked-on"


@contextmanager
def claimed(folder: str | Path) -> Iterator[None]:
    """Hold a record for one worker; the system lets go of it when the worker dies, however it dies.

    Raises
    ------
    RecordError
        If another worker holds it, or the folder cannot be written.
    """
    path = Path(folder) / CLAIM
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = open(path, "w")
    except OSError as error:
        raise RecordError(f"cannot write into {folder}: {error.strerror or error}") from error
    with handle:
        try:
            if fcntl is not None:
                fcntl.lockf(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise RecordError(f"{folder} is being worked on by another program; wait for it to end") from None
        yield
