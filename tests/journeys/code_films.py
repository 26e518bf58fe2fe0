"""Films of a tag as a camera in the field sees it: plain, out of focus, tilted, with glare, torn; all drawn."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import zxingcpp
from numpy.typing import NDArray
from PIL import Image, ImageFilter

WIDE, HIGH, PER_SECOND = 640, 480, 15
KINDS = ("plain", "blur", "tilt", "glare", "torn")


def draw_code(text: str, ec_level: str = "H", scale: int = 8) -> Image.Image:
    """A QR code with its quiet zone, dark on light."""
    code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode, ec_level=ec_level)
    return Image.fromarray(np.asarray(code.to_image(scale=scale, add_quiet_zones=True)))


def film_tag(text: str, kind: str, dice: np.random.Generator, frames: int = 12) -> list[NDArray[np.uint8]]:
    """The frames of a film of one tag: a hand that shakes, uneven light, noise of the sensor, and one trouble."""
    side = int(dice.integers(150, 230))
    tag = draw_code(text).resize((side, side))
    if kind == "torn":
        tag = _tear(tag, dice)
    turn, lean = dice.uniform(-25, 25), dice.uniform(0.18, 0.32) if kind == "tilt" else dice.uniform(0, 0.05)
    soft = dice.uniform(1.4, 2.2) if kind == "blur" else dice.uniform(0.3, 0.8)
    centre = dice.uniform((220, 180), (420, 300))
    spot = centre + dice.uniform(-30, 30, 2)
    shot = []
    for _ in range(frames):
        sheet = Image.new("L", (WIDE, HIGH), int(dice.integers(90, 130)))
        mask = Image.new("L", tag.size, 255)
        leaning = _lean(tag, lean), _lean(mask, lean)
        turned = [one.rotate(turn, expand=True, resample=Image.Resampling.BICUBIC) for one in leaning]
        corner = (centre + dice.normal(0, 2, 2) - np.array(turned[0].size) / 2).astype(int)
        sheet.paste(turned[0], tuple(corner.tolist()), turned[1])
        picture = np.asarray(sheet.filter(ImageFilter.GaussianBlur(soft)), dtype=float)
        picture = 40 + picture * 0.7 + np.linspace(-25, 25, WIDE)[None, :]
        if kind == "glare":
            rows, cols = np.mgrid[0:HIGH, 0:WIDE]
            picture += 190 * np.exp(-((cols - spot[0]) ** 2 + (rows - spot[1]) ** 2) / (2 * 45**2))
        picture += dice.normal(0, 6, picture.shape)
        shot.append(np.clip(picture, 0, 255).astype(np.uint8))
    return shot


def _tear(tag: Image.Image, dice: np.random.Generator) -> Image.Image:
    """A corner without a finder is gone, or a dirty streak crosses the code."""
    torn = np.array(tag)
    side = torn.shape[0]
    if dice.random() < 0.5:
        rows, cols = np.mgrid[0:side, 0:side]
        torn[(rows + cols) > side * 1.62] = 110
    else:
        at = int(side * dice.uniform(0.45, 0.6))
        torn[at : at + max(3, side // 26), :] = 120
    return Image.fromarray(torn)


def _lean(picture: Image.Image, lean: float) -> Image.Image:
    """The picture seen from the side: its upper edge is shorter."""
    wide, high = picture.size
    cut = lean * wide / 2
    goal = np.array([(cut, lean * high / 2), (wide - cut, lean * high / 2), (wide, high), (0, high)])
    start = np.array([(0, 0), (wide, 0), (wide, high), (0, high)])
    rows: list[list[float]] = []
    for (x, y), (u, v) in zip(goal, start, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    found = np.linalg.solve(np.array(rows), start.reshape(-1))
    return picture.transform(picture.size, Image.Transform.PERSPECTIVE, found.tolist(), Image.Resampling.BICUBIC)


def write_film(path: Path, frames: Sequence[NDArray[np.uint8]], per_second: int = PER_SECOND) -> Path:
    """Write grey frames as YUV4MPEG2, which a browser takes for its camera and shows in a loop."""
    high, wide = frames[0].shape
    grey = bytes([128]) * (wide // 2 * (high // 2) * 2)
    with path.open("wb") as film:
        film.write(f"YUV4MPEG2 W{wide} H{high} F{per_second}:1 Ip A1:1 C420jpeg\n".encode())
        for frame in frames:
            film.write(b"FRAME\n" + frame.tobytes() + grey)
    return path


def camera_flags(film: Path) -> list[str]:
    """Flags with which the browser takes a film for its camera, and asks nobody."""
    return [
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
    ]
