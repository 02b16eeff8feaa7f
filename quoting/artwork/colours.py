"""Ink told from paper: how much of its own ink each pixel holds, and which inks a picture was drawn in."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from msgspec import Struct

from quoting.artwork.planes import Pixels
from quoting.numbers import plain

# What is fainter is paper, or the edge of something.
_LEAST_INK = 64
# Two directions from white that part by more than this in any channel, of 255, are two inks.
_SAME_INK = 48
# An ink that is less than this part of all ink, in ten-thousandths, is the blur between two others.
_LEAST_PART = 50
_MOST_TOLD = 6
# A black that was turned from process colours is a dark grey with a cast: what is as dark as this is its solid.
_NEARLY_BLACK = 200
_NEUTRAL = 225
_SAMPLED = 4_000_000


class _Ink(Struct, frozen=True, kw_only=True):
    """One ink of a picture: its direction from white, its share of all ink, its solid, of 255."""

    direction: tuple[int, int, int]
    weight: int
    solid: int


def ink_of(picture: Pixels) -> tuple[Pixels, tuple[str, ...], list[str]]:
    """
    A picture's ink, 255 a solid; the colours it was drawn in; what to say of it.

    Greys are tints of black. Of a colour the strongest that there is of it is its solid: a red drawn as
    pure red and one drawn as brick are both printed from solid ink.
    """
    import numpy as np

    if picture.ndim == 2:
        return 255 - picture, ("black",), []
    if _is_grey(picture):
        return 255 - np.ascontiguousarray(picture[:, :, 0]), ("black",), []
    away = 255 - picture
    inks = _inks(away)
    if not inks:
        return away.max(axis=2), (), []
    names = tuple(_named(one) for one in inks[:_MOST_TOLD])
    return _shares(away, inks), names, _mixed(inks, names)


def _is_grey(picture: Pixels) -> bool:
    import numpy as np

    red, green, blue = (picture[:, :, channel] for channel in range(3))
    return bool(np.array_equal(red, green) and np.array_equal(green, blue))


def _inks(away: Pixels) -> list[_Ink]:
    """Inks by weight: directions from white of what lies within shapes, near ones together."""
    import numpy as np

    whole = _within_shapes(away)
    if not len(whole):
        strong = away.reshape(-1, 3)
        whole = strong[strong.max(axis=1) >= _LEAST_INK]
    strength = whole.max(axis=1).astype(np.int64)
    if not len(strength):
        return []
    directions = (whole.astype(np.int64) * 255 + strength[:, None] // 2) // strength[:, None]
    keys = (directions[:, 0] >> 4) << 8 | (directions[:, 1] >> 4) << 4 | directions[:, 2] >> 4
    return _grouped(directions, strength, keys)


def _within_shapes(away: Pixels) -> Pixels:
    """Pixels that are as their neighbours are: no edge, where two colours blur."""
    import cv2
    import numpy as np

    square = np.ones((3, 3), np.uint8)
    spread = cv2.subtract(cv2.dilate(away, square), cv2.erode(away, square)).max(axis=2)
    chosen = away[(spread <= 4) & (away.max(axis=2) >= _LEAST_INK)]
    return chosen[:: max(1, len(chosen) // _SAMPLED)]


def _grouped(directions: Pixels, strength: Pixels, keys: Pixels) -> list[_Ink]:
    import numpy as np

    weights = np.bincount(keys, weights=strength, minlength=4096).astype(np.int64)
    total = int(weights.sum())
    left = np.ones(len(keys), bool)
    found: list[_Ink] = []
    for key in np.argsort(weights)[::-1]:
        mine = left & (keys == key)
        if not mine.any():
            continue
        middle = np.median(directions[mine], axis=0).astype(np.int64)
        near = left & (np.abs(directions - middle).max(axis=1) <= _SAME_INK)
        left &= ~near
        weight = int(strength[near].sum())
        if weight * 10_000 >= total * _LEAST_PART:
            direction = (int(middle[0]), int(middle[1]), int(middle[2]))
            found.append(_Ink(direction=direction, weight=weight, solid=_solid(strength[near], direction)))
        if len(found) > _MOST_TOLD or not left.any():
            break
    return sorted(found, key=lambda one: -one.weight)


def _solid(strength: Pixels, direction: tuple[int, int, int]) -> int:
    """What of 255 is a solid of an ink: of a colour, and of a black with a cast, the strongest common strength."""
    import numpy as np

    counts = np.bincount(strength, minlength=256)
    from_above = np.cumsum(counts[::-1])[::-1]
    common = int(np.flatnonzero(from_above * 100 >= len(strength)).max())
    neutral = min(direction) >= _NEUTRAL
    return common if not neutral or common >= _NEARLY_BLACK else 255


def _shares(away: Pixels, inks: list[_Ink]) -> Pixels:
    """Each pixel's strength by the solid of the ink that it is nearest to."""
    import numpy as np

    strength = away.max(axis=2)
    if len(inks) == 1:
        return _of_solid(strength, inks[0].solid)
    best = np.full(strength.shape, 1 << 30, np.int32)
    shares = np.zeros_like(strength)
    for one in inks:
        apart = np.zeros(strength.shape, np.int32)
        for channel in range(3):
            due = strength.astype(np.int32) * one.direction[channel] // 255
            apart += np.abs(away[:, :, channel].astype(np.int32) - due)
        nearer = apart < best
        best[nearer] = apart[nearer]
        shares[nearer] = _of_solid(strength, one.solid)[nearer]
    return shares


def _of_solid(strength: Pixels, solid: int) -> Pixels:
    import numpy as np

    table = np.minimum((np.arange(256) * 255 + solid // 2) // solid, 255).astype(np.uint8)
    return table[strength]


def _mixed(inks: list[_Ink], names: tuple[str, ...]) -> list[str]:
    """What to say of a form that was drawn in several colours."""
    if len(inks) == 1:
        return []
    total = sum(one.weight for one in inks)
    told = ", ".join(
        f"{name} {plain(Decimal(one.weight) * 100 / total, places=1)} %"
        for name, one in zip(names, inks, strict=False)
    )
    more = " and more" if len(inks) > len(names) else ""
    return [f"expected one colour a form; found {told} of the ink{more}: two colours are two forms"]


_HUES = (
    (15, "red"),
    (45, "orange"),
    (70, "yellow"),
    (165, "green"),
    (200, "cyan"),
    (260, "blue"),
    (300, "violet"),
    (345, "pink"),
    (361, "red"),
)


def _named(ink: _Ink) -> str:
    """A colour by its plain name and its red, green and blue, as a solid."""
    red, green, blue = (255 - channel * ink.solid // 255 for channel in ink.direction)
    most, least = max(red, green, blue), min(red, green, blue)
    return f"{_hue(red, green, blue, most, least)} (#{red:02x}{green:02x}{blue:02x})"


def _hue(red: int, green: int, blue: int, most: int, least: int) -> str:
    if most - least <= 24:
        return "black" if most < 80 else "grey"
    sixth, shift = {
        red: (green - blue, 0),
        green: (blue - red, 120),
        blue: (red - green, 240),
    }[most]
    degrees: Any = (60 * sixth // (most - least) + shift) % 360
    return next(name for upto, name in _HUES if degrees < upto)
