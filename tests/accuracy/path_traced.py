#!/usr/bin/env python3
"""Draws a wrapped rod in the card's opening by Blender's path tracer (Cycles), and photographs it: a second judge of readings, whose light, shapes, thread,
noise, mosaic and phone are written apart from samples/render. It shares with it only files: the sample card as measured, the invented cameras, the CIE tables.

    apt-get install --no-install-recommends blender python3-numpy python3-opencv
    tests/accuracy/path_traced.py random 100 /tmp/photo-100 --kind linear --cameras samples/cameras.json   # --bow 4: by a card that does not lie flat

It takes the words that read_accuracy gives a renderer (--render), for the kinds "linear, fair", "phone, fair", "linear, any light" and "phone, any light"; one light's
spectrum a photo. THREADS: processor threads (1). Blender units are centimetres; card millimetres run right and down, Blender's y runs up.

What the pictures hold: a room of walls and things, a window of panes or a lamp, a ceiling that may shine; a phone, the hand and the body of who holds it, all mirrored by the coat;
shadows, bounced light; wraps that stand out over the blank by thread and coat, ends of the coat, turns of uneven brightness, waves of the film; veil, halo, defocus, vignetting, noise,
a Bayer mosaic; a phone's matrix, curve, saturation, sharpening, JPEG. A coat mirrors by Fresnel (n = 1.5) over a matt body whose reflectance factor, seen facing, is the truth; of dry thread, whose face is rough, with what that
face sends up of light from 45 degrees, as an instrument of that geometry would have it.
What they do not: light refracted into the coat, thread's own relief under it, metallic film, guides, distortion of the lens, unlike lights.
"""
import json
import math
import os
import re
import sys

try:
    import bpy
except ImportError:  # called by itself: Blender runs this file
    os.execvp("blender", ["blender", "-b", "--factory-startup", "--python-exit-code", "1", "--python", os.path.abspath(__file__), "--", *sys.argv[1:]])

sys.path.append("/usr/lib/python3/dist-packages")  # Debian's OpenCV, where Blender's own path lacks it
import cv2
import numpy as np
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Matrix, Vector

SOURCE = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
MM = 0.1
NM = np.arange(380, 781, 5)


# ---- Colour

def cie_table(name):
    with open(SOURCE + "/libcolour/include/colour/cie_tables.hpp") as file:
        numbers = re.search(r"Table %s\{([^}]*)\}" % name, file.read()).group(1)
    return np.array([float(v) for v in numbers.replace("\n", " ").split(",") if v.strip()])


OBSERVER = np.array([cie_table(name) for name in ("xbar", "ybar", "zbar")])
D50 = cie_table("illuminant_d50")
LIGHTS = {"D50": "d50", "D65": "d65", "A": "a", "F2": "f2", "F11": "f11", "LED-B3": "led_b3"}
FAIR = ["D50", "D65", "LED-B3"]


def xyz(reflectance):
    return OBSERVER @ (reflectance * D50) / (OBSERVER[1] @ D50)


def lab(reflectance):
    t = xyz(reflectance) / xyz(np.ones(81))
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return [round(float(v), 3) for v in (116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2]))]


def dyed(dice, depth):
    """A pale fibre with one to three broad, lopsided absorptions, as K/S of an opaque layer."""
    ks = np.full(81, dice.uniform(0.005, 0.03)) + dice.uniform(0, 0.15) * np.exp(-(NM - 380) / dice.uniform(25, 60))
    for _ in range(dice.integers(1, 4)):
        width, skew, at = dice.uniform(30, 75), dice.uniform(0.7, 1.5), dice.uniform(395, 700)
        ks += np.exp(dice.uniform(-1.5, 2.6) + depth) * np.exp(-0.5 * ((NM - at) / np.where(NM < at, width, width * skew)) ** 2)
    return np.clip(1 + ks - np.sqrt(ks * ks + 2 * ks), 0.004, 0.92)


def greyish(dice, low, high):
    return np.clip(dice.uniform(low, high) * (1 + dice.uniform(-0.15, 0.15) * (NM - 580) / 200), 0.01, 0.95)


