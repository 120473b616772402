"""Writes a scene as POV-Ray source. The panel becomes a fine mesh with exact normals; the rest are POV-Ray's own shapes."""
import math
import os

import cv2
import numpy as np

from optics import SHEET, SHEET_BOX, mirrored_by_crown, normal_of, unit

# Radiance is counted so that a mirror of 4 % (clear coat seen head-on) shows the board's light stripes as `bright`.
CLEAR_COAT = 0.04
CLEAR_COAT_INDEX = 1.5
PAPER_THICKNESS_MM = 0.1
CELL_MM = 5.0  # coarse panel: a pure crown is a quadratic, whose normals interpolate exactly
CARD_TAGS = [(0, 0, 0), (1, 25, 0), (2, 50, 0), (3, 75, 0), (4, 100, 0), (5, 0, 25), (6, 0, 50), (7, 0, 75)]
TAG_SIDE_MM = 18.0

PAINTS = {
    "dark": {"colour": [0.012, 0.014, 0.02], "shine": 0.0, "flake": 0.0},
    "red": {"colour": [0.12, 0.01, 0.012], "shine": 0.0, "flake": 0.0},
    "light": {"colour": [0.36, 0.36, 0.34], "shine": 0.0, "flake": 0.0},
    "metallic": {"colour": [0.12, 0.125, 0.135], "shine": 0.10, "flake": 0.15},
}

# rms slope of POV-Ray's noise function where its lattice is 1 mm wide (check_renderer.py measures what comes out).
PEEL_SLOPE_PER_HEIGHT = 0.504
# POV-Ray moves a normal by -(20/3) * 0.02 * amount * gradient for a function pattern with its default accuracy of 0.02.
PEEL_BUMP = 7.5


def number(v):
    return f"{float(v):.9g}"


def vector(v):
    return "<" + ",".join(number(c) for c in v) + ">"


def tag_cells(tag):
    """8 x 8 cells, border included, 1 = white; row 0 at the tag's top."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    draw = getattr(cv2.aruco, "generateImageMarker", None) or cv2.aruco.drawMarker
    return (draw(dictionary, tag, 8) > 127).astype(np.uint8)


def card_picture(path):
    """The sheet at 0.25 mm a pixel: every edge of the print lies on a pixel's edge."""
    x0, y0, x1, y1 = SHEET_BOX
    picture = np.full(((y1 - y0) * 4, (x1 - x0) * 4), 255, np.uint8)
    for tag, x, y in CARD_TAGS:
        cells = np.kron(tag_cells(tag), np.ones((9, 9), np.uint8))
        left, top = int((x - 9 - x0) * 4), int((y1 - (y + 9)) * 4)
        picture[top:top + 72, left:left + 72] = np.where(cells, 255, 14)
    cv2.imwrite(path, picture)


def board_tag_picture(path, tag, mirrored_print):
    cells = np.pad(tag_cells(tag), 1, constant_values=1)
    if mirrored_print:
        cells = cells[:, ::-1]
    cv2.imwrite(path, np.kron(cells, np.ones((8, 8), np.uint8)) * 255)


def mesh(points, normals, faces, rest):
    def block(name, rows, form):
        return f"{name}{{{len(rows)},\n" + ",\n".join(form % tuple(r) for r in rows) + "}\n"

    return ("mesh2{\n" + block("vertex_vectors", points, "<%.6f,%.6f,%.8f>")
            + block("normal_vectors", normals, "<%.9f,%.9f,%.9f>") + block("face_indices", faces, "<%d,%d,%d>")
            + rest + "}\n")


def grid(xs, ys):
    x, y = np.meshgrid(xs, ys)
    i = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (w.ravel() for w in (i[:-1, :-1], i[:-1, 1:], i[1:, 1:], i[1:, :-1]))
    return x.ravel(), y.ravel(), np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)])


