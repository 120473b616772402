"""The second renderer's stage with what surrounds a dent: the panel's end, the next panel, and what stands on the panel.

Where surfaces are steep or end, rays are followed step by step to the first surface below them; what stands on the panel
is mirrored in it, and mirrors it.
"""
import numpy as np

import pov_scene
from bay_light import HIT_STEPS, Scene, fresnel
from optics import central_slopes, hit_surface, mirrored, normal_of, unit
from surroundings import End, cover_of, first_below

PANEL_FROM_MM, PANEL_TO_MM, FLOOR = -250.0, 350.0, 0.03  # the panel both ways, and the light of what lies beyond it
HORIZON_MISS_MM = 5.0  # more than any dent's depth
GAP_DEPTH_MM = 6.0
SLOPE_STEP_MM = 1e-3  # of differences of heights
WALL_MM = 0.03  # a ray that lands so far below a surface has met its cut end
DAYLIGHT = unit([0.3, 0.4, 1.0])


class CoveredScene(Scene):
    def __init__(self, scene, panel, camera, board, chance):
        super().__init__(scene, panel, camera, board, chance)
        covers = [cover_of(c) for c in scene.get("covers", [])]
        self.ends = [c for c in covers if isinstance(c, End)]
        self.raised = [c for c in covers if not isinstance(c, End)]

    def metal_light(self, place, d, haze):
        at = self.panel_hit(place, d)
        n, clean = self.mirror_normal(at[..., 0], at[..., 1])
        image = self.paint_light(at, d, n, clean, haze)
        for end in self.ends:
            self._draw_end(end, place, d, at, image)
        for cover in self.raised:
            self._draw_raised(cover, d, at, image)
        image[self._off_the_panel(at)] = FLOOR
        return image

    def _off_the_panel(self, at):
        """Beyond its bounds, or beyond the horizon of its crown, where no point was found."""
        x, y, z = (at[..., i] for i in range(3))
        inside = (np.minimum(x, y) > PANEL_FROM_MM) & (np.maximum(x, y) < PANEL_TO_MM)
        return ~inside | (np.abs(self.panel.crown(x, y) - z) > HORIZON_MISS_MM)

    def mirrored_light(self, at, out):
        light = self.board.seen(at, out, self.room)
        for cover in self.raised:
            near, t = self._met_from_panel(cover, at, out)
            if near is not None:
                met = near.copy()
                met[near] = ~np.isnan(t)
                p = at[met] + t[~np.isnan(t), None] * out[met]
                light[met] = pov_scene.CLEAR_COAT * self._cover_light(cover, p, out[met]).mean(-1)
        return light

    def _met_from_panel(self, cover, at, out):
        """Rays that leave the panel and pass below the cover's height near it: which may, and how far until they meet it."""
        up = np.maximum(out[..., 2], 0.05)
        near = cover.beyond(at[..., 0], at[..., 1]) < 1.1 * cover.top * np.hypot(out[..., 0], out[..., 1]) / up
        if not near.any():
            return None, None
        length = 1.1 * cover.top / up[near]
        start = at[near]
        return near, length * first_below(start, start + length[:, None] * out[near], self._height_of(cover), steps=12, rounds=5)

    def _height_of(self, cover):
        def height(x, y):
            raised = cover.height(x, y)
            return np.where(raised > 1e-3, self.panel.crown(x, y) + raised, -np.inf)
        return height

    def _cover_light(self, cover, p, d):
        """Light of a cover's surface: matt grey under daylight, and glossy as paint or metal if it says so."""
        x, y = p[:, 0], p[:, 1]
        fall_x, fall_y = central_slopes(cover.height, x, y, SLOPE_STEP_MM)
        slope_x, slope_y = self.panel.crown_slopes(x, y)
        n = normal_of(slope_x + fall_x, slope_y + fall_y)
        facts = cover.cover
        matt = (facts["grey"] * self.daylight(x, y) * (0.4 + 0.6 * np.clip(n @ DAYLIGHT, 0, 1)))[:, None] * np.ones(3)
        if not facts["glossy"]:
            return matt
        out = mirrored(d, n)
        mirror = self.board.seen(p, out, self.room)
        down = out[:, 2] < -0.05
        if down.any():
            mirror[down] = pov_scene.CLEAR_COAT * self._bare_panel_light(p[down], out[down])
        shine = np.maximum(fresnel(np.clip(-np.sum(d * n, -1), 0.02, 1)), facts.get("metal", 0.0))
        return matt + (shine / pov_scene.CLEAR_COAT * mirror)[:, None]

    def _bare_panel_light(self, place, d):
        """Grey light of the panel without what stands on it."""
        at = self.panel_hit(place, d)
        n = normal_of(*self.panel.crown_slopes(at[:, 0], at[:, 1]))
        shine = fresnel(np.clip(-np.sum(d * n, -1), 0.02, 1))
        mirror = self.board.seen(at, mirrored(d, n), self.room)
        return shine / pov_scene.CLEAR_COAT * mirror + self.colour.mean()

    def _draw_raised(self, cover, d, at, image):
        x, y = at[..., 0], at[..., 1]
        near = cover.beyond(x, y) < 1.1 * cover.top * np.hypot(d[..., 0], d[..., 1]) / -d[..., 2]
        if not near.any():
            return
        foot, ray = at[near], d[near]
        start = foot - (1.1 * cover.top / -ray[:, 2])[:, None] * ray
        part = first_below(start, foot, self._height_of(cover))
        met = ~np.isnan(part)
        p = start[met] + part[met, None] * (foot - start)[met]
        drawn = image[near]
        drawn[met] = self._cover_light(cover, p, ray[met])
        image[near] = drawn

    def _draw_end(self, end, place, d, at, image):
        beyond = end.beyond(at[..., 0], at[..., 1])
        near = beyond > -end.rim
        if not near.any():
            return
        ray, foot, light = d[near], at[near], np.full((int(near.sum()), 3), end.dark)
        edge = np.ones(len(ray), bool)
        if end.next:
            there = self._next_hit(end, foot, ray)
            edge = end.beyond(there[:, 0], there[:, 1]) < end.gap + end.next["rim_mm"]
            light[~edge] = self._end_light(end, there[~edge], ray[~edge], lambda x, y: -end.next_drop(x, y))
        else:
            edge = beyond[near] < 1.5 * GAP_DEPTH_MM
        self._draw_rims(end, foot, ray, edge, light)
        image[near] = light

    def _next_hit(self, end, foot, ray):
        return hit_surface(foot, ray, lambda x, y: self.panel.crown(x, y) - end.next_drop(x, y), self.panel.crown_slopes,
                           HIT_STEPS, np.zeros(len(foot)))

    def _draw_rims(self, end, foot, ray, edge, light):
        def added(x, y):
            where = end.where(x, y)
            far = -end.next_drop(x, y) if end.next else 0.0
            return np.where(where == 0, -end.rim_drop(x, y), np.where(where == 1, -GAP_DEPTH_MM, far))

        down = ray[edge] / -ray[edge, 2:]
        start, bottom = foot[edge] - 2.0 * down, foot[edge] + 1.2 * GAP_DEPTH_MM * down
        part = first_below(start, bottom, lambda x, y: self.panel.crown(x, y) + added(x, y))
        part = np.where(np.isnan(part), 1.0, part)
        p = start + part[:, None] * (bottom - start)
        x, y = p[:, 0], p[:, 1]
        on_metal = (end.where(x, y) != 1) & (self.panel.crown(x, y) + added(x, y) - p[:, 2] < WALL_MM)
        rims = light[edge]
        rims[on_metal] = self._end_light(end, p[on_metal], ray[edge][on_metal], added)
        light[edge] = rims

    def _end_light(self, end, p, ray, added):
        """Painted metal whose height over the crown is `added`; what looks down mirrors the dark of the gap."""
        x, y = p[:, 0], p[:, 1]
        slope_x, slope_y = self.panel.crown_slopes(x, y)
        more_x, more_y = central_slopes(added, x, y, SLOPE_STEP_MM)
        peel_x, peel_y, clean = self.surface.at(x, y)
        n = normal_of(slope_x + more_x + peel_x, slope_y + more_y + peel_y)
        light = self.paint_light(p, ray, n, clean)
        down = mirrored(ray, n)[:, 2] < 0
        light[down] = end.dark + self.colour
        return light
