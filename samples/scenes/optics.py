"""Where things are: the card's sheet, camera, board, and the mirror law. Lengths in mm, the card frame (x, y on the panel,
z out of it).

Pixel centres are at whole numbers: (0, 0) is the centre of the top-left pixel.
"""
import math

import numpy as np

FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)

# The card's sheet is an L: from its corner at (low, low) one arm goes to `right`, one to `top`, both as wide as to `inner`.
_low, _inner, _right, _top = -14, 14, 114, 89
SHEET_BOX = (_low, _low, _right, _top)
SHEET = [(_low, _low, _right, _inner), (_low, _low, _inner, _top)]
SHEET_CORNERS = [(_low, _low), (_right, _low), (_right, _inner), (_inner, _inner), (_inner, _top), (_low, _top)]


def unit(v):
    return np.asarray(v, float) / np.linalg.norm(v, axis=-1, keepdims=True)


def mirrored(direction, normal):
    """Law of reflection: r = d - 2 (d.n) n."""
    return direction - 2.0 * np.sum(direction * normal, -1, keepdims=True) * normal


def normal_of(slope_x, slope_y):
    """Of a surface that is so steep along x and y."""
    return unit(np.stack([-slope_x, -slope_y, np.ones_like(slope_x)], -1))


def mirrored_by_crown(panel, place, x, y):
    """Points of the smooth panel, and where each mirrors the ray that comes from `place`."""
    at = np.stack([x, y, panel.crown(x, y)], -1)
    return at, mirrored(unit(at - place), normal_of(*panel.crown_slopes(x, y)))


def central_slopes(height, x, y, step):
    return ((height(x + step, y) - height(x - step, y)) / (2 * step),
            (height(x, y + step) - height(x, y - step)) / (2 * step))


def hit_surface(place, direction, height, slopes, steps, t=None):
    """Points where rays from `place` meet z = height(x, y), by Newton's method from `t`, or from the plane z = 0 on."""
    t = -place[..., 2] / direction[..., 2] if t is None else t
    for _ in range(steps):
        p = place + t[..., None] * direction
        x, y = p[..., 0], p[..., 1]
        slope_x, slope_y = slopes(x, y)
        miss = height(x, y) - p[..., 2]
        t = t + miss / (direction[..., 2] - slope_x * direction[..., 0] - slope_y * direction[..., 1])
    return place + t[..., None] * direction


class Camera:
    """Pinhole with two radial terms: x_distorted = x (1 + k1 r^2 + k2 r^4)."""

    def __init__(self, camera, panel):
        self.width, self.height = camera["width_px"], camera["height_px"]
        self.focal_px = camera["focal_35_mm"] / FULL_FRAME_DIAGONAL_MM * math.hypot(self.width, self.height)
        shift = camera.get("centre_shift_px", [0.0, 0.0])
        self.centre = np.array([0.5 * (self.width - 1) + shift[0], 0.5 * (self.height - 1) + shift[1]])
        self.k1, self.k2 = camera.get("k1", 0.0), camera.get("k2", 0.0)
        tx, ty = camera["target_mm"]
        target = np.array([tx, ty, float(panel.crown(tx, ty))])
        tilt, azimuth = math.radians(camera["tilt_deg"]), math.radians(camera["azimuth_deg"])
        towards = np.array([math.sin(tilt) * math.cos(azimuth), math.sin(tilt) * math.sin(azimuth), math.cos(tilt)])
        self.place = target + camera["distance_mm"] * towards
        aim = camera.get("aim_off_mm", [0.0, 0.0])
        self.forward = unit(target + np.array([aim[0], aim[1], 0.0]) - self.place)
        away = np.array([-math.cos(azimuth), -math.sin(azimuth), 0.0])  # upright for who holds the phone
        right = unit(np.cross(self.forward, away))
        up = np.cross(right, self.forward)
        roll = math.radians(camera.get("roll_deg", 0.0))
        self.right = math.cos(roll) * right + math.sin(roll) * up
        self.up = -math.sin(roll) * right + math.cos(roll) * up
        self.aperture_radius_mm = camera.get("aperture_radius_mm", 0.0)
        self.focus_mm = camera.get("focus_mm") or float(np.dot(target - self.place, self.forward))

    def undistorted(self, u, v):
        """Pixels of the photo -> x, y on the plane one focal length away."""
        xd, yd = (np.asarray(u) - self.centre[0]) / self.focal_px, (np.asarray(v) - self.centre[1]) / self.focal_px
        x, y = xd, yd
        for _ in range(20):
            r2 = x * x + y * y
            factor = 1 + self.k1 * r2 + self.k2 * r2 * r2
            x, y = xd / factor, yd / factor
        return x, y

    def ray(self, u, v):
        x, y = self.undistorted(u, v)
        return unit(self.forward + x[..., None] * self.right - y[..., None] * self.up)

    def project(self, points):
        p = np.asarray(points, float) - self.place
        depth = p @ self.forward
        x, y = (p @ self.right) / depth, -(p @ self.up) / depth
        r2 = x * x + y * y
        factor = 1 + self.k1 * r2 + self.k2 * r2 * r2
        return np.stack([x * factor, y * factor], -1) * self.focal_px + self.centre


