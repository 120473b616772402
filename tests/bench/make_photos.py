#!/usr/bin/python3
"""Makes the large photos that the figures in src/guide/performance.md are taken from.

usage: make_photos.py OUT_FOLDER

Ray-traces two sample scenes again as a 12-megapixel phone would have taken them (five to ten minutes each, once:
photos that are there already are kept) and enlarges the first to 48 megapixels for the memory figures. Needs
POV-Ray and Python's OpenCV (Debian: povray python3-opencv).
"""
import copy
import json
import os
import sys
import tempfile

import cv2

SCENES = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../../samples/scenes")
sys.path.insert(0, SCENES)
import make_photo  # noqa: E402

FURTHER_DENTS = [(45, 56, 6.5), (83, 72, 9.0), (80, 33, 7.5)]  # x, y, diameter in mm: with hail's five, eight


def scene(name):
    with open(os.path.join(SCENES, "samples", name + ".json")) as f:
        scene = json.load(f)
    scene["camera"].update(width_px=4000, height_px=3000)
    return scene


def eight_dents():
    hail = scene("hail")
    for x, y, size in FURTHER_DENTS:
        hail["dents"].append({"shape": "gauss", "kind": "low", "x_mm": x, "y_mm": y, "length_mm": size,
                              "width_mm": 0.93 * size, "angle_deg": 30, "depth_mm": 0.01 * size})
    return hail


def enlarged(one_dent, out):
    """Twice as wide and high; EXIF tells the focal length by the diagonal, so it stays true."""
    scene_12 = copy.deepcopy(one_dent)
    image = cv2.imread(os.path.join(out, "one-12mp.jpg"), cv2.IMREAD_IGNORE_ORIENTATION | cv2.IMREAD_COLOR)
    image = cv2.resize(image, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    make_photo.write_jpeg(os.path.join(out, "one-48mp.jpg"), image, scene_12)


def render(scene, name, out):
    if os.path.exists(os.path.join(out, name + ".jpg")):
        return
    with tempfile.TemporaryDirectory() as folder:
        path = os.path.join(folder, name + ".json")
        with open(path, "w") as f:
            json.dump(scene, f)
        make_photo.make(path, out)


def main():
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    out = sys.argv[1]
    one = scene("low-dark")
    render(one, "one-12mp", out)
    if not os.path.exists(os.path.join(out, "one-48mp.jpg")):
        enlarged(one, out)
    render(eight_dents(), "eight-12mp", out)


if __name__ == "__main__":
    main()
