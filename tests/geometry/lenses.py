"""Lenses of the kind phones have, drawn for tests."""

from __future__ import annotations

from hypothesis import strategies as st

from asbuilt.geometry.cameras import Lens

PHONE = Lens(
    width_px=1920,
    height_px=1080,
    focal_px=1420.0,
    center_x_px=955.0,
    center_y_px=545.0,
    k1=0.04,
    k2=-0.06,
    p1=0.0008,
    p2=-0.0005,
)
# From 24 mm equivalent; distortion about what the joint solution expects of a phone, whose pictures
# are corrected already. Rays bend one way all over the picture, so every pixel has one ray.
phone_lenses = st.builds(
    Lens,
    width_px=st.just(1920),
    height_px=st.just(1080),
    focal_px=st.floats(1250, 2200),
    center_x_px=st.floats(900, 1020),
    center_y_px=st.floats(480, 600),
    k1=st.floats(-0.05, 0.1),
    k2=st.floats(-0.05, 0.03),
    p1=st.floats(-0.002, 0.002),
    p2=st.floats(-0.002, 0.002),
)
