#!/usr/bin/python3
"""Draws what stands near dents (body lines, edges, trims, badges, handles, wheel arches) and renders it by the second renderer.

usage: make_surroundings.py --around line|two_lines|edge|trim|badge|handle|arch|all --count N --seed S --out FOLDER

Every other photo has a dent, the others have none. Scenes are drawn as in make_study.py; a good phone in steady hands takes
them: this is about what surrounds. Writes FOLDER/NAME.jpg and NAME.json (what is given, the truth with what surrounds and
how far off it is, and the scene). A photo that is there is not made again. Three megapixels take about 25 seconds on one core.
"""
import argparse
import math
import os

import numpy as np

import bay_covers
import make_bay
import make_photo
import make_study
import relief
from optics import SHEET_CORNERS, mirrored_by_crown, unit
from surroundings import End, Line, Raised, cover_of, first_below

KINDS = ("line", "two_lines", "edge", "trim", "badge", "handle", "arch")

# Ranges. Lengths in mm, angles in degrees.
DIAMETER = (6, 45)
TURN_RAD, ROUNDING, BEYOND_RADIUS, BEND_RADIUS = (0.03, 0.2), (2, 8), (1500, 8000), (2000, 20000)
LINE_OFF, SECOND_LINE_OFF, SECOND_LINE_TURNED = (5, 40), (15, 60), (-8, 8)
COVER_OFF = (8, 60)
GAP, NEXT_TILT, NEXT_LOWER, RIM = (3, 6), (0.5, 3), (0, 1), (1.5, 4)
CARD_CLEAR = 3.0
SEEN_CLEAR = 4.0  # of what is mirrored beside a dent


def card_outline(scale):
    """Points along the sheet's outline."""
    sides = [np.linspace(a, b, 30) for a, b in zip(SHEET_CORNERS, SHEET_CORNERS[1:] + SHEET_CORNERS[:1])]
    return scale * np.concatenate(sides)


def dent_outline(dent, clear=0.0):
    angle = np.linspace(0, 2 * math.pi, 72, endpoint=False)
    turn = math.radians(dent["angle_deg"])
    u, v = (0.5 * dent["length_mm"] + clear) * np.cos(angle), (0.5 * dent["width_mm"] + clear) * np.sin(angle)
    return np.stack([dent["x_mm"] + u * math.cos(turn) - v * math.sin(turn),
                     dent["y_mm"] + u * math.sin(turn) + v * math.cos(turn)], -1)


def either_sign(chance, low, high, minus=0.5):
    return chance.uniform(low, high) * (-1 if chance.random() < minus else 1)


def draw_line(chance, normal_deg, place_mm):
    return {"normal_deg": normal_deg, "place_mm": place_mm, "turn_rad": either_sign(chance, *TURN_RAD, minus=0.3),
            "width_mm": chance.uniform(*ROUNDING), "smooth": bool(chance.random() < 0.5),
            "curvature_per_mm": either_sign(chance, 1 / BEYOND_RADIUS[1], 1 / BEYOND_RADIUS[0], minus=0.2),
            "bend_per_mm": either_sign(chance, 1 / BEND_RADIUS[1], 1 / BEND_RADIUS[0])}


def draw_lines(chance, dent, two):
    """A line beside the dent (on either side), at its outline, or across it."""
    radius = 0.5 * dent["length_mm"]
    off = make_study.pick(chance, (radius + chance.uniform(*LINE_OFF), radius + chance.uniform(*LINE_OFF),
                                   radius + chance.uniform(-3, 5), chance.uniform(0, 0.7) * radius))
    angle = chance.uniform(0, 360)
    place = dent["x_mm"] * math.cos(math.radians(angle)) + dent["y_mm"] * math.sin(math.radians(angle))
    place += off if chance.random() < 0.6 else -off
    lines = [draw_line(chance, angle, place)]
    if two:
        lines.append(draw_line(chance, angle + chance.uniform(*SECOND_LINE_TURNED), place + chance.uniform(*SECOND_LINE_OFF)))
    return lines


def draw_next(chance, dent, normal):
    return {"tilt_deg": either_sign(chance, *NEXT_TILT), "twist_deg": chance.uniform(-0.4, 0.4),
            "lower_mm": chance.uniform(*NEXT_LOWER), "rim_mm": chance.uniform(*RIM),
            "along_mm": normal[0] * dent["y_mm"] - normal[1] * dent["x_mm"]}