class Sensor:
    """A camera under one light: its channels, and each surface's share of what white sends into them."""

    def __init__(self, sensitivities, light):
        self.by_light = sensitivities * light
        self.of_white = self.by_light.sum(axis=1) / self.by_light[1].sum()

    def share(self, reflectance):
        return self.by_light @ reflectance / self.by_light.sum(axis=1)


# ---- Shapes and surfaces

def surface(name, colour, roughness=None):
    """Matt; or, with a roughness, under a smooth dielectric face. Colours and roughness are values or images by UV."""
    material = bpy.data.materials.new(name)
    material.use_nodes = True
    nodes, link = material.node_tree.nodes, material.node_tree.links.new
    nodes.clear()
    out, matt = nodes.new("ShaderNodeOutputMaterial"), nodes.new("ShaderNodeBsdfDiffuse")

    def give(value, socket, interpolation):
        if isinstance(value, bpy.types.Image):
            picture = nodes.new("ShaderNodeTexImage")
            picture.image, picture.interpolation, picture.extension = value, interpolation, "EXTEND"
            link(picture.outputs[0], socket)
        else:
            socket.default_value = (*[float(v) for v in value], 1) if np.ndim(value) else value

    if roughness is None:
        give(colour, matt.inputs["Color"], "Closest")
        link(matt.outputs[0], out.inputs[0])
        return material
    mirror, fresnel, both = nodes.new("ShaderNodeBsdfGlossy"), nodes.new("ShaderNodeFresnel"), nodes.new("ShaderNodeMixShader")
    fresnel.inputs["IOR"].default_value = 1.5
    give(colour, matt.inputs["Color"], "Linear")
    give(roughness, mirror.inputs["Roughness"], "Closest")
    for k, node in enumerate((fresnel, matt, mirror)):
        link(node.outputs[0], both.inputs[k])
    link(both.outputs[0], out.inputs[0])
    return material


def image(name, pixels):
    height, width, _ = pixels.shape
    out = bpy.data.images.new(name, width, height, alpha=False, float_buffer=True)
    out.colorspace_settings.name = "Non-Color"
    out.pixels.foreach_set(np.dstack([pixels, np.ones((height, width))])[::-1].astype(np.float32).ravel())
    out.update()
    return out


def mesh(name, corners_mm, faces, material, uv=None, smooth=False):
    shape = bpy.data.meshes.new(name)
    shape.from_pydata([tuple(c * MM for c in corner) for corner in corners_mm], [], faces)
    if uv is not None:
        of_loop = np.empty(len(shape.loops), dtype=np.int32)
        shape.loops.foreach_get("vertex_index", of_loop)
        shape.uv_layers.new().data.foreach_set("uv", np.asarray(uv, dtype=np.float32)[of_loop].ravel())
    shape.materials.append(material)
    shape.polygons.foreach_set("use_smooth", np.full(len(shape.polygons), smooth))
    shape.update()
    bpy.context.collection.objects.link(bpy.data.objects.new(name, shape))


def flat(name, corners_mm, material):
    mesh(name, corners_mm, [tuple(range(len(corners_mm)))], material)


def box(name, centre_mm, size_mm, material, turn=Matrix.Identity(3)):
    x, y, z = [s / 2 for s in size_mm]
    corners = [turn @ Vector((sx * x, sy * y, sz * z)) + Vector(centre_mm) for sz in (-1, 1) for sy in (-1, 1) for sx in (-1, 1)]
    mesh(name, corners, [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)], material)


def lamp(at_mm, to_mm, width_mm, height_mm, watts):
    light = bpy.data.lights.new("lamp", "AREA")
    light.shape, light.size, light.size_y, light.energy = "RECTANGLE", width_mm * MM, height_mm * MM, watts
    holder = bpy.data.objects.new("lamp", light)
    holder.location = Vector(at_mm) * MM
    holder.rotation_euler = (Vector(to_mm) - Vector(at_mm)).to_track_quat("-Z", "Y").to_euler()
    bpy.context.collection.objects.link(holder)


