"""Everything asbuilt raises on purpose.

AsbuiltError                       one clear line for the user, exit code 1
|-- FrameMismatchError (ValueError)   two frames that do not meet were composed
|-- ShapeError (ValueError)           an array has the wrong shape
|-- LengthError (ValueError)          a length could not be read
|-- PlanError (ValueError)            a plan file is wrong; names line and field
|-- SightingError (ValueError)        a sighting or a list of them is wrong; names the entry
|-- MediaError (ValueError)           a photo or video cannot be used
|-- RecordError (RuntimeError)        the record folder cannot be used
|   `-- NotInRecordError (LookupError)   nothing by that name
`-- EstimateError (RuntimeError)      a failed estimate was used as if it had succeeded
"""

from __future__ import annotations


class AsbuiltError(Exception):
    """Root of every expected error; its text is one line that says what to do."""


class FrameMismatchError(AsbuiltError, ValueError):
    """Two transforms were composed whose touching frames differ."""


class ShapeError(AsbuiltError, ValueError):
    """An array does not have the shape that was asked for."""


class LengthError(AsbuiltError, ValueError):
    """A text is not a length."""


class PlanError(AsbuiltError, ValueError):
    """A plan file is wrong; the text names the file, line and field."""


class SightingError(AsbuiltError, ValueError):
    """A sighting is wrong; the text names the file and the entry."""


class MediaError(AsbuiltError, ValueError):
    """A photo or video cannot be used; the text names the file and why."""


class RecordError(AsbuiltError, RuntimeError):
    """The record folder cannot be opened, written or trusted."""


class NotInRecordError(RecordError, LookupError):
    """Nothing of that name is in the record; the text lists what is."""


class EstimateError(AsbuiltError, RuntimeError):
    """A failed estimate was used as though it had succeeded."""


class FailedEstimate:
    """The outcome of an estimate that could not be made: falsy, and carries the reason.

    Parameters
    ----------
    reason : str
        What was missing, in words for the user.

    Raises
    ------
    EstimateError
        On any use other than asking whether it is there (``bool``) or reading ``reason``.
    """

    __slots__ = ("reason",)

    def __init__(self, reason: str) -> None:
        self.reason = reason

    def __bool__(self) -> bool:
        return False

    def __repr__(self) -> str:
        return f"FailedEstimate({self.reason!r})"

    def __getattr__(self, name: str):
        raise EstimateError(f"no estimate: {self.reason}")
