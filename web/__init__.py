"""The viewer: a small web service over one record."""

from asbuilt.web.factory import create_app

__all__ = ["create_app"]