def panel_source(panel, extent, finish, steps_across):
    """One coarse mesh of the crown with openings, a fine patch in each, and a backing behind the seams.

    At a seam the fine edge follows the crown and the coarse one cuts straight, a micrometre apart: now and then a ray
    would slip through and see the floor.
    """
    x0, y0, x1, y1 = extent
    nx, ny = round((x1 - x0) / CELL_MM), round((y1 - y0) / CELL_MM)
    patches = []  # cell index boxes
    for dent in panel.dents:
        r, px, py = dent.reach_mm(), dent.dent["x_mm"], dent.dent["y_mm"]
        box = [math.floor((px - r - x0) / CELL_MM), math.floor((py - r - y0) / CELL_MM),
               math.ceil((px + r - x0) / CELL_MM), math.ceil((py + r - y0) / CELL_MM),
               2 * min(dent.half) * dent.dent.get("finest", 1.0) / steps_across]
        box[:4] = [max(0, box[0]), max(0, box[1]), min(nx, box[2]), min(ny, box[3])]
        merged = True
        while merged:
            merged = False
            for other in patches:
                if box[0] < other[2] and other[0] < box[2] and box[1] < other[3] and other[1] < box[3]:
                    patches.remove(other)
                    box = [min(box[0], other[0]), min(box[1], other[1]), max(box[2], other[2]),
                           max(box[3], other[3]), min(box[4], other[4])]
                    merged = True
                    break
        patches.append(box)

    source = []
    x, y, faces = grid(x0 + CELL_MM * np.arange(nx + 1), y0 + CELL_MM * np.arange(ny + 1))
    normals = normal_of(*panel.crown_slopes(x, y))
    points = np.stack([x, y, panel.crown(x, y)], -1)
    cell_x, cell_y = np.meshgrid(np.arange(nx), np.arange(ny))
    keep = np.ones((ny, nx), bool)
    for box in patches:
        keep &= ~((cell_x >= box[0]) & (cell_x < box[2]) & (cell_y >= box[1]) & (cell_y < box[3]))
    seam = cv2.dilate(keep.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    seam &= cv2.dilate((~keep).astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    source.append(mesh(points, normals, faces[np.tile(keep.ravel(), 2)], finish))
    if patches:
        below = points - [0.0, 0.0, 2.5]  # deeper than any dent
        source.append(mesh(below, normals, faces[np.tile(seam.ravel(), 2)], finish))
    for box in patches:
        step = box[4]
        xs = np.linspace(x0 + CELL_MM * box[0], x0 + CELL_MM * box[2],
                         1 + math.ceil(CELL_MM * (box[2] - box[0]) / step))
        ys = np.linspace(y0 + CELL_MM * box[1], y0 + CELL_MM * box[3],
                         1 + math.ceil(CELL_MM * (box[3] - box[1]) / step))
        x, y, faces = grid(xs, ys)
        source.append(mesh(np.stack([x, y, panel.height(x, y)], -1), panel.normals(x, y), faces, finish))
    return "".join(source)


def card_source(panel, card, folder, number_of_card, coded):
    scale = card.get("bar_mm", 100.0) / 100.0
    angle = math.radians(card.get("angle_deg", 0.0))
    ox, oy = card.get("x_mm", 0.0), card.get("y_mm", 0.0)
    picture = os.path.join(folder, f"card{number_of_card}.png")
    card_picture(picture)
    x0, y0, x1, y1 = SHEET_BOX
    # Image maps lie on the unit square of x and y, as the print lies on the card frame's.
    turn = f"rotate z*{number(math.degrees(angle))} translate {vector([ox, oy, 0])}"
    if coded:
        axes = [f"[1 function{{{a}/400+0.5}} color_map{{[0 rgb <0,0,0.9>][1 rgb <{c},0.9>]}}]"
                for a, c in (("x", "2,0"), ("y", "0,2"))]
        look = (f"texture{{pigment{{average pigment_map{{{' '.join(axes)}}}}} "
                "finish{emission 1 ambient 0 diffuse 0}}")
    else:
        look = (f'texture{{pigment{{image_map{{png "{os.path.basename(picture)}" gamma 1.0 once}} '
                f"scale {vector([(x1 - x0) * scale, (y1 - y0) * scale, 1])} "
                f"translate {vector([x0 * scale, y0 * scale, 0])} {turn}}} "
                f"finish{{emission {number(card.get('white', 0.5))} ambient 0 diffuse {number(card.get('shade', 0.1))}}}}}")
    pieces = [SHEET[0], (SHEET[1][0], SHEET[0][3], SHEET[1][2], SHEET[1][3])]
    source = []
    for a0, b0, a1, b1 in pieces:
        a, b, faces = grid(np.linspace(a0, a1, 2 + int((a1 - a0) / 2)) * scale,
                           np.linspace(b0, b1, 2 + int((b1 - b0) / 2)) * scale)
        x = ox + a * math.cos(angle) - b * math.sin(angle)
        y = oy + a * math.sin(angle) + b * math.cos(angle)
        slope_x, slope_y = panel.crown_slopes(x, y)
        normals = np.stack([-slope_x, -slope_y, np.ones_like(x)], -1)
        source.append(mesh(np.stack([x, y, panel.crown(x, y) + PAPER_THICKNESS_MM], -1), normals, faces, look))
    return "".join(source)


def board_source(board_frame, board, folder, coded):
    hw, hh = board["width_mm"] / 2, board["height_mm"] / 2
    place = f"matrix <{','.join(number(c) for w in (board_frame.u, board_frame.v, board_frame.n, board_frame.centre) for c in w)}>"
    rectangle = f"polygon{{5,<{-hw},{-hh},0>,<{hw},{-hh},0>,<{hw},{hh},0>,<{-hw},{hh},0>,<{-hw},{-hh},0>"
    if coded:
        axes = [f"[1 function{{{a}/{2 * h}+0.5}} color_map{{[0 rgb <0,0,{b}>][1 rgb <{c},{b}>]}}]"
                for a, h, b, c in (("x", hw, 0.6, "2,0"), ("y", hh, 0.6, "0,2"))]
        return (f"{rectangle} pigment{{average pigment_map{{{' '.join(axes)}}}}} "
                f"finish{{emission 1 ambient 0 diffuse 0}} {place}}}\n")
    pitch, duty, edge = board["pitch_mm"], board.get("duty", 0.5), max(1e-3, board.get("edge_mm", 0.2))
    bright, dark = board.get("bright", 0.7), board.get("dark", 0.04)
    fall, fall_angle = board.get("falloff", 0.0), math.radians(board.get("falloff_angle_deg", 30.0))
    diagonal = math.hypot(hw, hh)
    top = 1 + fall
    stripe = f"min(max(({number(duty * pitch / 2)}-abs(mod(y/{number(pitch)}+{number(board.get('phase', 0.0))}+100,1)-0.5)*{number(pitch)})/{number(edge)}+0.5,0),1)"
    level = (f"({number(dark / bright)}+{number(1 - dark / bright)}*{stripe})*"
             f"(1+{number(fall)}*(x*{number(math.cos(fall_angle))}+y*{number(math.sin(fall_angle))})/{number(diagonal)})/{number(top)}")
    glow = f"finish{{emission {number(bright * top / CLEAR_COAT)} ambient 0 diffuse 0}}"
    parts = [f"{rectangle} texture{{pigment{{function{{{level}}} color_map{{[0 rgb 0][1 rgb 1]}}}} {glow}}}}}",
             # its back: plain cardboard, a little behind
             f"{rectangle} texture{{pigment{{rgb 0.25}} finish{{emission 0.5 ambient 0 diffuse 0}}}} translate -z*0.5}}"]
    for tag in board.get("tags", []):
        picture = f"tag{tag['id']}.png"
        board_tag_picture(os.path.join(folder, picture), tag["id"], board.get("printed_mirrored", True))
        side = tag["side_mm"] * 10 / 8
        parts.append(f'polygon{{5,<0,0,0>,<1,0,0>,<1,1,0>,<0,1,0>,<0,0,0> texture{{pigment{{image_map{{png "{picture}" gamma 1.0 '
                     f"once}}}} finish{{emission {number(bright / CLEAR_COAT)} ambient {number(0)} diffuse 0}}}} "
                     f"translate <-0.5,-0.5,0> scale <{number(side)},{number(side)},1> "
                     f"translate {vector([tag['x_mm'], tag['y_mm'], 0.05])}}}")
    return "union{" + "\n".join(parts) + f" {place}}}\n"


def lamp_source(lamp, camera, panel):
    """A bright strip, placed where the panel mirrors it at `reflects_at_mm`."""
    at, ray = mirrored_by_crown(panel, camera.place, *lamp["reflects_at_mm"])
    n = -ray
    u = unit(np.cross([0.0, 0.0, 1.0], n))
    v = np.cross(n, u)
    centre = at + lamp["distance_mm"] * ray
    half_l, half_w = lamp["length_mm"] / 2, lamp["width_mm"] / 2
    place = f"matrix <{','.join(number(c) for w in (u, v, n, centre) for c in w)}>"
    return (f"polygon{{5,<{-half_l},{-half_w},0>,<{half_l},{-half_w},0>,<{half_l},{half_w},0>,<{-half_l},{half_w},0>,"
            f"<{-half_l},{-half_w},0> pigment{{rgb 1}} finish{{emission {number(lamp['radiance'] / CLEAR_COAT)} ambient 0 "
            f"diffuse 0}} rotate z*{number(lamp.get('angle_deg', 0))} {place}}}\n")


def specks_source(panel, scene, extent):
    chance = np.random.default_rng(scene.get("seed", 1) + 17)
    parts = []
    for _ in range(scene["panel"].get("specks", 0)):
        x, y = chance.uniform(extent[0], extent[2]), chance.uniform(extent[1], extent[3])
        radius = 0.06 + chance.exponential(0.06)
        n = panel.normals(np.array(x), np.array(y))
        z = float(panel.height(np.array(x), np.array(y))) + 0.02
        parts.append(f"disc{{{vector([x, y, z])},{vector(n)},{number(radius)} pigment{{rgb 0.03}} "
                     "finish{emission 0.4 ambient 0 diffuse 0}}\n")
    return "".join(parts)


def scene_source(scene, panel, camera, board, folder, coded=False):
    """Everything but the camera. `coded` paints board and card with their own coordinates, to check the geometry."""
    extent = scene["panel"].get("extent_mm", [-160, -160, 260, 260])
    paint = scene["paint"] if isinstance(scene["paint"], dict) else PAINTS[scene["paint"]]
    peel = scene["panel"].get("orange_peel", {})
    peel_normal = ""
    if peel.get("slope_mrad"):
        wave = peel.get("wavelength_mm", 2.0)
        scaled = number(1 / wave)  # f(p / wave) is 1 / wave as steep as f(p)
        height = peel["slope_mrad"] * 1e-3 * wave / PEEL_SLOPE_PER_HEIGHT
        peel_normal = (f"normal{{function{{{number(height)}*f_noise3d(x*{scaled},y*{scaled},3.3)}} "
                       f"{PEEL_BUMP} no_bump_scale}}")
    if coded:
        finish = f"texture{{pigment{{rgb 0}} {peel_normal} finish{{ambient 0 diffuse 0 reflection{{1,1}}}}}}"
        mirror_index = ""
    else:
        room = scene.get("light", {}).get("room", 0.9)
        colour = [c * room for c in paint["colour"]]
        if paint.get("flake"):
            low, high = ([c * (1 + s * paint["flake"]) for c in colour] for s in (-1, 1))
            pigment = f"granite color_map{{[0.2 rgb {vector(low)}][0.8 rgb {vector(high)}]}} scale 0.7"
        else:
            pigment = f"rgb {vector(colour)}"
        shine = f"specular {number(paint['shine'])} roughness 0.06" if paint.get("shine") else ""
        finish = (f"texture{{pigment{{{pigment}}} {peel_normal} finish{{emission 0.8 ambient 0 diffuse 0.25 {shine} "
                  "reflection{0,1 fresnel on}}}")
        mirror_index = f" interior{{ior {CLEAR_COAT_INDEX}}}"
    veil = number(0.0 if coded else scene.get("light", {}).get("veil", 0.02) / CLEAR_COAT)
    parts = ["#version 3.7;\n#declare f_noise3d = function{internal(76)}\n",
             "global_settings{assumed_gamma 1.0 max_trace_level 3 noise_generator 3}\n",
             f"background{{rgb {veil}}}\n",
             panel_source(panel, extent, finish + mirror_index, scene.get("mesh_steps_across", 160)),
             board_source(board, scene["board"], folder, coded)]
    cards = ([scene["card"]] if scene.get("card") else []) + scene.get("extra_cards", [])
    parts += [card_source(panel, card, folder, i, coded) for i, card in enumerate(cards)]
    if not coded:
        # the board's light on base coat and paper: wide, soft, moving with the slope where flakes shine
        strength = scene["board"].get("bright", 0.7) * scene.get("light", {}).get("from_board", 0.5)
        parts.append(f"light_source{{{vector(board.centre)} rgb {number(strength)} shadowless}}\n")
        parts += [lamp_source(lamp, camera, panel) for lamp in scene.get("lamps", [])]
        parts.append(specks_source(panel, scene, extent))
        # the bay's floor, far below
        parts.append("plane{z,-700 pigment{rgb 0.06} finish{emission 1 ambient 0 diffuse 0}}\n")
    return "".join(parts)


def camera_source(camera, half_width, half_height, lens_offset, pixel_offset):
    """A pinhole at `lens_offset` (mm along right, up) whose plane in focus stays put: one sample of a thin lens.

    half_width and half_height: half the picture in pixels; pixel_offset moves the sampling points (px right, px down).
    """
    offset = lens_offset[0] * camera.right + lens_offset[1] * camera.up
    direction = (camera.forward - offset / camera.focus_mm
                 + (pixel_offset[0] * camera.right - pixel_offset[1] * camera.up) / camera.focal_px)
    return (f"camera{{perspective location {vector(camera.place + offset)} direction {vector(direction)} "
            f"right {vector(2 * half_width / camera.focal_px * camera.right)} "
            f"up {vector(2 * half_height / camera.focal_px * camera.up)}}}\n")
