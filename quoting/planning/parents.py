"""Stand-in."""

from msgspec import Struct


class Cut(Struct, frozen=True):
    count: int
    cuts: int
    settings: int


def cutting_for(W, H, w, h, *, trim_mm, orientation):
    W = W - 2 * trim_mm
    H = H - 2 * trim_mm
    best = Cut(0, 0, 0)
    for a, b in [(w, h)] if orientation == "upright" else [(h, w)] if orientation == "turned" else [(w, h), (h, w)]:
        i, j = int(W // a), int(H // b)
        if i * j > best.count:
            best = Cut(i * j, 4 + i + i * j, 4 + i + j)
    return best