# ---- The card

def patch(card, name):
    return next(p for p in card["patches"] if p["id"] == name)


def spectrum(of_patch):
    return np.array(of_patch["spectrum"]["values"])


def card_picture(card, sensor, px_per_mm=24):
    width, height = card["size_mm"]
    ink = sensor.share(spectrum(patch(card, "D11")))
    out = np.empty((height * px_per_mm, width * px_per_mm, 3))
    out[:] = sensor.share(spectrum(patch(card, "C1")))

    def fill(rect_mm, colour):
        x, y, w, h = [int(round(v * px_per_mm)) for v in rect_mm]
        out[y:y + h, x:x + w] = colour

    for p in card["patches"]:
        fill(p["rect_mm"], sensor.share(spectrum(p)))
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for marker in card["fiducials"]["markers"]:
        x, y, w, h = marker["rect_mm"]
        for row, column in zip(*np.nonzero(cv2.aruco.drawMarker(family, marker["id"], 6) == 0)):
            fill((x + column * w / 6, y + row * h / 6, w / 6, h / 6), ink)
    x, y = card["scale_mm"]["start"]
    for mm in range(card["scale_mm"]["length"] + 1):
        fill((x + mm - 0.08, y, 0.16, 1), ink)
    return out


def bent(x, y, bow, card):
    """How far a card that does not lie flat stands up there: by its bow in mm at the far ends of a diagonal, against a line across its middle at an angle, and all level in the mean."""
    width, height = card["size_mm"]
    along = ((x - width / 2) * math.cos(bow[1]) + (y - height / 2) * math.sin(bow[1])) / math.hypot(width / 2, height / 2)
    return bow[0] * (along * along - 0.2)


def lay_card(card, sensor, dice, bow):
    (width, height), (ox, oy, ow, oh) = card["size_mm"], card["opening_mm"]

    def split(*ends):
        return [x for a, b in zip(ends, ends[1:]) for x in np.linspace(a, b, 1 + math.ceil((b - a) / 4))[:-1]] + [ends[-1]]

    xs, ys = split(0, ox, ox + ow, width), split(0, oy, oy + oh, height)
    n = len(xs)
    corners = [(x, -y, bent(x, y, bow, card)) for y in ys for x in xs]
    faces = [(n * j + i, n * (j + 1) + i, n * (j + 1) + i + 1, n * j + i + 1) for j in range(len(ys) - 1) for i in range(n - 1)
             if not (ox <= xs[i] < ox + ow - 1e-6 and oy <= ys[j] < oy + oh - 1e-6)]
    mesh("card", corners, faces, surface("print", image("print", card_picture(card, sensor))), [(x / width, 1 - y / height) for y in ys for x in xs], smooth=True)
    thick, board = dice.uniform(0.2, 1.5), surface("board", sensor.share(greyish(dice, 0.3, 0.8)))
    ring = [(ox, -oy), (ox + ow, -oy), (ox + ow, -oy - oh), (ox, -oy - oh)]
    for a, b in zip(ring, ring[1:] + ring[:1]):
        flat("edge", [(*a, bent(a[0], -a[1], bow, card)), (*b, bent(b[0], -b[1], bow, card)), (*b, -thick), (*a, -thick)], board)
    mesh("underside", [(x, y, z - thick) for x, y, z in corners], faces, board)


# ---- The rod

DRY = 0.45  # roughness of thread that no coat covers


def face_at_45(roughness):
    """What a rough face of n = 1.5 itself sends straight up of light from 45 degrees, as a reflectance factor: the GGX lobe (Walter and others, EGSR 2007, eq. 20 and 33, the
    numbers from memory; shadowing left out), weighted as `surface` does: 1.76 % of white at 0.45, where Cycles itself gave 1.75. Of a coat and a blank it is 0.1 % of white at most, and left out."""
    squared, facet = roughness ** 4, math.cos(math.radians(22.5)) ** 2
    return 0.04 * squared / (facet * (squared - 1) + 1) ** 2 / (4 * math.cos(math.radians(45)))


