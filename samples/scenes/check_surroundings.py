#!/usr/bin/python3
"""Checks the second renderer's folds against heights alone: light takes a path of stationary length (Fermat).

usage: check_surroundings.py [--scenes N] [--seed S]

For random folded panels with a dent it takes rays through the photo, where the renderer says they meet panel and board,
and compares the panel's point with the one that heights alone make stationary for the path camera, panel, board: that
never asks for a slope. Differences in pixels.
"""
import argparse
import sys

import numpy as np

import bay_covers
import make_photo
import make_surroundings
from optics import mirrored

TOLERANCE_PX = 0.1
STEP_MM = 0.02  # of differences of path lengths


class Bare(bay_covers.CoveredScene):
    """The stage's geometry without dust, peel, room and card."""

    def __init__(self, scene, panel):
        self.panel = panel
        self.boxes = [(d.dent["x_mm"], d.dent["y_mm"], d.reach_mm()) for d in panel.dents]


def path_mm(panel, camera, target, x, y):
    p = np.stack([x, y, panel.height(x, y)], -1)
    return np.linalg.norm(p - camera.place, axis=-1) + np.linalg.norm(p - target, axis=-1)


def stationary(panel, camera, target, x, y, rounds=3):
    """Newton's method on the path's length, all of it by differences."""
    h = STEP_MM
    for _ in range(rounds):
        f = {(i, j): path_mm(panel, camera, target, x + i * h, y + j * h) for i in (-1, 0, 1) for j in (-1, 0, 1)}
        gx, gy = (f[1, 0] - f[-1, 0]) / (2 * h), (f[0, 1] - f[0, -1]) / (2 * h)
        xx, yy = (f[1, 0] - 2 * f[0, 0] + f[-1, 0]) / h ** 2, (f[0, 1] - 2 * f[0, 0] + f[0, -1]) / h ** 2
        xy = (f[1, 1] - f[1, -1] - f[-1, 1] + f[-1, -1]) / (4 * h ** 2)
        both = xx * yy - xy * xy
        x, y = x - (yy * gx - xy * gy) / both, y - (xx * gy - xy * gx) / both
    return x, y


def fold_miss_px(scene, chance, rays=4000):
    """Where heights alone would have each ray mirrored, less where the renderer has it, in pixels; and how many on the rounding."""
    panel, camera, board = make_photo.objects(scene)
    u, v = chance.uniform(0, camera.width, rays), chance.uniform(0, camera.height, rays)
    d = camera.ray(u, v)
    stage = Bare(scene, panel)
    at = stage.panel_hit(np.broadcast_to(camera.place, d.shape), d)
    out = mirrored(d, panel.normals(at[:, 0], at[:, 1]))
    bu, bv, t = board.hit(at, out)
    seen = (np.abs(bu) < board.width / 2) & (np.abs(bv) < board.height / 2) & (t > 0)
    at, target = at[seen], (at + t[:, None] * out)[seen]
    x, y = stationary(panel, camera, target, at[:, 0], at[:, 1])
    there = camera.project(np.stack([x, y, panel.height(x, y)], -1))
    folded = np.zeros(len(at), bool)
    for line in panel.lines:
        folded |= np.abs(line.beyond(at[:, 0], at[:, 1])) < 0.5 * line.width
    return np.linalg.norm(there - np.stack([u, v], -1)[seen], axis=1), folded


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--scenes", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    worst = 0.0
    for i in range(arguments.scenes):
        chance = np.random.default_rng([arguments.seed, i, 5])
        scene = make_surroundings.draw_scene(chance, "two_lines", True, 3.0, i)
        miss, folded = fold_miss_px(scene, chance)
        largest = [np.percentile(m, 99) if len(m) else 0.0 for m in (miss[~folded], miss[folded])]
        print(f"scene {i}: {len(miss)} rays, 99 % within {largest[0]:.4f} px; {folded.sum()} on roundings, within {largest[1]:.4f} px")
        worst = max(worst, *largest)
    print("good" if worst < TOLERANCE_PX else "NOT good")
    return 0 if worst < TOLERANCE_PX else 1


if __name__ == "__main__":
    sys.exit(main())
