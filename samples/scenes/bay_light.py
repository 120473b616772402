"""A second renderer: rays mirrored by numpy, in a workshop's light. Independent of POV-Ray and of the measuring program.

Light reaches each pixel from the panel's mirror image of board or room, from the paint below the clear coat, or from the
card. What a workshop adds is here: a bowed board with a seam and a hot spot, a room with lamps and the photographer's
dark outline, haze, two scales of orange peel, dust, a shadow's edge, a card whose tip lifts.
"""
import math

import cv2
import numpy as np

import pov_scene
from optics import SHEET, SHEET_BOX, hit_surface, mirrored, normal_of, unit

MAP_STEP_MM = 0.15  # of peel and dust
EXTENT_MM = (-200.0, -200.0, 300.0, 300.0)
HAZE_RAYS, HAZE_SHRINK = 48, 6
HIT_STEPS = 4  # of rays that meet nearly flat metal or paper


def _noise_slopes(chance, rms, wavelength, shape):
    """Slopes (x, y) of a smooth random surface whose power lies around one wavelength, rad."""
    fx, fy = np.meshgrid(np.fft.rfftfreq(shape[1], MAP_STEP_MM), np.fft.fftfreq(shape[0], MAP_STEP_MM))
    f = np.hypot(fx, fy) * wavelength
    height = np.fft.rfft2(chance.standard_normal(shape)) * f * np.exp(-0.5 * ((f - 1) / 0.35) ** 2)
    x, y = (np.fft.irfft2(2j * math.pi * g * height, shape) for g in (fx, fy))
    gain = rms / math.sqrt(np.mean(x * x + y * y) + 1e-30)
    return (x * gain).astype(np.float32), (y * gain).astype(np.float32)


LOOKED_UP_PER_ROW = 4096  # OpenCV reads at most 32767 places in a row or column


