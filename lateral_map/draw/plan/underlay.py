"""A picture under a plan on paper: grey, pale, turned with the plan, as fine as it is printed."""

from __future__ import annotations

import base64
import io
from typing import Final

import numpy as np
from PIL import Image

from lateral_map.draw.paint.svg import Canvas
from lateral_map.draw.plan.window import Window
from lateral_map.model.picture import PlanPicture

_DOTS_PER_INCH: Final = 150.0
# How much of the picture's darkness is printed: lines and letters over it stay the darkest.
_STRENGTH: Final = 0.45
_QUALITY: Final = 75


def draw_underlay(canvas: Canvas, picture: PlanPicture, window: Window) -> None:
    """Draw what of a picture lies in a window's box."""
    side = picture.pixel_m
    corners = np.array([[0.0, 0.0], [picture.width_px, 0.0], [0.0, picture.height_px]])
    at = window.to_paper(np.array([picture.west_m, picture.north_m]) + corners * [side, -side])
    shown = window.to_paper(picture.outline_m)
    panel = window.box
    low = np.maximum(shown.min(axis=0), [panel.left, panel.top])
    high = np.minimum(shown.max(axis=0), [panel.right, panel.bottom])
    if (high - low <= 0.0).any():
        return
    low, high = np.round(low, 3), np.round(high, 3)
    dots = _DOTS_PER_INCH / 72.0
    wide, high_px = (max(1, int(np.ceil(span * dots))) for span in high - low)
    # Columns of a pixel's step right and down on the paper, in points.
    step = np.stack([(at[1] - at[0]) / picture.width_px, (at[2] - at[0]) / picture.height_px]).T
    # Points to pixels; a picture finer than the print is shrunk by whole numbers first.
    shrink = max(1, int(1.0 / (dots * float(np.hypot(*step[:, 0])))))
    back = np.linalg.inv(step) / shrink
    size = (high - low) / [wide, high_px]
    origin = back @ (low - at[0])
    terms = np.round([*(back[0] * size), origin[0], *(back[1] * size), origin[1]], 9)
    grey = Image.open(io.BytesIO(picture.jpeg)).convert("L").reduce(shrink)
    part = grey.transform(
        (wide, high_px),
        Image.Transform.AFFINE,
        tuple(terms.tolist()),
        Image.Resampling.BICUBIC,
        fillcolor=255,
    ).point(lambda value: 255.0 - _STRENGTH * (255.0 - value))
    saved = io.BytesIO()
    part.save(saved, "JPEG", quality=_QUALITY, optimize=True)
    address = f"data:image/jpeg;base64,{base64.b64encode(saved.getvalue()).decode()}"
    width, height = (float(span) for span in high - low)
    canvas.image(float(low[0]), float(low[1]), width, height, address)
