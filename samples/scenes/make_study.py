#!/usr/bin/python3
"""Draws random scenes over broad ranges and renders them, to study accuracy and coverage of the measurement.

usage: make_study.py --kind single|odd|hail|flat|marked --count N --seed S --out FOLDER [--megapixels 5] [--scenes-only]

Writes FOLDER/scenes/NAME.json (the scene), FOLDER/NAME.jpg and FOLDER/NAME.json (what is given, and the truth).
A photo that is there already is not rendered again, so that an interrupted study goes on where it was.
"""
import argparse
import json
import math
import os
import sys

import numpy as np

import make_photo
import pov_scene
import relief
from optics import SHEET, mirrored_by_crown

# Ranges. Lengths in mm, angles in degrees, slopes in mrad.
TILT = (16, 50)
WIDE_LENS, WIDE_DISTANCE = (23, 29), (200, 420)
LONG_LENS, LONG_DISTANCE = (46, 56), (330, 700)
BOARD_DISTANCE = (140, 420)
PITCHES = (10, 12, 14, 16, 20, 25)
BOARD_SIZES = ((420, 297), (400, 400), (560, 420), (594, 420), (297, 420))
DIAMETER, DEPTH, SLOPE = (3, 60), (0.02, 1.3), (12, 115)
CROWN_RADIUS = (1000, 8000)
PEEL = (0.1, 1.5)
MOST_CYCLES = 8.5  # of stripe displacement in a dent
DENSEST_FRINGES = 0.33  # cycles a pixel
SINGLE_SHAPES = ("gauss", "flat", "bell", "poly")
ODD_SHAPES = ("rimmed", "kidney", "crease", "slanted", "step", "pointed", "low_in_high")


def log_uniform(chance, low, high):
    return float(math.exp(chance.uniform(math.log(low), math.log(high))))


def pick(chance, options):
    return options[int(chance.integers(len(options)))]


