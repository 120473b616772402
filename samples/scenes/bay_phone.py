"""What a phone does to light before a JPEG is written: lens, sensor, noise reduction, tone, sharpening, messenger."""
import math

import cv2
import numpy as np


def _lens(light, phone):
    height, width = light.shape[:2]
    u, v = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    cx, cy = 0.5 * (width - 1), 0.5 * (height - 1)
    for channel, scale in ((0, phone["blue_scale"]), (2, phone["red_scale"])):
        light[..., channel] = cv2.remap(light[..., channel], cx + (u - cx) * scale, cy + (v - cy) * scale,
                                        cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    light = cv2.GaussianBlur(light, (0, 0), phone["psf_px"])
    corner = ((u - cx) ** 2 + (v - cy) ** 2) / (cx * cx + cy * cy)
    soft = cv2.GaussianBlur(light, (0, 0), phone["corner_blur_px"])
    light = light + corner[..., None] * (soft - light)
    if phone["bloom"]:
        small = cv2.resize(light, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
        wide = cv2.resize(cv2.GaussianBlur(small, (0, 0), 6), (width, height))
        light = (1 - phone["bloom"]) * light + phone["bloom"] * wide
    return light * (1 - phone["vignette"] * corner)[..., None]


def _mosaic(light):
    """One colour a pixel, then interpolated again, as every phone does."""
    raw = light[..., 1].copy()
    raw[0::2, 0::2], raw[1::2, 1::2] = light[0::2, 0::2, 0], light[1::2, 1::2, 2]
    sixteen = np.clip(raw * 65535, 0, 65535).astype(np.uint16)
    return cv2.cvtColor(sixteen, cv2.COLOR_BayerRG2BGR).astype(np.float32) / 65535


def _local_tone(tone, local):
    grey = cv2.cvtColor(tone, cv2.COLOR_BGR2GRAY)
    if local["kind"] == "tiles":
        tiles = cv2.createCLAHE(local["clip"], (8, 8)).apply((grey * 65535).astype(np.uint16)).astype(np.float32) / 65535
        wanted = (1 - local["mix"]) * grey + local["mix"] * tiles
    else:
        base = cv2.GaussianBlur(grey, (0, 0), local["sigma"] * tone.shape[1])
        wanted = local["compress"] * base + (1 - local["compress"]) * float(base.mean()) + local["detail"] * (grey - base)
    return np.clip(tone * (np.clip(wanted, 0, None) / np.maximum(grey, 1e-3))[..., None], 0, 1)


def develop(light, phone, chance):
    """8-bit BGR of linear light."""
    light = _lens(light.astype(np.float32), phone)
    light *= phone["exposure"] / max(1e-6, float(np.percentile(light.max(axis=2), 97)))
    if phone.get("motion_px"):
        size = 2 * math.ceil(phone["motion_px"]) + 3
        kernel = np.zeros((size * 8, size * 8), np.float32)
        along = np.array([math.cos(phone["motion_angle"]), math.sin(phone["motion_angle"])]) * 4 * phone["motion_px"]
        middle = np.array([size * 4, size * 4])
        cv2.line(kernel, tuple(int(c) for c in middle - along), tuple(int(c) for c in middle + along), 1.0, 4)
        kernel = cv2.resize(kernel, (size, size), interpolation=cv2.INTER_AREA)
        light = cv2.filter2D(light, -1, kernel / kernel.sum())
    light = np.clip(light, 0, 2)
    sigma = np.sqrt(light / phone["full_well"] + phone["read_noise"] ** 2)
    light = np.clip(light + sigma * chance.standard_normal(light.shape, dtype=np.float32), 0, 1)
    light = _mosaic(light)
    tone = np.power(np.maximum(light, 1e-6), 1 / phone["gamma"])
    if phone["luma_nr"]:
        tone = cv2.bilateralFilter(tone, 5, 0.03 * phone["luma_nr"], 1.5)
    s = phone["s_curve"]
    tone = (1 - s) * tone + s * (3 * tone ** 2 - 2 * tone ** 3)
    if phone.get("local"):
        tone = _local_tone(tone.astype(np.float32), phone["local"])
    grey = tone.mean(axis=2, keepdims=True)
    tone = grey + phone["saturation"] * (tone - grey)
    if phone.get("sharpen"):
        tone = tone + phone["sharpen"]["amount"] * (tone - cv2.GaussianBlur(tone, (0, 0), phone["sharpen"]["radius"]))
    return np.clip(np.rint(tone * 255), 0, 255).astype(np.uint8)


def messenger(image, longest_px):
    """What a chat program makes of a photo."""
    factor = longest_px / max(image.shape[:2])
    return image if factor >= 1 else cv2.resize(image, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