def looked_up(picture, u, v, border=cv2.BORDER_CONSTANT):
    """The picture's values at places in rows and columns or in one row, between pixels linearly."""
    shape = u.shape
    if len(shape) == 1:
        rows = -(-shape[0] // LOOKED_UP_PER_ROW)
        u, v = (np.resize(w, (rows, LOOKED_UP_PER_ROW)) for w in (u, v))
    if not u.size:
        return np.zeros(shape, np.float32)
    values = cv2.remap(picture, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR, borderMode=border)
    return values.ravel()[:shape[0]] if len(shape) == 1 else values


class Surface:
    """What lies on the panel besides its dents: peel slopes, and how much of the mirror dust leaves."""

    def __init__(self, bay, chance):
        shape = tuple(round((EXTENT_MM[i + 2] - EXTENT_MM[i]) / MAP_STEP_MM) for i in (1, 0))
        self.slope_x, self.slope_y = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
        for peel in bay["peel"]:
            x, y = _noise_slopes(chance, peel["slope_mrad"] * 1e-3, peel["wavelength_mm"], shape)
            self.slope_x += x
            self.slope_y += y
        self.clean = np.ones(shape, np.float32)
        for _ in range(bay["dust"]):
            at = (int(chance.integers(shape[1])), int(chance.integers(shape[0])))
            cv2.circle(self.clean, at, int(chance.integers(0, 2)), float(chance.uniform(0.2, 0.8)), -1)
        for _ in range(bay["scratches"]):
            a = chance.uniform(0, shape[1], 2)
            turn, length = chance.uniform(0, 2 * math.pi), chance.uniform(10, 60) / MAP_STEP_MM
            b = a + length * np.array([math.cos(turn), math.sin(turn)])
            cv2.line(self.clean, tuple(int(v) for v in a), tuple(int(v) for v in b), 0.75, 1, cv2.LINE_AA)

    def at(self, x, y):
        u, v = (x - EXTENT_MM[0]) / MAP_STEP_MM - 0.5, (y - EXTENT_MM[1]) / MAP_STEP_MM - 0.5
        return [looked_up(m, u, v, cv2.BORDER_WRAP) for m in (self.slope_x, self.slope_y, self.clean)]


class Room:
    """Radiance by direction: walls, lamps, dark beams, and the photographer, far away."""

    def __init__(self, bay, camera, board, chance):
        picture = np.full((360, 720), bay["room_level"], np.float32)
        for lamp in [True] * bay["lamps"] + [False] * bay["beams"]:
            centre = (int(chance.integers(720)), int(chance.integers(200)))
            size = (int(chance.integers(20, 90)), int(chance.integers(2, 9)))
            box = cv2.boxPoints((centre, size, float(chance.uniform(0, 180)))).astype(np.int32)
            cv2.fillPoly(picture, [box], float(chance.uniform(0.4, 2.0) if lamp else 0.2 * bay["room_level"]))
        self.picture = cv2.GaussianBlur(picture, (0, 0), 1.2)
        self.person = unit(camera.place - board.seen)

    def at(self, d):
        azimuth = np.arctan2(d[..., 1], d[..., 0]) / (2 * math.pi) + 0.5
        height = np.arccos(np.clip(d[..., 2], -1, 1)) / math.pi
        light = looked_up(self.picture, azimuth * 719, height * 359)
        return np.where(d @ self.person > math.cos(0.22), 0.01, light)


class BowedBoard:
    """Stripes on a sheet that bows by `bow_mm` from middle to rim about a line at `bow_angle_deg`, with a taped seam."""

    def __init__(self, board, scene):
        self.board, self.scene = board, scene["board"]
        self.bay = scene["bay"]

    def bow(self, u, v):
        angle = math.radians(self.bay["bow_angle_deg"])
        across = (u * math.cos(angle) + v * math.sin(angle)) / (0.5 * max(self.board.width, self.board.height))
        return self.bay["bow_mm"] * across * across

    def seen(self, points, d, room):
        b = self.board
        u, v, t = b.hit(points, d)
        facing = d @ b.n
        for _ in range(3):
            further = self.bow(u, v) / np.where(np.abs(facing) < 1e-3, 1e-3, facing)
            q = points + (t + further)[..., None] * d - b.centre
            u, v = q @ b.u, q @ b.v
        on = (np.abs(u) < b.width / 2) & (np.abs(v) < b.height / 2) & (t > 0) & (facing < 0)
        return np.where(on, self.print_at(u, v), room.at(d))

    def print_at(self, u, v):
        s, bay = self.scene, self.bay
        seam = bay.get("seam")
        line = v
        gap = 1.0
        if seam:
            beyond = u > seam["at_mm"]
            line = np.where(beyond, v + seam["shift_mm"] + math.tan(math.radians(seam["turn_deg"])) * (u - seam["at_mm"]), v)
            gap = np.where(np.abs(u - seam["at_mm"]) < seam["gap_mm"], 0.6, 1.0)
        phase = line / s["pitch_mm"] + s["phase"]
        from_edge = s["duty"] * s["pitch_mm"] / 2 - np.abs((phase + 1000) % 1 - 0.5) * s["pitch_mm"]
        stripe = np.clip(from_edge / s["edge_mm"] + 0.5, 0, 1)
        w, h = self.board.width, self.board.height
        light = 1 + bay["gradient_u"] * u / w + bay["gradient_v"] * v / h
        hot = bay.get("hot")
        if hot:
            light = light + hot["gain"] * np.exp(-0.5 * ((u - hot["u_mm"]) ** 2 + (v - hot["v_mm"]) ** 2) / hot["r_mm"] ** 2)
        return (s["dark"] + (s["bright"] - s["dark"]) * stripe) * light * gap


def fresnel(cosine, index=pov_scene.CLEAR_COAT_INDEX):
    """Reflectance of unpolarised light."""
    inner = np.sqrt(1 - (1 - cosine * cosine) / index ** 2)
    s = (cosine - index * inner) / (cosine + index * inner)
    p = (index * cosine - inner) / (index * cosine + inner)
    return 0.5 * (s * s + p * p)


class Scene:
    """Everything that a ray can meet; `light` gives the radiance along rays, BGR."""

    def __init__(self, scene, panel, camera, board, chance):
        self.scene, self.panel, self.bay = scene, panel, scene["bay"]
        self.surface = Surface(self.bay, chance)
        self.board = BowedBoard(board, scene)
        self.room = Room(self.bay, camera, board, chance)
        paint = pov_scene.PAINTS[scene["paint"]]
        self.colour = np.array(paint["colour"][::-1]) * scene["light"]["room"] * 0.8
        self.boxes = [(d.dent["x_mm"], d.dent["y_mm"], d.reach_mm()) for d in panel.dents]
        bar = scene["card"]["bar_mm"] / 100
        folder = scene["folder"]
        pov_scene.card_picture(folder + "/card.png")
        self.print = cv2.resize(cv2.imread(folder + "/card.png", 0), None, fx=3, fy=3, interpolation=cv2.INTER_NEAREST)
        self.bar = bar

    def relief(self, x, y):
        return self._in_boxes(x, y, self.panel.relief, 1)

    def _in_boxes(self, x, y, function, count):
        out = np.zeros((count,) + x.shape)
        near = np.zeros(x.shape, bool)
        for cx, cy, r in self.boxes:
            near |= (np.abs(x - cx) < r) & (np.abs(y - cy) < r)
        if near.any():
            out[:, near] = function(x[near], y[near])
        return out if count > 1 else out[0]

    def relief_slopes(self, x, y):
        return self._in_boxes(x, y, lambda a, b: np.stack(self.panel.relief_slopes(a, b)), 2)

    def daylight(self, x, y):
        """Light on paint and paper: a slope over the panel, and a shadow's edge."""
        bay = self.bay
        light = 1 + bay["light_x_per_mm"] * (x - 50) + bay["light_y_per_mm"] * (y - 40)
        shadow = bay.get("shadow")
        if shadow:
            a = math.radians(shadow["angle_deg"])
            beyond = (x - shadow["x_mm"]) * math.cos(a) + (y - shadow["y_mm"]) * math.sin(a)
            light = light * (1 - shadow["strength"] / (1 + np.exp(-np.clip(beyond / shadow["soft_mm"], -60, 60))))
        return light

    def lift(self, x, y):
        """How high the card's paper stands over the panel: its long arm's end curls up beyond 60 mm."""
        return pov_scene.PAPER_THICKNESS_MM + self.bay["lift_mm"] * np.clip((x / self.bar - 60) / 54, 0, None) ** 2

    def mirror_normal(self, x, y):
        cx, cy = self.panel.crown_slopes(x, y)
        rx, ry = self.relief_slopes(x, y)
        px, py, clean = self.surface.at(x, y)
        return normal_of(cx + rx + px, cy + ry + py), clean

    def panel_hit(self, place, d):
        """By the crown's slopes, since a dent's are small; a body line may fall away steeply."""
        return hit_surface(place, d, lambda x, y: self.panel.crown(x, y) + self.relief(x, y), self.panel.crown_slopes, HIT_STEPS)

    def mirrored_light(self, at, out):
        """What the panel mirrors at a point in a direction."""
        return self.board.seen(at, out, self.room)

    def paint_light(self, at, d, n, clean, haze=None):
        """Light of painted metal seen along d, where its mirror is `clean` (1) or dusty (less)."""
        shine = fresnel(np.clip(-np.sum(d * n, -1), 0.02, 1))
        mirror = self.mirrored_light(at, mirrored(d, n))
        if haze is not None:
            mirror = (1 - self.bay["haze"]) * mirror + self.bay["haze"] * haze
        day = self.daylight(at[..., 0], at[..., 1])
        return (shine / pov_scene.CLEAR_COAT * mirror * clean)[..., None] + (day * (0.3 + 0.7 * clean))[..., None] * self.colour

    def metal_light(self, place, d, haze):
        at = self.panel_hit(place, d)
        n, clean = self.mirror_normal(at[..., 0], at[..., 1])
        return self.paint_light(at, d, n, clean, haze)

    def light(self, place, d, haze=None):
        image = self.metal_light(place, d, haze)
        on, paper = self.paper(place, d)
        return np.where(on[..., None], paper[..., None] * np.ones(3), image)

    def paper(self, place, d):
        level = lambda x, y: (0.0, 0.0)  # noqa: E731  paper slopes little
        at = hit_surface(place, d, lambda x, y: self.panel.crown(x, y) + self.lift(x, y), level, HIT_STEPS)
        x, y = at[..., 0], at[..., 1]
        a, b = x / self.bar, y / self.bar
        on = np.zeros(x.shape, bool)
        for x0, y0, x1, y1 in SHEET:
            on |= (a >= x0) & (a <= x1) & (b >= y0) & (b <= y1)
        u, v = (a - SHEET_BOX[0]) * 12 - 0.5, (SHEET_BOX[3] - b) * 12 - 0.5
        print_ = cv2.remap(self.print, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR) / 255.0
        return on, print_ * self.scene["card"]["white"] * self.daylight(x, y)


def haze_layer(stage, camera, chance):
    """The mirror's light spread over directions by fine scratches: smooth, so a small picture of many rays will do."""
    u, v = np.meshgrid(np.arange(0, camera.width, HAZE_SHRINK, dtype=float), np.arange(0, camera.height, HAZE_SHRINK, dtype=float))
    d = camera.ray(u, v)
    at = stage.panel_hit(camera.place, d)
    n, _ = stage.mirror_normal(at[..., 0], at[..., 1])
    total = 0
    for _ in range(HAZE_RAYS):
        jittered = unit(n + chance.normal(0, stage.bay["haze_sigma"] / 2, n.shape))
        total = total + stage.board.seen(at, mirrored(d, jittered), stage.room)
    small = (total / HAZE_RAYS).astype(np.float32)
    return cv2.resize(cv2.GaussianBlur(small, (0, 0), 1.0), (camera.width, camera.height), interpolation=cv2.INTER_CUBIC)


def render(scene, panel, camera, board, points, chance, stage_class=Scene):
    """Linear light on the sensor, BGR float32. `points`: pairs of lens (unit disc) and pixel offsets."""
    stage = stage_class(scene, panel, camera, board, chance)
    haze = haze_layer(stage, camera, chance) if scene["bay"]["haze"] else None
    u, v = np.meshgrid(np.arange(camera.width, dtype=float), np.arange(camera.height, dtype=float))
    total, count = np.zeros(u.shape + (3,), np.float32), 0
    rows = np.array_split(np.arange(camera.height), 8)
    for lens, pixel in points:
        offset = camera.aperture_radius_mm * (lens[0] * camera.right + lens[1] * camera.up)
        for part in rows:
            x, y = camera.undistorted(u[part] + pixel[0], v[part] + pixel[1])
            # rays through one point of the lens meet on the plane in focus
            d = unit((camera.forward + x[..., None] * camera.right - y[..., None] * camera.up) * camera.focus_mm - offset)
            total[part] += stage.light(camera.place + offset, d, None if haze is None else haze[part])
        count += 1
    return total / count
