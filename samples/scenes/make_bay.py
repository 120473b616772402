#!/usr/bin/python3
"""Draws random dents in a workshop's light and renders them as a phone would show them.

usage: make_bay.py --count N --seed S --out FOLDER [--megapixels 6]

Scenes are drawn as in make_study.py; what workshop and phone add is drawn here, over broad ranges. Writes
FOLDER/NAME.jpg and NAME.json (what is given, the truth, and the scene). A photo that is there is not made again.
Six megapixels take about a minute on one core.
"""
import argparse
import json
import math
import os
import tempfile

import cv2
import numpy as np

import bay_light
import bay_phone
import make_photo
import make_study

MESSENGER_PX = 1600


def draw_bay(chance, scene):
    """Nuisances of panel, board and room."""
    maybe = lambda share: chance.random() < share  # noqa: E731
    span = max(scene["board"]["width_mm"], scene["board"]["height_mm"])
    bay = {"peel": [{"slope_mrad": chance.uniform(0.2, 0.75), "wavelength_mm": chance.uniform(0.7, 1.5)},
                    {"slope_mrad": chance.uniform(0.2, 1.0), "wavelength_mm": chance.uniform(2.2, 4.6)}],
           "dust": int(chance.integers(100, 4000)), "scratches": int(chance.integers(5, 30)),
           "room_level": chance.uniform(0.02, 0.1), "lamps": int(chance.integers(3, 9)), "beams": int(chance.integers(0, 8)),
           "bow_mm": chance.normal(0, 2.0) * span / 400, "bow_angle_deg": float(make_study.pick(chance, (0, 90, 45))),
           "gradient_u": chance.uniform(-0.5, 0.5), "gradient_v": chance.uniform(-0.5, 0.5),
           "light_x_per_mm": chance.uniform(-0.002, 0.002), "light_y_per_mm": chance.uniform(-0.002, 0.002),
           "lift_mm": chance.uniform(0.3, 2.0) if maybe(0.4) else 0.0,
           "haze": chance.uniform(0.02, 0.15) if maybe(0.6) else 0.0, "haze_sigma": chance.uniform(0.01, 0.04)}
    if maybe(0.5):
        bay["seam"] = {"at_mm": chance.uniform(-0.3, 0.3) * scene["board"]["width_mm"], "shift_mm": chance.uniform(-1, 1),
                       "turn_deg": chance.uniform(-0.15, 0.15), "gap_mm": chance.uniform(0.1, 0.4)}
    if maybe(0.4):
        bay["hot"] = {"u_mm": chance.uniform(-150, 150), "v_mm": chance.uniform(-120, 120), "r_mm": chance.uniform(60, 130),
                      "gain": chance.uniform(0.2, 0.5)}
    if maybe(0.5):
        bay["shadow"] = {"x_mm": chance.uniform(30, 90), "y_mm": chance.uniform(-10, 30), "angle_deg": chance.uniform(0, 360),
                         "soft_mm": make_study.log_uniform(chance, 2, 20), "strength": chance.uniform(0.3, 0.7)}
    return bay


def draw_phone(chance):
    maybe = lambda share: chance.random() < share  # noqa: E731
    phone = {"psf_px": chance.uniform(0.5, 0.8), "corner_blur_px": chance.uniform(1.2, 2.2),
             "red_scale": 1 + chance.normal(0, 1.5e-4), "blue_scale": 1 + chance.normal(0, 1.5e-4),
             "bloom": chance.uniform(0.005, 0.03) if maybe(0.4) else 0.0, "vignette": chance.uniform(0.05, 0.25),
             "exposure": chance.uniform(0.6, 1.15), "full_well": float(make_study.pick(chance, (2500, 4000, 8000))),
             "read_noise": chance.uniform(0.001, 0.0025), "gamma": chance.uniform(1.8, 2.4),
             "luma_nr": chance.uniform(0, 1.2), "s_curve": chance.uniform(0, 0.4), "saturation": chance.uniform(1, 1.2),
             "jpeg_quality": int(chance.integers(76, 92)), "messenger": maybe(0.12)}
    if maybe(0.75):
        phone["sharpen"] = {"amount": chance.uniform(0.3, 1.2), "radius": chance.uniform(1.2, 2.0)}
    if maybe(0.6):
        phone["local"] = ({"kind": "tiles", "clip": chance.uniform(1.5, 2.7), "mix": chance.uniform(0.2, 0.4)} if maybe(0.5)
                          else {"kind": "base", "sigma": chance.uniform(0.02, 0.06), "compress": chance.uniform(0.55, 0.8),
                                "detail": chance.uniform(1.1, 1.25)})
    if maybe(0.2):
        phone["motion_px"], phone["motion_angle"] = chance.uniform(0.6, 1.5), chance.uniform(0, math.pi)
    return phone


def draw_scene(chance, megapixels, seed):
    for _ in range(20000):
        scene = make_study.draw_scene(chance, "single", megapixels, seed, 0)
        if scene is None:
            continue
        scene["panel"].pop("orange_peel", None)  # the bay's own peel stands for it
        scene["board"]["bright"] = scene["card"]["white"] * float(chance.uniform(1.0, 3.5)) * 0.5
        scene["board"]["dark"] = 0.09 * scene["board"]["bright"]
        return scene
    raise SystemExit("no scene found that could be taken")


def make(scene, name, out, stage_class=bay_light.Scene, more_truth=None):
    panel, camera, board = make_photo.objects(scene)
    chance = np.random.default_rng(scene["seed"])
    with tempfile.TemporaryDirectory(prefix="ripple-bay-") as folder:
        light = bay_light.render(scene | {"folder": folder}, panel, camera, board,
                                 make_photo.sample_points(scene["camera"]["lens_samples"]), chance, stage_class)
    image = bay_phone.develop(light, scene["phone"], chance)
    if scene["phone"]["messenger"]:
        image = bay_phone.messenger(image, MESSENGER_PX)
    path = os.path.join(out, name + ".jpg")
    if scene["phone"]["messenger"]:
        cv2.imwrite(path, image, [cv2.IMWRITE_JPEG_QUALITY, scene["phone"]["jpeg_quality"]])
    else:
        make_photo.write_jpeg(path, image, scene | {"jpeg_quality": scene["phone"]["jpeg_quality"]})
    answer = make_photo.answers(scene, panel, camera, board) | {"scene": scene}
    answer["truth"] |= more_truth or {}
    with open(os.path.join(out, name + ".json"), "w") as f:
        json.dump(answer, f, indent=1)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=10)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", required=True)
    parser.add_argument("--megapixels", type=float, default=6.0)
    arguments = parser.parse_args()
    os.makedirs(arguments.out, exist_ok=True)
    for i in range(arguments.count):
        name = f"bay-{arguments.seed}-{i:03d}"
        if os.path.exists(os.path.join(arguments.out, name + ".json")):
            continue
        chance = np.random.default_rng([arguments.seed, i, 77])
        scene = draw_scene(chance, arguments.megapixels, 1000 * arguments.seed + i)
        scene["bay"], scene["phone"] = draw_bay(chance, scene), draw_phone(chance)
        make(make_study.rounded(scene), name, arguments.out)
        print(name, flush=True)


if __name__ == "__main__":
    main()