def ramp(low, high, x):
    t = np.clip((x - low) / (high - low), 0, 1)
    return t * t * (3 - 2 * t)


def waves(dice, x, length, amount):
    knots = np.arange(x.min() - 2 * length, x.max() + 2 * length, length)
    return amount * np.interp(x, knots, np.convolve(dice.normal(size=len(knots)), [0.25, 0.5, 0.25], "same"))


class Rod:
    """A cone, its top line a little under the card's face; x is the card's. Wraps lie on it, most of them under a coat."""
    begin, end = -80.0, 240.0

    def __init__(self, dice):
        self.thick, self.taper = dice.uniform(4, 15), dice.uniform(0, 0.12)
        self.middle_y, self.skew, self.rise = dice.uniform(51, 59), dice.uniform(-1.5, 1.5), dice.uniform(-0.9, -0.1)
        self.blank = greyish(dice, 0.015, 0.06) if dice.uniform() < 0.6 else dyed(dice, dice.uniform(-0.5, 1.0))
        self.bands, self.swellings = [], []  # of the coat: from, to, height, whether coated
        at, film = 20 + dice.uniform(3, 14), dice.uniform(0.1, 0.45)
        for _ in range(dice.integers(1, 5)):
            wrap, beside = [], self.blank
            for role in (["trim"] if dice.uniform() < 0.4 else []) + ["wrap"] + (["trim"] if dice.uniform() < 0.4 else []):
                length = dice.uniform(1.0, 3) if role == "trim" else dice.uniform(6, 32)
                for _ in range(100):  # nobody could find the edge of a wrap that looks like its neighbour
                    thread = dyed(dice, dice.uniform(-1.5, 1.2))
                    if min(math.dist(lab(thread), lab(beside)), math.dist(lab(thread), lab(self.blank))) > 9:
                        break
                wrap.append((role, length, thread))
                beside = thread
            if at + sum(length for _, length, _ in wrap) > 137:
                break
            first, coated, size = at, dice.uniform() < 0.85, dice.uniform(0.13, 0.26)
            for role, length, thread in wrap:
                self.bands.append({"role": role, "start": at, "length": length, "thread": thread, "coated": coated, "size": size})
                at += length
            self.swellings.append((first, at, (film if coated else 0) + 0.8 * size, coated))
            at += dice.uniform(3, 15)

    def diameter(self, x):
        return self.thick * (1 - self.taper * (x - 80) / 120)

    def axis_y(self, x):
        return self.middle_y + self.skew * (x - 80) / 60

    def lay(self, sensor, dice, round_it=256):
        x = np.arange(self.begin, self.end + 0.01, 0.2)
        radius = self.diameter(x) / 2
        for first, last, height, coated in self.swellings:
            before, within = (1.2, 0.6) if coated else (0.1, 0.1)
            radius = radius + height * ramp(first - before, first + within, x) * (1 - ramp(last - within, last + before, x))
        radius = radius + waves(dice, x, 9, 0.012) + waves(dice, x, 3, 0.003)
        lumps = waves(dice, x[:-1], 14, 0.008)
        lumps = np.pad(lumps, (0, len(x) - len(lumps)))
        turned = np.linspace(0, 2 * np.pi, round_it, endpoint=False)
        seam = np.concatenate([np.arange(round_it // 2, round_it), np.arange(0, round_it // 2 + 1)])
        swollen = radius[:, None] + lumps[:, None] * np.sin(turned + 1.3)
        places = np.dstack([np.repeat(x[:, None], round_it, 1), -self.axis_y(x)[:, None] + swollen * np.sin(turned),
                            (self.rise - self.diameter(x) / 2)[:, None] + swollen * np.cos(turned)])[:, seam]
        along, across = places.shape[:2]
        index = np.arange(along * across).reshape(along, across)
        faces = np.stack([index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]], -1).reshape(-1, 4)  # facing outwards: Fresnel asks
        uv = np.dstack([np.repeat((x[:, None] - self.begin) / (self.end - self.begin), across, 1), np.repeat(np.linspace(0, 1, across)[None], along, 0)])
        body, roughness = self.skin(sensor, dice)
        # Of what leaves the body a face of n = 1.5 lets 0.96 through towards who looks straight at it.
        mesh("rod", places.reshape(-1, 3), [tuple(f) for f in faces], surface("rod", image("body", body / 0.96), image("roughness", roughness)), uv.reshape(-1, 2), smooth=True)

    def skin(self, sensor, dice, px_per_mm=36, rows=180):
        x = (np.arange((self.end - self.begin) * px_per_mm) + 0.5) / px_per_mm + self.begin
        body = np.empty((rows, len(x), 3))
        body[:] = sensor.share(self.blank) * (1 + waves(dice, x, 2.5, 0.02))[None, :, None]
        roughness = np.full((rows, len(x), 3), dice.choice([0.03, 0.08, 0.2]))
        for band in self.bands:
            there = (x >= band["start"]) & (x < band["start"] + band["length"])
            turns = x[there][None] / band["size"] + np.arange(rows)[:, None] / rows
            look = 1 - dice.uniform(0.1, 0.5) * np.abs(np.sin(np.pi * turns)) ** 6  # grooves
            look = look * (1 + dice.normal(size=4000)[np.floor(turns).astype(int) % 4000] * dice.uniform(0.005, 0.03))
            body[:, there] = (look / look.mean())[..., None] * sensor.share(band["thread"])
            roughness[:, there] = dice.uniform(0.02, 0.06) if band["coated"] else DRY
        return body, roughness

    def truth(self):
        out, at = [], 20.0

        def blank_up_to(x):
            if x > at + 1e-6:
                out.append({"role": "blank", "start_mm": at - 20, "length_mm": x - at, "lab": lab(self.blank)})

        for band in self.bands:
            blank_up_to(band["start"])
            out.append({"role": band["role"], "start_mm": band["start"] - 20, "length_mm": band["length"], "lab": lab(band["thread"] + (0 if band["coated"] else face_at_45(DRY))), "pitch_mm": band["size"],
                        "schedule": "finish" if band["coated"] else "none", "ground": "blank"})
            at = band["start"] + band["length"]
        blank_up_to(140)
        return out


# ---- The room

def furnish(rod, sensor, dice):
    def colour(reflectance):
        return sensor.share(reflectance)

    depth = rod.thick * 1.1 + dice.uniform(3, 40)
    flat("bench", [(x, y, -depth) for x, y in ((-700, -500), (860, -500), (860, 400), (-700, 400))], surface("bench", colour(greyish(dice, 0.05, 0.5))))
    walls, floor = surface("walls", colour(greyish(dice, 0.3, 0.85))), surface("floor", colour(greyish(dice, 0.1, 0.5)))
    ring, low, high = [(-2000, -1900), (2200, -1900), (2200, 1700), (-2000, 1700)], -800, 1700
    flat("ceiling", [(*p, high) for p in ring], walls)
    for a, b in zip(ring, ring[1:] + ring[:1]):
        flat("wall", [(*a, low), (*b, low), (*b, high), (*a, high)], walls)
    flat("floor", [(*p, low) for p in ring], floor)
    for _ in range(dice.integers(2, 6)):
        thing = surface("thing", colour(dyed(dice, -0.5) if dice.uniform() < 0.6 else greyish(dice, 0.03, 0.8)))
        angle, far = dice.uniform(0, 2 * np.pi), dice.uniform(950, 1600)
        box("thing", (80 + far * math.cos(angle), -55 + far * math.sin(angle), dice.uniform(-400, 200)), [dice.uniform(150, 500) for _ in range(3)], thing)


def hold_camera(sensor, dice):
    """The camera, the phone round it, and who holds it."""
    far, view = dice.uniform(250, 400), dice.uniform(186, 225)
    centre = Vector((dice.uniform(76, 84), -dice.uniform(51, 59), 0))
    tilt = [math.radians(dice.uniform(-14, 14)) for _ in range(2)]
    roll = math.radians(dice.uniform(-6, 6) + (180 if dice.uniform() < 0.1 else 0))
    turn = Matrix.Rotation(roll, 3, "Z") @ Matrix.Rotation(tilt[0], 3, "X") @ Matrix.Rotation(tilt[1], 3, "Y")
    eye, back = centre + turn @ Vector((0, 0, far)), turn @ Vector((0, 0, 1))
    lens = bpy.data.cameras.new("camera")
    lens.sensor_width, lens.lens, lens.clip_start, lens.clip_end = 36, 36 * far / view, 0.1, 10000
    camera = bpy.data.objects.new("camera", lens)
    camera.matrix_world = Matrix.Translation(eye * MM) @ turn.to_4x4()
    bpy.context.collection.objects.link(camera)
    bpy.context.scene.camera = camera

    aside = turn @ Vector((dice.uniform(-40, 40), dice.uniform(-60, 60), 0))
    box("phone", eye + back * 6 + aside, (75, 150, 8), surface("phone", (0.02, 0.02, 0.02), 0.1), turn)
    if dice.uniform() < 0.3:
        box("mask", eye + back * 1.5, (140, 140, 1), surface("mask", (0.025, 0.025, 0.025)), turn)
    side = 1 if dice.uniform() < 0.5 else -1
    cloth = surface("cloth", sensor.share(dyed(dice, dice.uniform(-1, 1))))
    skin = surface("skin", sensor.share((0.12 + 0.45 * ramp(480, 680, NM)) * dice.uniform(0.4, 1.1)))
    if dice.uniform() < 0.8:
        box("hand", eye + turn @ Vector((side * 60, -10, 32)) + aside, (60, 80, 35), skin, turn)
    body_y = dice.uniform(-420, -300)
    if dice.uniform() < 0.85:
        box("body", (80 + dice.uniform(-100, 100), body_y, 150), (420, 230, 900), cloth)
        box("head", (80 + dice.uniform(-100, 100), body_y + 60, 650), (160, 190, 230), skin)
    return camera


def light_up(fair, dice):
    rod = Vector((80, -55, 0))
    for k in range(1 + (dice.uniform() < 0.35)):
        angle = dice.uniform(0, 2 * np.pi)
        while math.sin(angle) < -0.6:  # not from behind who stands there
            angle = dice.uniform(0, 2 * np.pi)
        lean, strength = dice.uniform(0.5, 1.05), 1.0 if k == 0 else dice.uniform(0.2, 0.9)
        towards = Vector((math.sin(lean) * math.cos(angle), math.sin(lean) * math.sin(angle), math.cos(lean)))
        if dice.uniform() < 0.5:
            far, width, height = dice.uniform(900, 1600), dice.uniform(500, 1200), dice.uniform(600, 1300)
            columns, rows = dice.integers(1, 3), dice.integers(1, 3)
            middle, turn = rod + towards * far, (-towards).to_track_quat("-Z", "Y").to_matrix()
            for i in range(columns):
                for j in range(rows):
                    at = middle + turn @ Vector(((i + 0.5) / columns * width - width / 2, (j + 0.5) / rows * height - height / 2, 0))
                    lamp(at, at - towards, width / columns - 40, height / rows - 40, strength * 4e3 * (far / 1000) ** 2 / columns / rows)
        else:
            far = dice.uniform(500 if fair else 350, 1200)
            size = dice.uniform(60, 300)
            lamp(rod + towards * far, rod, size, size, strength * 4e3 * (far / 1000) ** 2)
    if dice.uniform() < 0.5:
        lamp((300, 200, 1690), (300, 200, 0), 2500, 2000, dice.uniform(3e3, 3e4))


def trace(base, size, samples, seed):
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    cycles = scene.cycles
    cycles.device, cycles.samples, cycles.seed = "CPU", samples, seed % 2147483647
    cycles.use_adaptive_sampling = cycles.use_denoising = cycles.caustics_reflective = False
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces, cycles.sample_clamp_indirect = 4, 3, 3, 0
    render = scene.render
    render.resolution_x, render.resolution_y, render.resolution_percentage = *size, 100
    render.threads_mode, render.threads = "FIXED", int(os.environ.get("THREADS", "1"))
    scene.view_settings.view_transform = "Raw"
    render.image_settings.file_format, render.image_settings.color_depth = "OPEN_EXR", "32"
    render.filepath = base + ".exr"
    bpy.ops.render.render(write_still=True)
    traced = bpy.data.images.load(render.filepath)
    traced.colorspace_settings.name = "Non-Color"
    pixels = np.empty(size[0] * size[1] * 4, dtype=np.float32)
    traced.pixels.foreach_get(pixels)
    os.remove(render.filepath)
    return pixels.reshape(size[1], size[0], 4)[::-1, :, :3].astype(np.float64)


# ---- The photograph

def through_lens(light, dice):
    height, width, _ = light.shape
    light = cv2.GaussianBlur(light, (0, 0), dice.uniform(0.4, 1.3))
    veil, halo = dice.uniform(0.001, 0.012), dice.uniform(0.002, 0.012)
    light = (1 - halo) * light + halo * cv2.GaussianBlur(light, (0, 0), width / 12)
    light = light + veil * light.mean((0, 1))
    y, x = np.mgrid[0:height, 0:width]
    off_axis = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / (width ** 2 / 4 + height ** 2 / 4)
    return light * (1 - dice.uniform(0.05, 0.35) * off_axis)[..., None]


def on_sensor(light, sensor, card_px, dice):
    """Linear camera RGB after white balance, demosaiced; and the gains of that balance."""
    height, width, _ = light.shape
    gains = np.array([1 + dice.normal() * 0.03, 1, 1 + dice.normal() * 0.03]) / sensor.of_white
    on_card = np.zeros((height, width), np.uint8)
    cv2.fillConvexPoly(on_card, np.array(card_px, dtype=np.int32), 1)
    balanced = cv2.GaussianBlur(light * gains * sensor.of_white, (0, 0), 4)[on_card > 0]
    exposed = np.maximum(0, light * dice.uniform(0.6, 0.94) / np.quantile(balanced, 0.995) * sensor.of_white)
    well, read = dice.uniform(4000, 30000), dice.uniform(2, 8)
    noisy = exposed + dice.normal(size=exposed.shape) * np.sqrt(exposed / well + (read / well) ** 2)
    channel = np.array([[0, 1], [1, 2]])[np.ix_(np.arange(height) % 2, np.arange(width) % 2)]  # RGGB
    mosaic = np.take_along_axis(noisy, channel[..., None], 2)[..., 0] * gains[channel]
    offset, scale = 2000, 40000  # so that noise about black stays
    whole = cv2.cvtColor(np.clip(np.round(mosaic * scale + offset), 0, 65535).astype(np.uint16), cv2.COLOR_BayerBG2RGB_EA)
    return np.clip((whole.astype(np.float64) - offset) / scale, 0, 1), gains


def by_phone(linear, gains, card, sensor, dice):
    """Eight bits: a matrix from camera to sRGB that suits the card's inks and keeps white, saturation, an S of its own, sharpening."""
    cone = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])  # Bradford
    adapt = np.linalg.inv(cone) @ np.diag(cone @ [0.95047, 1, 1.08883] / (cone @ xyz(np.ones(81)))) @ cone
    to_srgb = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])  # IEC 61966-2-1
    inks = [spectrum(p) for p in card["patches"]]
    wanted = np.array([to_srgb @ adapt @ xyz(r) for r in inks])
    matrix = np.linalg.lstsq(np.array([sensor.share(r) * gains * sensor.of_white for r in inks]), wanted, rcond=None)[0]
    rgb = linear @ (matrix / matrix.sum(0, keepdims=True))
    grey = (rgb @ [0.2126, 0.7152, 0.0722])[..., None]
    rgb = np.clip(grey + dice.uniform(1.0, 1.25) * (rgb - grey), 0, 1)
    encoded = np.where(rgb <= 0.0031308, 12.92 * rgb, 1.055 * np.maximum(rgb, 1e-9) ** (1 / 2.4) - 0.055)
    bent = dice.uniform(0.05, 0.45)
    encoded = ((1 - bent) * encoded + bent * encoded * encoded * (3 - 2 * encoded)) ** dice.uniform(0.9, 1.1)
    encoded = encoded + dice.uniform(0, 0.8) * (encoded - cv2.GaussianBlur(encoded, (0, 0), 1.2))
    return np.round(np.clip(encoded, 0, 1) * 255).astype(np.uint8)