def rounded(value):
    if isinstance(value, dict):
        return {k: rounded(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [rounded(v) for v in value]
    return round(float(value), 4) if isinstance(value, (float, np.floating)) else value


def draw_camera(chance, megapixels):
    long_lens = chance.random() < 0.3
    focal = chance.uniform(*(LONG_LENS if long_lens else WIDE_LENS))
    distance = log_uniform(chance, *(LONG_DISTANCE if long_lens else WIDE_DISTANCE))
    ratio = pick(chance, (4 / 3, 4 / 3, 16 / 9))
    height = 2 * round(math.sqrt(megapixels * 1e6 / ratio) / 2)
    size = [2 * round(height * ratio / 2), height]
    if chance.random() < 0.35:
        size.reverse()
    return {"width_px": size[0], "height_px": size[1], "focal_35_mm": focal, "k1": chance.uniform(-0.02, 0.03),
            "k2": chance.uniform(-0.015, 0.005), "centre_shift_px": list(chance.uniform(-15, 15, 2)),
            "distance_mm": distance, "tilt_deg": chance.uniform(*TILT), "azimuth_deg": -90 + chance.uniform(-70, 70),
            "roll_deg": chance.uniform(-12, 12), "aperture_radius_mm": chance.uniform(0.6, 1.1),
            "aim_off_mm": list(chance.uniform(-12, 12, 2)), "lens_samples": 7,
            "exif_orientation": pick(chance, (1, 1, 1, 1, 1, 3, 6, 8))}


def draw_panel(chance):
    panel = {"radius_1_mm": None, "radius_2_mm": None, "crown_angle_deg": chance.uniform(0, 180),
             "specks": pick(chance, (0, 40, 120, 300))}
    if chance.random() < 0.8:
        panel["radius_1_mm"] = log_uniform(chance, *CROWN_RADIUS)
        if chance.random() < 0.7:
            panel["radius_2_mm"] = log_uniform(chance, *CROWN_RADIUS)
    if chance.random() < 0.6:
        panel["orange_peel"] = {"slope_mrad": chance.uniform(*PEEL), "wavelength_mm": chance.uniform(1.2, 4.0)}
    return panel


def draw_dent(chance, shapes, diameter, peel, elongation=1.35):
    shape = pick(chance, shapes)
    ratio = chance.uniform(1, elongation)
    if shape == "crease":
        ratio = chance.uniform(2.5, 5)
    elif shape in ("kidney", "pointed"):
        ratio = chance.uniform(1, 1.8)
    dent = {"shape": shape, "kind": "high" if chance.random() < 0.22 else "low", "x_mm": 0.0, "y_mm": 0.0,
            "length_mm": diameter * math.sqrt(ratio), "width_mm": diameter / math.sqrt(ratio),
            "angle_deg": chance.uniform(0, 180), "depth_mm": 1.0}
    dent.update({"flat": {"power": chance.uniform(2.3, 4.0)}, "poly": {"power": chance.uniform(2.2, 4.5)},
                 "rimmed": {"rim": chance.uniform(0.06, 0.25)}, "kidney": {"bend": chance.uniform(0.4, 1.0)},
                 "crease": {"power": chance.uniform(2.5, 5.0)}, "slanted": {"lean": chance.uniform(0.25, 0.7)},
                 "step": {"share": chance.uniform(0.35, 0.6), "inner": chance.uniform(0.35, 0.5)},
                 "pointed": {"tip": chance.uniform(0.12, 0.3)}}.get(shape, {}))
    slope = log_uniform(chance, max(SLOPE[0], 9 * peel), SLOPE[1])
    dent["depth_mm"] = slope * 1e-3 / relief.truth(dent, 300)["max_slope"]
    return dent


def draw_dents(chance, kind, peel, turn):
    if kind == "flat":
        return []
    if kind == "hail":
        return [draw_dent(chance, SINGLE_SHAPES, log_uniform(chance, 4, 18), peel) | {"kind": "low"}
                for _ in range(int(chance.integers(3, 9)))]
    diameter = log_uniform(chance, *DIAMETER)
    if kind in ("single", "marked"):
        return [draw_dent(chance, SINGLE_SHAPES, diameter, peel)]
    shape = ODD_SHAPES[turn % len(ODD_SHAPES)]  # in turn, or the shapes that fit most views would crowd out the others
    if shape != "low_in_high":
        return [draw_dent(chance, (shape,), max(diameter, 6), peel)]
    high = draw_dent(chance, SINGLE_SHAPES, log_uniform(chance, 16, 45), peel) | {"kind": "high"}
    low = draw_dent(chance, ("gauss", "bell"), chance.uniform(0.22, 0.4) * high["width_mm"], peel) | {"kind": "low"}
    return [high, low]


def off_the_card(x, y, radius, scale, clear=4.0):
    for x0, y0, x1, y1 in SHEET:
        dx = max(x0 * scale - x, 0, x - x1 * scale)
        dy = max(y0 * scale - y, 0, y - y1 * scale)
        if math.hypot(dx, dy) < radius + clear:
            return False
    return True


def place_dents(chance, dents, scale):
    """Gives each dent a place beside the card and (nearly always) clear of the others; False if there was no room."""
    placed = []
    for i, dent in enumerate(dents):
        radius = 0.62 * dent["length_mm"]
        if i == 1 and dents[0]["kind"] == "high" and dent["kind"] == "low" and len(dents) == 2:
            off = 0.12 * dents[0]["width_mm"]
            dent["x_mm"], dent["y_mm"] = (dents[0][k] + chance.uniform(-off, off) for k in ("x_mm", "y_mm"))
            continue
        for _ in range(200):
            x, y = chance.uniform(15, 130), chance.uniform(15, 115)
            gap = 1.5 if chance.random() < 0.9 else -0.25 * radius
            if off_the_card(x, y, radius, scale) and all(math.hypot(x - a, y - b) > radius + r + gap for a, b, r in placed):
                dent["x_mm"], dent["y_mm"] = x, y
                placed.append((x, y, radius))
                break
        else:
            return False
    return True


def board_tags(width, height, side=40, clear=10):
    """Tags in the corners and at the middle of the short sides."""
    x, y = 0.5 * width - 0.5 * side - clear, 0.5 * height - 0.5 * side - clear
    places = [(a * x, b * y) for a in (-1, 1) for b in (-1, 0, 1)]
    return [{"id": 40 + i, "x_mm": px, "y_mm": py, "side_mm": side} for i, (px, py) in enumerate(places)]


def draw_scene(chance, kind, megapixels, seed, turn):
    panel = draw_panel(chance)
    peel = panel.get("orange_peel", {}).get("slope_mrad", 0.0)
    dents = draw_dents(chance, kind, peel, turn)
    bar = 100.0 if chance.random() < 0.4 else round(chance.uniform(95, 102), 1)
    scale = bar / 100
    if not place_dents(chance, dents, scale):
        return None
    spots = [(d["x_mm"], d["y_mm"]) for d in dents] or [(chance.uniform(45, 75), chance.uniform(35, 60))]
    middle = np.mean(spots, axis=0)
    camera = draw_camera(chance, megapixels)
    camera["target_mm"] = list(0.5 * middle + 0.5 * np.array([45, 33]))
    width, height = pick(chance, BOARD_SIZES)
    board = {"reflects_at_mm": list(middle), "distance_mm": log_uniform(chance, *BOARD_DISTANCE),
             "pitch_mm": pick(chance, PITCHES), "width_mm": width, "height_mm": height,
             "spin_deg": chance.uniform(-40, 40), "tilt_u_deg": chance.uniform(-16, 16),
             "tilt_v_deg": chance.uniform(-16, 16),
             "shift_mm": [chance.uniform(-0.4, 0.4) * width, chance.uniform(-0.4, 0.4) * height],
             "phase": chance.random(), "duty": chance.uniform(0.42, 0.58), "edge_mm": chance.uniform(0.1, 0.6),
             "bright": chance.uniform(0.5, 1.1), "dark": chance.uniform(0.02, 0.07), "falloff": chance.uniform(0, 0.35),
             "falloff_angle_deg": chance.uniform(0, 360), "tape_error_mm": chance.uniform(-6, 6)}
    if kind == "marked":
        board["tags"] = board_tags(width, height)
    scene = {"seed": seed, "panel": panel, "paint": pick(chance, tuple(pov_scene.PAINTS)), "dents": dents,
             "card": {"bar_mm": bar, "white": chance.uniform(0.4, 0.8), "shade": chance.uniform(0.05, 0.15)},
             "camera": camera, "board": board,
             "light": {"room": chance.uniform(0.5, 1.3), "veil": chance.uniform(0.005, 0.05),
                       "from_board": chance.uniform(0.2, 0.6)},
             "sensor": {"psf_px": chance.uniform(0.7, 1.2), "exposure": chance.uniform(0.66, 0.92),
                        "full_well": pick(chance, (3000, 6000, 10000)), "read_noise": chance.uniform(0.001, 0.005),
                        "noise_blur_px": pick(chance, (0.0, 0.5, 0.7)), "sharpen": pick(chance, (0, 0, 0.3, 0.6)),
                        "vignette": chance.uniform(0, 0.25)},
             "jpeg_quality": int(chance.integers(80, 97))}
    scene = rounded(scene)
    return scene if could_be_taken(scene, kind) else None


def could_be_taken(scene, kind):
    """Whether card and dents are in the photo, the board is seen in and around the dents, and nothing stands in the way."""
    panel, camera, board = make_photo.objects(scene)
    scale = scene["card"]["bar_mm"] / 100
    corners = [(x + a, y + b) for _, x, y in pov_scene.CARD_TAGS for a in (-11, 11) for b in (-11, 11)]
    points = np.array(corners, float) * scale
    px_per_mm = camera.focal_px / scene["camera"]["distance_mm"]
    for dent in scene["dents"]:
        facts = relief.truth(dent, 300)
        if not DEPTH[0] <= dent["depth_mm"] <= DEPTH[1]:
            return False
        travel = 2 * scene["board"]["distance_mm"] * facts["max_slope"]
        if travel / scene["board"]["pitch_mm"] > MOST_CYCLES:
            return False
        # a Gaussian's largest curvature is 7 times its slope over its width at tenth maximum
        curvature = 7 * facts["max_slope"] / facts["rim"]["width"]
        if 2 * scene["board"]["distance_mm"] * curvature / scene["board"]["pitch_mm"] / px_per_mm > DENSEST_FRINGES:
            return False
        ring = np.stack([np.cos(np.linspace(0, 2 * math.pi, 24)), np.sin(np.linspace(0, 2 * math.pi, 24))], -1)
        around = [dent["x_mm"], dent["y_mm"]] + ring * (0.75 * dent["length_mm"] + 6)
        points = np.concatenate([points, around])
        if not on_board(around, travel, panel, camera, board):
            return False
    if kind == "flat":
        around = np.array(scene["board"]["reflects_at_mm"]) + [[-25, -25], [25, -25], [25, 25], [-25, 25]]
        if not on_board(around, 10, panel, camera, board):
            return False
    points = np.column_stack([points, panel.crown(points[:, 0], points[:, 1])])
    seen = camera.project(points)
    margin = 0.01 * camera.width
    if np.any(seen < margin) or np.any(seen > [camera.width - margin, camera.height - margin]):
        return False
    return not board.blocks(camera, points) and min(c[2] for c in board.corners()) > 15


def on_board(around, travel, panel, camera, board):
    u, v, length = board.hit(*mirrored_by_crown(panel, camera.place, around[:, 0], around[:, 1]))
    return bool(np.all(np.abs(u) < board.width / 2 - travel - 4) and np.all(np.abs(v) < board.height / 2 - travel - 4)
                and np.all(length > 0))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kind", choices=("single", "odd", "hail", "flat", "marked"), default="single")
    parser.add_argument("--count", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", required=True)
    parser.add_argument("--megapixels", type=float, default=5.0, help="phones have 12 or more; 5 renders faster")
    parser.add_argument("--scenes-only", action="store_true")
    arguments = parser.parse_args()
    folder = os.path.join(arguments.out, "scenes")
    os.makedirs(folder, exist_ok=True)
    for i in range(arguments.count):
        name = f"{arguments.kind}-{arguments.seed}-{i:03d}"
        path = os.path.join(folder, name + ".json")
        if not os.path.exists(path):
            chance = np.random.default_rng([arguments.seed, i, len(arguments.kind)])
            for _ in range(20000):
                scene = draw_scene(chance, arguments.kind, arguments.megapixels, 1000 * arguments.seed + i, i)
                if scene:
                    break
            else:
                sys.exit(f"{name}: no scene found that could be taken")
            with open(path, "w") as f:
                json.dump(scene, f, indent=1)
        if not arguments.scenes_only and not os.path.exists(os.path.join(arguments.out, name + ".json")):
            make_photo.make(path, arguments.out)
            print(name, flush=True)


if __name__ == "__main__":
    main()
