#!/usr/bin/python3
"""Renders one invented scene as a phone photo, with the truth beside it.

usage: make_photo.py SCENE.json OUT_FOLDER [--keep FOLDER]

Writes OUT_FOLDER/NAME.jpg and NAME.json. Needs POV-Ray and Python's OpenCV (Debian: povray python3-opencv).
README.md beside this file describes the scene's keys.
"""
import argparse
import json
import math
import os
import shutil
import struct
import subprocess
import sys
import tempfile

import cv2
import numpy as np

import pov_scene
import relief
from optics import FULL_FRAME_DIAGONAL_MM, Board, Camera

POV_RAY = ["nice", "-n", "10", "povray", "-D", "-V", "-A", "+FN16", "File_Gamma=1.0", "Work_Threads=1"]


def run_pov_ray(folder, name, width, height, camera_text, scene_file):
    """Renders linear 16-bit light; POV-Ray samples the middle of each pixel. BGR float in 0..1."""
    with open(os.path.join(folder, name + ".pov"), "w") as f:
        f.write(f'#include "{scene_file}"\n' + camera_text)
    done = subprocess.run(POV_RAY + [f"+I{name}.pov", f"+O{name}.png", f"+W{width}", f"+H{height}"], cwd=folder,
                          stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True)
    picture = os.path.join(folder, name + ".png")
    if done.returncode != 0 or not os.path.exists(picture):
        sys.exit(f"POV-Ray failed on {name}:\n{done.stderr[-1500:]}")
    image = cv2.imread(picture, cv2.IMREAD_UNCHANGED)[:, :, :3]
    os.remove(picture)
    return image.astype(np.float32) / 65535.0


def sample_points(count):
    """`count` points on the lens (unit disc, sunflower) and in the pixel (additive recurrence), both with mean zero."""
    golden, plastic = (math.sqrt(5) - 1) / 2, 1.324717957244746
    i = np.arange(count)
    radius, angle = np.sqrt((i + 0.5) / count), 2 * math.pi * golden * i
    lens = np.stack([radius * np.cos(angle), radius * np.sin(angle)], -1)
    pixel = np.stack([(0.5 + (i + 1) / plastic) % 1, (0.5 + (i + 1) / plastic ** 2) % 1], -1)
    return zip(lens - lens.mean(axis=0), pixel - pixel.mean(axis=0))


def render(scene, camera, source, folder):
    """Light on the sensor, before distortion, with a margin for it: (image, margin in px left and top)."""
    with open(os.path.join(folder, "scene.inc"), "w") as f:
        f.write(source)
    edge_u = np.concatenate([np.linspace(0, camera.width - 1, 60)] * 2 + [np.zeros(60), np.full(60, camera.width - 1)])
    edge_v = np.concatenate([np.zeros(60), np.full(60, camera.height - 1)] + [np.linspace(0, camera.height - 1, 60)] * 2)
    x, y = camera.undistorted(edge_u, edge_v)
    # The pinhole picture is centred on the optical axis and reaches just beyond the outermost ray.
    half_width = math.ceil(np.max(np.abs(x)) * camera.focal_px) + 6
    half_height = math.ceil(np.max(np.abs(y)) * camera.focal_px) + 6
    count = scene["camera"].get("lens_samples", 10)
    total = None
    for i, (lens, pixel) in enumerate(sample_points(count)):
        offset = [camera.aperture_radius_mm * c for c in lens]
        image = run_pov_ray(folder, f"sample{i}", 2 * half_width, 2 * half_height,
                            pov_scene.camera_source(camera, half_width, half_height, offset, pixel), "scene.inc")
        total = image if total is None else total + image
    return total / count, (half_width - 0.5, half_height - 0.5)  # pixel (0,0)'s middle is half a pixel in


def develop(scene, camera, light, axis, chance):
    """Lens, sensor and the phone's tone curve: 8-bit BGR."""
    sensor = scene.get("sensor", {})
    blur = sensor.get("psf_px", 0.9)
    light = cv2.GaussianBlur(light, (0, 0), blur)
    if sensor.get("motion_px"):
        length, angle = sensor["motion_px"], math.radians(sensor.get("motion_angle_deg", 0.0))
        size = 2 * math.ceil(length / 2) + 3
        kernel = np.zeros((size, size), np.float32)
        for t in np.linspace(-0.5, 0.5, 200):
            px, py = size // 2 + t * length * math.cos(angle), size // 2 + t * length * math.sin(angle)
            kernel[int(round(py)), int(round(px))] += 1
        light = cv2.filter2D(light, -1, kernel / kernel.sum())
    u, v = np.meshgrid(np.arange(camera.width, dtype=float), np.arange(camera.height, dtype=float))
    x, y = camera.undistorted(u, v)
    light = cv2.remap(light, (x * camera.focal_px + axis[0]).astype(np.float32),
                      (y * camera.focal_px + axis[1]).astype(np.float32), cv2.INTER_CUBIC)
    gain = sensor.get("exposure", 0.8) / max(1e-6, float(np.percentile(light.max(axis=2), 98)))
    corner = (x * x + y * y) / float(np.max(x * x + y * y))
    light = np.clip(light * gain, 0, 4) * (1 - sensor.get("vignette", 0.1) * corner)[:, :, None]
    sigma = np.sqrt(light / sensor.get("full_well", 8000) + sensor.get("read_noise", 0.003) ** 2)
    noise = chance.standard_normal(light.shape, dtype=np.float32)
    smooth = sensor.get("noise_blur_px", 0.0)  # demosaicing and denoising leave noise that is not white
    if smooth:
        noise = cv2.GaussianBlur(noise, (0, 0), smooth) * 2 * math.sqrt(math.pi) * smooth
    light = np.clip(light + sigma * noise, 0, 1)
    tone = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.power(np.maximum(light, 1e-9), 1 / 2.4) - 0.055)
    if sensor.get("sharpen"):
        tone = tone + sensor["sharpen"] * (tone - cv2.GaussianBlur(tone, (0, 0), 1.2))
    return np.clip(np.rint(tone * 255), 0, 255).astype(np.uint8)