class Board:
    """A plane with its own frame: u right and v up as seen from the printed face, n towards the panel."""

    def __init__(self, board, camera, panel):
        ax, ay = board["reflects_at_mm"]
        at, ray = mirrored_by_crown(panel, camera.place, ax, ay)
        self.middle_ray, self.reflects_at = ray, at
        n = -ray
        u = unit(np.cross([0.0, 0.0, 1.0], n))
        v = np.cross(n, u)
        for angle, which in ((board.get("tilt_u_deg", 0.0), "u"), (board.get("tilt_v_deg", 0.0), "v"),
                             (board.get("spin_deg", 0.0), "n")):
            axis = {"u": u, "v": v, "n": n}[which]
            u, v, n = (_turned(w, axis, math.radians(angle)) for w in (u, v, n))
        self.u, self.v, self.n = u, v, n
        shift = board.get("shift_mm", [0.0, 0.0])
        self.seen = at + board["distance_mm"] * ray  # the point of the board that is seen at `reflects_at`
        self.centre = self.seen + shift[0] * u + shift[1] * v
        self.width, self.height = board["width_mm"], board["height_mm"]

    def hit(self, points, directions):
        """Board coordinates (u, v) where rays meet its plane, and the lengths of the rays."""
        t = ((self.centre - points) @ self.n) / (directions @ self.n)
        q = points + t[..., None] * directions - self.centre
        return q @ self.u, q @ self.v, t

    def corners(self):
        return [self.centre + a * self.width / 2 * self.u + b * self.height / 2 * self.v
                for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]

    def view_from(self, camera, panel, x, y):
        """Of the ray that leaves the smooth panel at (x, y) and is seen by the camera: its length (what a tape tells), and
        the angle between it and the board's normal, degrees."""
        at, ray = mirrored_by_crown(panel, camera.place, x, y)
        return float(self.hit(at, ray)[2]), math.degrees(math.acos(min(1.0, abs(float(ray @ self.n)))))

    def blocks(self, camera, points):
        """True if the board stands between the camera and any of the points."""
        points = np.asarray(points, float)
        d = points - camera.place
        along = d @ self.n
        t = ((self.centre - camera.place) @ self.n) / np.where(along == 0, 1e-12, along)
        q = camera.place + t[:, None] * d - self.centre
        inside = (np.abs(q @ self.u) < self.width / 2 + 5) & (np.abs(q @ self.v) < self.height / 2 + 5)
        return bool(np.any(inside & (t > 0) & (t < 1)))


def _turned(v, axis, angle):
    """Rodrigues' rotation."""
    return v * math.cos(angle) + np.cross(axis, v) * math.sin(angle) + axis * np.dot(axis, v) * (1 - math.cos(angle))