def main(words):
    if len(words) < 3 or words[0] != "random":
        sys.exit("path_traced.py random SEED BASE [--kind linear|phone] [--lights fair|any|NAME] [--cameras FILE] [--size WxH] [--samples N] [--bow MM]")
    seed, base = int(words[1]), words[2]
    options = {"--kind": "linear", "--lights": "fair", "--cameras": SOURCE + "/samples/cameras.json", "--size": "1600x1102", "--samples": "16", "--bow": "0"}
    options.update(zip(words[3::2], words[4::2]))
    dice = np.random.default_rng(seed)
    with open(SOURCE + "/samples/card.json") as file:
        card = json.load(file)
    with open(options["--cameras"]) as file:
        cameras = json.load(file)["cameras"]
    camera_name = sorted(cameras)[dice.integers(len(cameras))]
    lights = {"fair": FAIR, "any": list(LIGHTS)}.get(options["--lights"], [options["--lights"]])
    light_name = str(dice.choice(lights))
    sensor = Sensor(np.array([cameras[camera_name][c] for c in "RGB"]), cie_table("illuminant_" + LIGHTS[light_name]))

    bpy.ops.wm.read_factory_settings(use_empty=True)
    size = tuple(int(v) for v in options["--size"].split("x"))
    other_dice = np.random.default_rng(seed + 10 ** 6)  # so that a bow changes nothing else of a scene
    lay_card(card, sensor, dice, (float(options["--bow"]) * other_dice.choice([-1, 1]), other_dice.choice([0, math.pi / 2, other_dice.uniform(0, math.pi)])))
    rod = Rod(dice)
    rod.lay(sensor, dice)
    furnish(rod, sensor, dice)
    camera = hold_camera(sensor, dice)
    light_up(options["--lights"] == "fair", dice)
    light = through_lens(trace(base, size, int(options["--samples"]), seed), dice)

    def pixel(x_mm, y_mm):
        seen = world_to_camera_view(bpy.context.scene, camera, Vector((x_mm * MM, -y_mm * MM, 0)))
        return [seen.x * size[0], (1 - seen.y) * size[1]]

    width, height = card["size_mm"]
    card_px = [pixel(0, 0), pixel(width, 0), pixel(width, height), pixel(0, height)]
    linear, gains = on_sensor(light, sensor, card_px, dice)
    photo = base + (".jpg" if options["--kind"] == "phone" else ".png")
    if options["--kind"] == "phone":
        cv2.imwrite(photo, by_phone(linear, gains, card, sensor, dice)[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(dice.integers(80, 97))])
    else:
        cv2.imwrite(photo, np.round(linear[..., ::-1] * 65535).astype(np.uint16))
    with open(base + ".truth.json", "w") as file:
        json.dump({"format": "bindhue-truth", "version": 1, "photo": os.path.basename(photo), "kind": options["--kind"], "expect": "read", "camera": camera_name,
                   "light": light_name, "bands": rod.truth(), "blank_lab": lab(rod.blank), "card_corners_px": card_px,
                   "rod": {"axis_mm": [[20, rod.axis_y(20)], [140, rod.axis_y(140)]], "diameter_mm_left": rod.diameter(20), "diameter_mm_right": rod.diameter(140)}}, file, indent=1)


main(sys.argv[sys.argv.index("--") + 1:])
