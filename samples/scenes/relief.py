"""Relief of invented dents, and the truth that a measurement of them is judged by.

Lengths in mm, the card frame, height z out of the panel. A dent is a dict:
  shape      one of SHAPES
  kind       "low" or "high"
  x_mm, y_mm, angle_deg   place of the shape's origin and direction of its length
  length_mm, width_mm     axes of the ellipse that is the shape's nominal outline (for most shapes its 10 % contour)
  depth_mm   largest |h|
  and for some shapes a parameter with a default, see the functions below.
"""
import math

import cv2
import numpy as np

from optics import central_slopes, normal_of
from surroundings import Line

LN10 = math.log(10.0)


# Each shape: f(u, v, dent), u and v in half axes of the nominal outline. Peak value need not be 1 (see Dent).
def gauss(u, v, dent):
    return np.exp(-LN10 * (u * u + v * v))


def flat(u, v, dent):
    """Flat-bottomed: a Gaussian's round shoulder with a higher power of the radius."""
    return np.exp(-LN10 * np.power(u * u + v * v, 0.5 * dent.get("power", 3.0)))


def bell(u, v, dent):
    """Cosine bell; its 10 % radius is acos(-0.8)/pi = 0.795 of its foot."""
    r = 0.795167 * np.sqrt(u * u + v * v)
    return np.where(r < 1, 0.5 + 0.5 * np.cos(math.pi * np.minimum(r, 1)), 0.0)


def poly(u, v, dent):
    """(1 - r^2)^n, zero beyond its foot."""
    n = dent.get("power", 3.0)
    foot = 1.0 - 0.1 ** (1.0 / n)  # r^2 at 10 %
    return np.power(np.maximum(0.0, 1.0 - foot * (u * u + v * v)), n)


def rimmed(u, v, dent):
    """A dent with a raised rim around it, as metal that had to go somewhere."""
    r = np.sqrt(u * u + v * v)
    return np.exp(-LN10 * r * r) - dent.get("rim", 0.12) * np.exp(-(((r - 1.25) / 0.28) ** 2))


def kidney(u, v, dent):
    """A dent bent along its length."""
    w = v - dent.get("bend", 0.8) * (u * u - 0.3)
    return np.exp(-LN10 * (u * u + w * w))


def crease(u, v, dent):
    """Long, even along its length, soft at its ends."""
    return np.exp(-LN10 * (np.power(np.abs(u), dent.get("power", 4.0)) + v * v))


def slanted(u, v, dent):
    """Steep on one side, shallow on the other."""
    lean = dent.get("lean", 0.5)
    return np.exp(-LN10 * (u * u * np.exp(-1.4 * lean * np.tanh(2.0 * u)) + v * v))


def step(u, v, dent):
    """A wide shallow dent with a narrower one inside, off its middle."""
    share, size = dent.get("share", 0.5), dent.get("inner", 0.4)
    inner = ((u - 0.22) ** 2 + (v + 0.1) ** 2) / (size * size)
    return (1 - share) * np.exp(-LN10 * np.power(u * u + v * v, 1.5)) + share * np.exp(-LN10 * inner)


def pointed(u, v, dent):
    """Conical, with a small round tip."""
    tip = dent.get("tip", 0.15)
    r = np.sqrt(u * u + v * v + tip * tip) - tip
    return np.exp(-LN10 * r / (math.sqrt(1 + tip * tip) - tip))


SHAPES = {f.__name__: f for f in (gauss, flat, bell, poly, rimmed, kidney, crease, slanted, step, pointed)}


class Dent:
    """Height of one dent, scaled so that its largest |h| is depth_mm."""

    def __init__(self, dent):
        self.dent = dent
        self.shape = SHAPES[dent["shape"]]
        self.half = (0.5 * dent["length_mm"], 0.5 * dent["width_mm"])
        angle = math.radians(dent.get("angle_deg", 0.0))
        self.cos, self.sin = math.cos(angle), math.sin(angle)
        self.scale = 1.0
        axis = np.linspace(-1.5, 1.5, 1201)
        u, v = np.meshgrid(axis, axis)
        peak = float(np.max(self.shape(u, v, dent)))
        sign = -1.0 if dent["kind"] == "low" else 1.0
        self.scale = sign * dent["depth_mm"] / peak

    def height(self, x, y):
        dx, dy = x - self.dent["x_mm"], y - self.dent["y_mm"]
        u = (dx * self.cos + dy * self.sin) / self.half[0]
        v = (-dx * self.sin + dy * self.cos) / self.half[1]
        return self.scale * self.shape(u, v, self.dent)

    def reach_mm(self):
        """Half side of the square, around the place, outside which the dent is flatter than can be seen."""
        farthest = {"flat": 1.7, "bell": 1.3, "poly": 1.5, "rimmed": 2.2, "kidney": 2.3, "slanted": 2.4, "pointed": 4.0}
        return farthest.get(self.dent["shape"], 2.0) * max(self.half)


