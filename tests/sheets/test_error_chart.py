"""The error along a wall drawn: as high as it is, broken where nothing is known, and nothing cut off."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from asbuilt.sheets.error_chart import HEIGHT_M, error_chart
from asbuilt.sheets.svg import svg
from asbuilt.steps.place_error import ErrorAt, FaceError

SIGMA_M = 0.0254 / 1.96 * 0.99  # just below an inch at 95 %


def face_error(sigmas_m, **changes) -> FaceError:
    """A wall of 6 m with the same errors at three heights; 0 stands for nothing placed."""
    along = tuple(
        ErrorAt(offset_m=0.5 + x, height_m=z, sigma_offset_m=s, sigma_height_m=s, pictures=3 if s else 0)
        for x, s in enumerate(sigmas_m)
        for z in (0.4, 1.2, 2.0)
    )
    known = [s for s in sigmas_m if s]
    facts = {"worst_m": max(known), "worst_offset_m": 0.5 + sigmas_m.index(max(known)), "typical_m": known[0],
             "worst_with_mark_m": max(known) / 2} if known else {}  # fmt: skip
    return FaceError(face_id="a", title="A", pictures=3, references=2, along=along, **(facts | changes))


def chart(found: FaceError) -> ET.Element:
    return ET.fromstring(svg(error_chart(found, 6.0, [1.0, 5.0], "in")))


def curves(root: ET.Element) -> list[list[tuple[float, float]]]:
    paths = [p.get("d") for p in root.iter() if p.get("class") in ("pen-run-cable", "pen-run-pipe", "pen-run-conduit")]
    points = [[tuple(map(float, xy.split())) for xy in re.findall(r"-?[\d.]+ -?[\d.]+", d)] for d in paths]
    return [p for p in points if len(p) > 2]  # the others are the legend


def test_an_inch_lies_on_the_line_of_an_inch():
    drawing = error_chart(face_error([SIGMA_M] * 6), 6.0, [], "in")
    root = ET.fromstring(svg(drawing))
    up_mm = HEIGHT_M * 1000 * 0.99**0.5  # 1 in is the top line here
    assert len(curves(root)) == 3
    for points in curves(root):
        assert all(y == pytest.approx(drawing.top_m * 1000 - up_mm, abs=0.5) for _, y in points)


def test_gap_is_hatched_and_breaks_the_curve():
    whole = curves(chart(face_error([0.002] * 6)))
    broken = curves(chart(face_error([0.002, 0.002, 0.002, 0.0, 0.0, 0.002])))
    assert len(whole) == len(broken) == 3
    assert {len(c) for c in whole} == {6} and {len(c) for c in broken} == {3}
    text = svg(error_chart(face_error([0.002, 0.0, 0.002]), 6.0, [], "in"))
    assert "not recorded" in text and "not recorded" not in svg(error_chart(face_error([0.002] * 3), 6.0, [], "in"))


def test_wall_without_pictures_says_so():
    text = svg(error_chart(face_error([0.0] * 4), 6.0, [], "mm"))
    assert "No placed picture shows this wall" in text


@pytest.mark.parametrize("most", [0.001, 0.02, 0.06, 0.5])
def test_everything_lies_on_the_sheet(most):
    drawing = error_chart(face_error([0.001, most, 0.002]), 6.0, [1.0], "in")
    root = ET.fromstring(svg(drawing))
    width, height = (float(v) for v in root.get("viewBox").split()[2:])
    for points in curves(root):
        assert all(0 <= x <= width and 0 <= y <= height for x, y in points)
