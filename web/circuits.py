"""The panel schedule: what each breaker feeds."""

from __future__ import annotations

from dataclasses import asdict

from flask import Blueprint

from asbuilt.answers.directory import schedules
from asbuilt.web.pages import Page, page, record

blueprint = Blueprint("circuits", __name__)


@page(blueprint, "/circuits")
def circuits() -> Page:
    """Every panel with its breakers, odd positions left, even right."""
    return Page(template="circuits.html", data={"panels": [asdict(s) for s in schedules(record())]})
