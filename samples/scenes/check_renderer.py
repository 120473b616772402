#!/usr/bin/python3
"""Checks the renderer against geometry computed here: where the panel mirrors which point of the board.

usage: check_renderer.py SCENE.json [--width PX]

Board and card are painted with their own coordinates, the panel is a perfect mirror, and each pixel's colour is
compared with what the mirror law says for that pixel (optics.py: Newton's method on the height function). Prints the
differences in pixels and, for the mirror, as an error of the panel's slope. Then the slope of the orange peel.
"""
import argparse
import json
import shutil
import sys
import tempfile

import numpy as np

import make_photo
import pov_scene
from optics import hit_surface, mirrored

TOLERANCE_PX = 0.1


def coded_render(scene, peel_mrad):
    scene = json.loads(json.dumps(scene))
    scene["panel"]["orange_peel"] = {"slope_mrad": peel_mrad, "wavelength_mm": 2.0}
    scene["panel"]["specks"] = 0
    panel, camera, board = make_photo.objects(scene)
    folder = tempfile.mkdtemp(prefix="ripple-check-")
    source = pov_scene.scene_source(scene, panel, camera, board, folder, coded=True)
    camera.k1 = camera.k2 = 0.0  # distortion is not POV-Ray's: make_photo adds it afterwards
    half_w, half_h = camera.width / 2, camera.height / 2
    camera.centre = np.array([half_w - 0.5, half_h - 0.5])
    with open(folder + "/scene.inc", "w") as f:
        f.write(source)
    image = make_photo.run_pov_ray(folder, "coded", camera.width, camera.height,
                                   pov_scene.camera_source(camera, half_w, half_h, (0, 0), (0, 0)), "scene.inc")
    shutil.rmtree(folder)
    return panel, camera, board, image[:, :, ::-1]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("scene")
    parser.add_argument("--width", type=int, default=1000)
    arguments = parser.parse_args()
    with open(arguments.scene) as f:
        scene = json.load(f)
    lens = scene["camera"]
    lens["height_px"] = round(lens["height_px"] * arguments.width / lens["width_px"])
    lens["width_px"] = arguments.width

    panel, camera, board, image = coded_render(scene, 0.0)
    rows, columns = np.meshgrid(np.arange(camera.height), np.arange(camera.width), indexing="ij")
    worst = 0.0

    # The card: blue 0.9. Its colour gives x, y; projecting that must give the pixel back.
    on_card = np.abs(image[:, :, 2] - 0.9) < 1e-3
    x, y = (image[:, :, 0][on_card] - 0.5) * 400, (image[:, :, 1][on_card] - 0.5) * 400
    seen = camera.project(np.stack([x, y, panel.crown(x, y) + pov_scene.PAPER_THICKNESS_MM], -1))
    miss = np.hypot(seen[:, 0] - columns[on_card], seen[:, 1] - rows[on_card])
    # A few pixels along its edge show its underside in the paint.
    largest = np.percentile(miss, 99.5) if on_card.any() else np.inf
    print(f"card: {on_card.sum()} px, mean shift {np.mean(seen[:, 0] - columns[on_card]):+.4f} "
          f"{np.mean(seen[:, 1] - rows[on_card]):+.4f} px, 99.5 % miss {largest:.4f} px")
    worst = max(worst, largest)

    # The board in the mirror: blue 0.6.
    mirror = np.abs(image[:, :, 2] - 0.6) < 1e-3
    u, v = columns[mirror].astype(float), rows[mirror].astype(float)

    def board_point(du, dv):
        ray = camera.ray(u + du, v + dv)
        at = hit_surface(camera.place, ray, panel.height, panel.slopes, steps=30)
        bu, bv, length = board.hit(at, mirrored(ray, panel.normals(at[:, 0], at[:, 1])))
        return np.stack([bu, bv], -1), length, at

    there, length, at = board_point(0, 0)
    told = np.stack([(image[:, :, 0][mirror] - 0.5) * board.width, (image[:, :, 1][mirror] - 0.5) * board.height], -1)
    error = np.linalg.norm(told - there, axis=1)
    per_pixel = np.stack([(board_point(0.01, 0)[0] - there) / 0.01, (board_point(0, 0.01)[0] - there) / 0.01], -1)
    stretch = np.linalg.svd(per_pixel, compute_uv=False)  # mm on the board a pixel, both directions
    slope = error / (2 * length)
    inside = np.abs(panel.relief(at[:, 0], at[:, 1])) > 1e-4
    smooth = ~inside
    miss = error / stretch[:, 0]
    print(f"mirror, undisturbed panel: {smooth.sum()} px, 99.9 % miss {np.percentile(error[smooth] / stretch[smooth, 1], 99.9):.4f} px, "
          f"slope error rms {1e3 * np.sqrt(np.mean(slope[smooth] ** 2)):.5f} mrad")
    worst = max(worst, np.percentile(error[smooth] / stretch[smooth, 1], 99.9))
    if inside.any():
        print(f"mirror, in dents: {inside.sum()} px, 99.9 % miss {np.percentile(miss[inside], 99.9):.4f} px, "
              f"slope error rms {1e3 * np.sqrt(np.mean(slope[inside] ** 2)):.5f}, largest {1e3 * slope[inside].max():.5f} mrad")
        worst = max(worst, np.percentile(miss[inside], 99.9))

    _, _, _, peeled = coded_render(scene, 1.0)
    both = mirror & (np.abs(peeled[:, :, 2] - 0.6) < 1e-3)
    moved = (peeled - image)[:, :, :2][both] * [board.width, board.height]
    # A slope s turns the ray by 2 s; across the plane of incidence the foreshortening cos(incidence) helps. Median
    # incidence serves: this sets a nuisance, not a truth.
    keep = both[mirror]
    ray = camera.ray(u[keep], v[keep])
    cosine = np.abs(np.sum(ray * panel.normals(at[keep, 0], at[keep, 1]), -1))
    slopes = np.linalg.norm(moved, axis=1) / (2 * length[keep] * np.sqrt(0.5 * (1 + cosine ** 2)))
    print(f"orange peel asked 1.0 mrad rms, got {1e3 * np.sqrt(np.mean(slopes ** 2)):.3f} mrad rms")
    print("good" if worst < TOLERANCE_PX else "NOT good")
    return 0 if worst < TOLERANCE_PX else 1


if __name__ == "__main__":
    sys.exit(main())
