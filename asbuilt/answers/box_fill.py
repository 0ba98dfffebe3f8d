"""Box fill: the volume that conductors, clamps, devices and grounds take up in a box."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from asbuilt.answers.conductors import box_allowance_in3

CUBIC_INCH_M3 = 0.0254**3
FREE_GROUNDS = 4  # grounds that count as one; each further one adds a quarter
DEVICE_COUNT = 2  # conductors that a yoke counts for


@dataclass(frozen=True, slots=True, kw_only=True)
class Filling:
    """What is in a box: sizes as AWG numbers, one for each conductor, ground and yoke.

    ``yokes_awg`` holds the largest conductor connected to each device.
    """

    conductors_awg: tuple[int, ...]
    grounds_awg: tuple[int, ...] = ()
    clamps: bool = False
    yokes_awg: tuple[int, ...] = ()


def filling_in3(
    filling: Filling, allowance_in3: Callable[[int], float | None] = box_allowance_in3
) -> float | None:
    """Volume that a filling needs by 314.16(B) [in^3]; None where a size has no figure.

    Each conductor counts once, all clamps once and all grounds once by the largest size in the
    box, each yoke twice by the largest conductor connected to it, each ground beyond four a
    quarter. ``allowance_in3`` gives the volume of one conductor of a size.
    """
    sizes = {*filling.conductors_awg, *filling.grounds_awg, *filling.yokes_awg}
    volume = {awg: allowance_in3(awg) for awg in sizes}
    if None in volume.values():
        return None
    total = sum(volume[awg] for awg in filling.conductors_awg)
    total += sum(DEVICE_COUNT * volume[awg] for awg in filling.yokes_awg)
    if filling.clamps and filling.conductors_awg:
        total += max(volume[awg] for awg in filling.conductors_awg)
    if filling.grounds_awg:
        largest = max(volume[awg] for awg in filling.grounds_awg)
        total += largest * (1 + 0.25 * max(len(filling.grounds_awg) - FREE_GROUNDS, 0))
    return total


def cable_conductors(cables: Sequence[tuple[int, int]]) -> tuple[int, ...]:
    """One size for each conductor of cables given as (AWG, conductors beside the ground)."""
    return tuple(awg for awg, count in cables for _ in range(count))