def draw_cover(chance, dent, kind):
    """A cover whose nearest point is about as far from the dent's outline as drawn."""
    off = 0.5 * dent["length_mm"] + chance.uniform(*COVER_OFF)
    angle = chance.uniform(0, 360)
    normal = np.array([math.cos(math.radians(angle)), math.sin(math.radians(angle))])
    middle = np.array([dent["x_mm"], dent["y_mm"]])
    if kind == "edge":
        return {"kind": kind, "normal_deg": angle, "place_mm": float(middle @ normal) + off, "rim_mm": chance.uniform(*RIM),
                "gap_mm": chance.uniform(*GAP), "dark": chance.uniform(0.005, 0.03), "next": draw_next(chance, dent, normal)}
    if kind == "arch":
        radius = chance.uniform(280, 400)
        x, y = middle + (off + radius) * normal
        return {"kind": kind, "x_mm": x, "y_mm": y, "radius_mm": radius, "rim_mm": chance.uniform(*RIM),
                "dark": chance.uniform(0.005, 0.03)}
    return draw_raised(chance, kind, middle, normal, off) | {"kind": kind, "angle_deg": angle + 90}


def draw_raised(chance, kind, middle, normal, off):
    along = np.array([-normal[1], normal[0]])
    glossy = kind == "handle" or (kind == "trim" and chance.random() < 0.5)
    if kind == "trim":
        half_width = chance.uniform(2.5, 10)
        cover = {"half_length_mm": 500.0, "half_width_mm": half_width, "height_mm": min(chance.uniform(1, 4), 0.5 * half_width),
                 "bevel_mm": half_width * chance.uniform(0.4, 1)}
        shift = 0.0
    elif kind == "badge":
        half_width = chance.uniform(5, 20)
        cover = {"half_length_mm": chance.uniform(5, 20), "half_width_mm": half_width, "height_mm": chance.uniform(0.6, 2.5),
                 "bevel_mm": chance.uniform(0.8, 2)}
        cover["corner_mm"] = chance.uniform(0.2, 1) * min(half_width, cover["half_length_mm"])
        shift = chance.uniform(-15, 15)
    else:
        half_width = chance.uniform(10, 16)
        cover = {"half_length_mm": chance.uniform(50, 95), "half_width_mm": half_width, "corner_mm": half_width,
                 "bevel_mm": half_width, "height_mm": chance.uniform(7, 15), "sag": chance.uniform(0.2, 0.6)}
        shift = chance.uniform(-25, 25)
    x, y = middle + (off + half_width) * normal + shift * along
    cover |= {"x_mm": x, "y_mm": y, "glossy": bool(glossy), "grey": chance.uniform(0.01, 0.06 if glossy else 0.5)}
    if glossy and chance.random() < 0.3:
        cover["metal"] = chance.uniform(0.1, 0.4)
    return cover


def hidden(scene, panel, camera, board, points):
    """Whether something raised stands before any of these points of the panel, as the camera or as the board sees them."""
    at, seen = mirrored_by_crown(panel, camera.place, points[:, 0], points[:, 1])
    for cover in (c for c in map(cover_of, scene["covers"]) if isinstance(c, Raised)):
        def top(x, y, cover=cover):
            raised = cover.height(x, y)
            return np.where(raised > 0, panel.crown(x, y) + raised, -np.inf)
        for way in (unit(camera.place - at), seen):
            end = at + 1.2 * cover.top / np.maximum(way[:, 2:], 0.05) * way
            if np.any(~np.isnan(first_below(at, end, top, steps=40, rounds=0))):
                return True
    return False


def distance_of(thing, points):
    """From points of the panel to what surrounds: to a line's middle on either side, to a cover's rim."""
    beyond = thing.beyond(points[:, 0], points[:, 1])
    if isinstance(thing, Raised):
        return float(np.min(beyond))
    if isinstance(thing, End):
        return float(np.min(-beyond))
    return 0.0 if beyond.min() < 0 < beyond.max() else float(np.min(np.abs(beyond)))


def things(scene):
    return [Line(line) for line in scene["lines"]] + [cover_of(c) for c in scene["covers"]]


def clear_of_card(scene):
    outline = card_outline(scene["card"]["bar_mm"] / 100)
    for thing in things(scene):
        clear = CARD_CLEAR
        if isinstance(thing, Line):  # all of the card on its near side
            off = float(np.min(-thing.beyond(outline[:, 0], outline[:, 1]))) - 0.5 * thing.width
        else:
            off = distance_of(thing, outline)
            clear += thing.rim if isinstance(thing, End) else 1.2 * thing.top  # what stands high hides what is behind it
        if off < clear:
            return False
    return True


def clear_of_dent(scene, dent):
    around = dent_outline(dent)
    return all(COVER_OFF[0] <= distance_of(cover_of(c), around) <= COVER_OFF[1] for c in scene["covers"])


def lines_seen(scene):
    """Whether the board is mirrored on either side of the line nearest to the dent, where it is nearest."""
    panel, camera, board = make_photo.objects(scene)
    line, (x, y) = panel.lines[0], scene["board"]["reflects_at_mm"]
    nx, ny = line.normal
    s = line.beyond(np.array(x), np.array(y))
    places = [(x + (off - s) * nx, y + (off - s) * ny) for off in (-line.width, line.width)]
    return make_study.on_board(np.array(places), 0, panel, camera, board)