class Panel:
    """The crowned panel with its dents: z = -(kx x^2 + 2 kxy x y + ky y^2)/2 - drops of body lines + sum of dents."""

    def __init__(self, panel, dents, lines=()):
        first, second = (0.0 if not panel.get(k) else 1.0 / panel[k] for k in ("radius_1_mm", "radius_2_mm"))
        angle = math.radians(panel.get("crown_angle_deg", 0.0))
        c, s = math.cos(angle), math.sin(angle)
        self.kx, self.ky = first * c * c + second * s * s, first * s * s + second * c * c
        self.kxy = (first - second) * c * s
        self.dents = [Dent(d) for d in dents]
        self.lines = [Line(line) for line in lines]

    def crown(self, x, y):
        """The panel as it was pressed, body lines included."""
        z = -0.5 * (self.kx * x * x + 2 * self.kxy * x * y + self.ky * y * y)
        return z - sum(line.drop(x, y) for line in self.lines)

    def crown_slopes(self, x, y):
        slope_x, slope_y = -(self.kx * x + self.kxy * y), -(self.kxy * x + self.ky * y)
        for line in self.lines:
            fall_x, fall_y = line.drop_slopes(x, y)
            slope_x, slope_y = slope_x - fall_x, slope_y - fall_y
        return slope_x, slope_y

    def relief(self, x, y):
        return sum((d.height(x, y) for d in self.dents), np.zeros(np.broadcast(x, y).shape))

    def height(self, x, y):
        return self.crown(x, y) + self.relief(x, y)

    def relief_slopes(self, x, y):
        """The shapes are smooth, so 0.1 um steps are good to about 1e-8."""
        return central_slopes(self.relief, x, y, 1e-4)

    def slopes(self, x, y):
        cx, cy = self.crown_slopes(x, y)
        hx, hy = self.relief_slopes(x, y)
        return cx + hx, cy + hy

    def normals(self, x, y):
        return normal_of(*self.slopes(x, y))


def _region(height, x, y, level):
    """Centroid, equivalent diameter and axes of the connected region where |h| >= level of the peak."""
    peak = np.unravel_index(np.argmax(np.abs(height)), height.shape)
    same_sign = height * np.sign(height[peak])
    _, labels = cv2.connectedComponents((same_sign >= level * same_sign[peak]).astype(np.uint8), connectivity=4)
    inside = labels == labels[peak]
    px, py = x[inside], y[inside]
    area = inside.sum() * (x[0, 1] - x[0, 0]) * (y[1, 0] - y[0, 0])
    spread = np.sqrt(np.linalg.eigvalsh(np.cov(px, py, bias=True)))
    return {
        "cx": float(px.mean()), "cy": float(py.mean()), "eq_diameter": 2 * math.sqrt(area / math.pi),
        "length": 4 * float(spread[1]), "width": 4 * float(spread[0]),
    }


def truth(dent, samples=2400):
    """What is to be measured of one dent, from the same height function that is rendered, on a fine grid."""
    shape = Dent(dent)
    axis = np.linspace(-1, 1, samples) * min(shape.reach_mm(), 1.7 * max(shape.half))
    x, y = np.meshgrid(dent["x_mm"] + axis, dent["y_mm"] + axis)
    height = shape.height(x, y)
    slope_y, slope_x = np.gradient(height, axis[1] - axis[0])
    sign = -1.0 if dent["kind"] == "low" else 1.0
    return {
        "kind": dent["kind"], "depth": float(np.max(sign * height)),
        "max_slope": float(np.max(np.hypot(slope_x, slope_y))),
        "opposite_peak": float(max(0.0, np.max(-sign * height))),
        "rim": _region(height, x, y, 0.1), "half": _region(height, x, y, 0.5),
    }
