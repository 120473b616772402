"""What stands near a dent: body lines, the panel's end with a gap and the next panel, trims, badges, handles.

Millimetres, the card frame, heights along z. Everything here is a shape; bay_covers.py gives it light.
"""
import math

import numpy as np

RIM_STEEPNESS = 0.85  # sine of the steepest angle of a rolled rim


def _direction(degrees):
    return math.cos(math.radians(degrees)), math.sin(math.radians(degrees))


class Line:
    """A soft fold: beyond it the panel turns away by `turn_rad`, convex if positive, and goes on with a curvature of its own.

    The fold runs at `place_mm` along its normal, which points away from the card, and may bend in the panel's plane. Its
    rounding, `width_mm` from foot to foot, is a circle's arc or `smooth` (a turn of 3 q^2 - 2 q^3).
    """

    def __init__(self, line):
        self.place, self.turn, self.width = line["place_mm"], line["turn_rad"], line["width_mm"]
        self.smooth = line.get("smooth", False)
        self.curvature, self.bend = line.get("curvature_per_mm", 0.0), line.get("bend_per_mm", 0.0)
        self.normal = _direction(line["normal_deg"])

    def _along(self, x, y):
        return self.normal[0] * y - self.normal[1] * x

    def beyond(self, x, y):
        """Signed distance from the fold's middle (nearly, where it bends)."""
        return self.normal[0] * x + self.normal[1] * y - self.place - 0.5 * self.bend * self._along(x, y) ** 2

    def drop(self, x, y):
        s = self.beyond(x, y)
        q = np.clip(s / self.width + 0.5, 0, 1)
        past = np.maximum(s - 0.5 * self.width, 0)
        rounding = q ** 3 - 0.5 * q ** 4 if self.smooth else 0.5 * q * q
        return self.turn * (self.width * rounding + past) + 0.5 * self.curvature * past * past

    def drop_slopes(self, x, y):
        s = self.beyond(x, y)
        q = np.clip(s / self.width + 0.5, 0, 1)
        turned = q * q * (3 - 2 * q) if self.smooth else q
        slope = self.turn * turned + self.curvature * np.maximum(s - 0.5 * self.width, 0)
        swerve = self.bend * self._along(x, y)
        return slope * (self.normal[0] + swerve * self.normal[1]), slope * (self.normal[1] - swerve * self.normal[0])


class End:
    """Where the panel ends, straight (`edge`) or along a circle (`arch`): a rolled rim, then a gap, then perhaps the next panel."""

    def __init__(self, cover):
        self.cover, self.rim, self.dark = cover, cover["rim_mm"], cover["dark"]
        self.round = cover["kind"] == "arch"
        self.gap = cover.get("gap_mm", math.inf)
        self.next = cover.get("next")

    def beyond(self, x, y):
        """Signed distance from the panel's end; positive where there is no panel."""
        c = self.cover
        if self.round:
            return c["radius_mm"] - np.hypot(x - c["x_mm"], y - c["y_mm"])
        nx, ny = _direction(c["normal_deg"])
        return nx * x + ny * y - c["place_mm"]

    @staticmethod
    def _rolled(into_rim, rim):
        radius = rim / RIM_STEEPNESS
        q = np.clip(into_rim, 0, rim)
        return radius - np.sqrt(radius * radius - q * q)

    def rim_drop(self, x, y):
        return self._rolled(self.beyond(x, y) + self.rim, self.rim)

    def next_drop(self, x, y):
        """How much lower than the first panel, carried on, the next one lies."""
        s = self.beyond(x, y) - self.gap
        nx, ny = _direction(self.cover["normal_deg"])
        along = nx * y - ny * x - self.next["along_mm"]
        tilt, twist = (math.tan(math.radians(self.next[k])) for k in ("tilt_deg", "twist_deg"))
        return self.next["lower_mm"] + tilt * s + twist * along + self._rolled(self.next["rim_mm"] - s, self.next["rim_mm"])

    def where(self, x, y):
        """0 on the first panel, 1 in the gap, 2 on the next panel."""
        s = self.beyond(x, y)
        return np.where(s <= 0, 0, np.where(s < self.gap, 1, 2))


class Raised:
    """Something that stands on the panel (trim, badge, handle): a rectangle with round corners whose rim is rounded off.

    Its cross section is a parabola over `bevel_mm` from the foot inwards and flat beyond; `sag` lowers the ends.
    """

    def __init__(self, cover):
        self.cover = cover
        self.half = cover["half_length_mm"], cover["half_width_mm"]
        self.corner = cover.get("corner_mm", 0.0)
        self.top, self.bevel, self.sag = cover["height_mm"], cover["bevel_mm"], cover.get("sag", 0.0)
        self.axis = _direction(cover["angle_deg"])

    def own(self, x, y):
        dx, dy = x - self.cover["x_mm"], y - self.cover["y_mm"]
        return dx * self.axis[0] + dy * self.axis[1], dy * self.axis[0] - dx * self.axis[1]

    def beyond(self, x, y):
        """Signed distance from the outline, negative within."""
        u, v = self.own(x, y)
        a = np.abs(u) - self.half[0] + self.corner
        b = np.abs(v) - self.half[1] + self.corner
        return np.hypot(np.maximum(a, 0), np.maximum(b, 0)) + np.minimum(np.maximum(a, b), 0) - self.corner

    def height(self, x, y):
        inwards = np.clip(-self.beyond(x, y) / self.bevel, 0, 1)
        u, _ = self.own(x, y)
        return self.top * inwards * (2 - inwards) * (1 - self.sag * np.minimum((u / self.half[0]) ** 2, 1))


def cover_of(cover):
    return End(cover) if cover["kind"] in ("edge", "arch") else Raised(cover)


def first_below(start, end, height, steps=20, rounds=8):
    """The fraction of the way from start to end at which it first leads below height(x, y); NaN where it never does."""
    way = end - start

    def below(part, rows):
        p = start[rows] + part[:, None] * way[rows]
        return p[:, 2] < height(p[:, 0], p[:, 1])

    high = np.full(len(start), np.nan)
    for i in range(1, steps + 1):
        rows = np.flatnonzero(np.isnan(high))
        rows = rows[below(np.full(len(rows), i / steps), rows)]
        high[rows] = i / steps
    rows = np.flatnonzero(~np.isnan(high))
    top, low = high[rows], high[rows] - 1 / steps
    for _ in range(rounds):
        middle = 0.5 * (low + top)
        under = below(middle, rows)
        top, low = np.where(under, middle, top), np.where(under, low, middle)
    high[rows] = top
    return high