def surround(chance, scene, kind):
    dent = scene["dents"][0]
    lines = draw_lines(chance, dent, kind == "two_lines") if kind in ("line", "two_lines") else []
    covers = [] if lines else [draw_cover(chance, dent, kind)]
    scene = make_study.rounded(scene | {"lines": lines, "covers": covers})
    # a bend or curvature has more digits than four
    for line, drawn in zip(scene["lines"], lines):
        line |= {k: round(drawn[k], 9) for k in ("curvature_per_mm", "bend_per_mm")}
    if not clear_of_card(scene) or not clear_of_dent(scene, dent) or not make_study.could_be_taken(scene, "single"):
        return None
    if lines and not lines_seen(scene):
        return None
    card = card_outline(scene["card"]["bar_mm"] / 100)
    points = np.concatenate([dent_outline(dent, SEEN_CLEAR), [[dent["x_mm"], dent["y_mm"]]], card])
    return None if covers and hidden(scene, *make_photo.objects(scene), points) else scene


def draw_scene(chance, kind, with_dent, megapixels, seed):
    for _ in range(20000):
        scene = make_bay.draw_scene(chance, megapixels, seed)
        if not DIAMETER[0] <= relief.truth(scene["dents"][0], 300)["rim"]["eq_diameter"] <= DIAMETER[1]:
            continue
        scene["camera"]["lens_samples"] = 4
        for _ in range(30):
            surrounded = surround(chance, scene, kind)
            if surrounded:
                break
        else:
            continue
        surrounded |= make_study.rounded({"bay": draw_mild_bay(chance), "phone": draw_good_phone(chance)})
        if not with_dent:
            surrounded["dents"] = []
        return surrounded
    raise SystemExit(f"{kind}: no scene found that could be taken")


def draw_mild_bay(chance):
    return {"peel": [{"slope_mrad": chance.uniform(0.1, 0.6), "wavelength_mm": chance.uniform(1, 4)}],
            "dust": int(chance.integers(50, 500)), "scratches": int(chance.integers(0, 4)),
            "room_level": chance.uniform(0.02, 0.08), "lamps": int(chance.integers(1, 5)), "beams": int(chance.integers(0, 4)),
            "bow_mm": chance.normal(0, 0.3), "bow_angle_deg": 0.0, "gradient_u": chance.uniform(-0.2, 0.2),
            "gradient_v": chance.uniform(-0.2, 0.2), "light_x_per_mm": chance.uniform(-0.001, 0.001),
            "light_y_per_mm": chance.uniform(-0.001, 0.001), "lift_mm": 0.0, "haze": 0.0}


def draw_good_phone(chance):
    return {"psf_px": chance.uniform(0.5, 0.7), "corner_blur_px": 1.2, "red_scale": 1 + chance.normal(0, 5e-5),
            "blue_scale": 1 + chance.normal(0, 5e-5), "bloom": 0.005, "vignette": chance.uniform(0.05, 0.15),
            "exposure": chance.uniform(0.75, 1.0), "full_well": 8000.0, "read_noise": 0.001, "gamma": 2.2,
            "luma_nr": chance.uniform(0, 0.5), "s_curve": chance.uniform(0, 0.2), "saturation": 1.1,
            "sharpen": {"amount": chance.uniform(0.2, 0.6), "radius": 1.4}, "jpeg_quality": int(chance.integers(88, 95)),
            "messenger": False}


def told(scene):
    """What surrounds, and how far it is from the dent's outline or from where one might have been."""
    spots = np.concatenate([dent_outline(d) for d in scene["dents"]]) if scene["dents"] else np.array(
        [scene["board"]["reflects_at_mm"]])
    kinds = ["line"] * len(scene["lines"]) + [c["kind"] for c in scene["covers"]]
    return [{"kind": k, "from_dent_mm" if scene["dents"] else "from_middle_mm": round(distance_of(t, spots), 2)}
            for k, t in zip(kinds, things(scene))]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--around", choices=KINDS + ("all",), default="all")
    parser.add_argument("--count", type=int, default=8, help="of each kind")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", required=True)
    parser.add_argument("--megapixels", type=float, default=3.0)
    arguments = parser.parse_args()
    for kind in KINDS if arguments.around == "all" else (arguments.around,):
        folder = os.path.join(arguments.out, kind)
        os.makedirs(folder, exist_ok=True)
        for i in range(arguments.count):
            name = f"{kind}-{arguments.seed}-{i:03d}"
            if os.path.exists(os.path.join(folder, name + ".json")):
                continue
            chance = np.random.default_rng([arguments.seed, i, KINDS.index(kind), 99])
            scene = draw_scene(chance, kind, i % 2 == 0, arguments.megapixels, 1000 * arguments.seed + i)
            make_bay.make(scene, name, folder, bay_covers.CoveredScene, {"surroundings": told(scene)})
            print(name, flush=True)


if __name__ == "__main__":
    main()
