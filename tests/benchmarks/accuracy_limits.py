"""What accuracy is held against: a good tape's permissible error, and how survey accuracy is stated."""

from __future__ import annotations

import math

# (a, b) of a + b L in millimetres, L in metres rounded up to whole ones: OIML R 35-1, and annex MI-008 of
# Directive 2004/22/EC which took it over; values as tape makers who cite the directive print them.
OIML_R35_MM = {"I": (0.1, 0.1), "II": (0.3, 0.2), "III": (0.6, 0.4)}

# NSSDA (FGDC-STD-007.3-1998): accuracy at 95 % from root mean square errors. The horizontal factor holds
# where both axes err alike.
NSSDA_HORIZONTAL, NSSDA_VERTICAL = 1.7308, 1.9600


def oiml_r35_mpe_m(length_m: float, class_: str) -> float:
    """Maximum permissible error of a tape over a length [m].

    Parameters
    ----------
    length_m : float
        [m]
    class_ : str
        "I", "II" or "III".

    Raises
    ------
    ValueError
        If there is no such class or the length is negative.
    """
    if class_ not in OIML_R35_MM:
        raise ValueError(f"no tape class {class_!r}: there are {', '.join(OIML_R35_MM)}")
    if length_m < 0:
        raise ValueError(f"a length is not negative: {length_m}")
    a_mm, b_mm = OIML_R35_MM[class_]
    return (a_mm + b_mm * math.ceil(length_m)) / 1000


def nssda_horizontal_m(rmse_r_m: float) -> float:
    """95 % circle from the radial root mean square error [m]."""
    return NSSDA_HORIZONTAL * rmse_r_m


def nssda_vertical_m(rmse_z_m: float) -> float:
    """95 % interval, either way, from the root mean square error of heights [m]."""
    return NSSDA_VERTICAL * rmse_z_m