def exif(focal_35_mm, taken, orientation):
    """The few entries a phone writes that matter here: orientation, date, 35 mm equivalent focal length."""
    def entry(tag, kind, count, value):
        return struct.pack(">HHI", tag, kind, count) + value

    date = taken.encode() + b"\0"
    short = lambda v: struct.pack(">HH", v, 0)  # noqa: E731
    first_at, first_count = 8, 3
    date_at = first_at + 2 + 12 * first_count + 4
    second_at = date_at + len(date)
    second_count = 3
    second_date_at = second_at + 2 + 12 * second_count + 4
    body = b"MM\0*" + struct.pack(">I", first_at) + struct.pack(">H", first_count)
    body += entry(0x0112, 3, 1, short(orientation)) + entry(0x0132, 2, 20, struct.pack(">I", date_at))
    body += entry(0x8769, 4, 1, struct.pack(">I", second_at)) + struct.pack(">I", 0) + date
    body += struct.pack(">H", second_count) + entry(0x9000, 7, 4, b"0232")
    body += entry(0x9003, 2, 20, struct.pack(">I", second_date_at))
    body += entry(0xA405, 3, 1, short(focal_35_mm)) + struct.pack(">I", 0) + date
    segment = b"Exif\0\0" + body
    return b"\xff\xe1" + struct.pack(">H", len(segment) + 2) + segment


def write_jpeg(path, image, scene):
    orientation = scene["camera"].get("exif_orientation", 1)
    turned = {1: None, 3: cv2.ROTATE_180, 6: cv2.ROTATE_90_COUNTERCLOCKWISE, 8: cv2.ROTATE_90_CLOCKWISE}[orientation]
    if turned is not None:
        image = cv2.rotate(image, turned)
    ok, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, scene.get("jpeg_quality", 92)])
    if not ok:
        sys.exit("JPEG encoding failed")
    data = data.tobytes()
    # The focal length is by the diagonal; a phone writes it as a whole number.
    header = exif(round(scene["camera"]["focal_35_mm"]), scene.get("taken", "2026:04:02 09:30:00"), orientation)
    with open(path, "wb") as f:
        f.write(data[:2] + header + data[2:])


def objects(scene):
    panel = relief.Panel(scene["panel"], scene.get("dents", []), scene.get("lines", []))
    camera = Camera(scene["camera"], panel)
    return panel, camera, Board(scene["board"], camera, panel)


def answers(scene, panel, camera, board):
    """What the user would be told to type, and what the measurement should say."""
    dents = scene.get("dents", [])
    spots = [(d["x_mm"], d["y_mm"]) for d in dents] or [tuple(scene["board"]["reflects_at_mm"])]
    x, y = (float(np.mean(c)) for c in zip(*spots))
    distance, tilt = board.view_from(camera, panel, x, y)
    card = scene.get("card") or {}
    given = {"board_pitch_mm": scene["board"]["pitch_mm"],
             "board_distance_mm": round(distance + scene["board"].get("tape_error_mm", 0.0)),
             "check_bar_mm": round(card.get("bar_mm", 100.0), 1)}
    return {"given": given, "truth": {"dents": [relief.truth(d) for d in dents]}, "fault": scene.get("fault"),
            "after": scene.get("after"), "true_board_distance_mm": round(distance, 2),
            "true_board_tilt_deg": round(tilt, 2)}


def make(scene_path, out, keep=None):
    with open(scene_path) as f:
        scene = json.load(f)
    if scene.get("lines") or scene.get("covers"):
        sys.exit(f"{scene_path}: `lines` and `covers` are not POV-Ray's here; make_surroundings.py renders them")
    name = os.path.splitext(os.path.basename(scene_path))[0]
    panel, camera, board = objects(scene)
    os.makedirs(out, exist_ok=True)
    folder = keep or tempfile.mkdtemp(prefix="ripple-scene-")
    os.makedirs(folder, exist_ok=True)
    try:
        light, axis = render(scene, camera, pov_scene.scene_source(scene, panel, camera, board, folder), folder)
    finally:
        if not keep:
            shutil.rmtree(folder)
    image = develop(scene, camera, light, axis, np.random.default_rng(scene.get("seed", 1)))
    result = answers(scene, panel, camera, board)
    if scene["board"].get("tags"):
        result["given"]["board_file"] = name + "-board.json"
        result["given"]["board_distance_mm"] = None
        with open(os.path.join(out, name + "-board.json"), "w") as f:
            json.dump({"schema": 1, "name": "bench board", "pitch_mm": scene["board"]["pitch_mm"],
                       "printed_mirrored": True, "tags": scene["board"]["tags"]}, f, indent=1)
    write_jpeg(os.path.join(out, name + ".jpg"), image, scene)
    with open(os.path.join(out, name + ".json"), "w") as f:
        json.dump(result, f, indent=1)
        f.write("\n")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("scene")
    parser.add_argument("out")
    parser.add_argument("--keep", help="keep POV-Ray's files in this folder")
    arguments = parser.parse_args()
    make(arguments.scene, arguments.out, arguments.keep)
