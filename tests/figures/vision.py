"""What a rendered figure looks like in a grey print and to readers with a colour-vision deficiency.

Matrices: Machado, Oliveira and Fernandes, A physiologically-based model for simulation of color vision deficiency, IEEE
Transactions on Visualization and Computer Graphics 15 (2009), severity 1, for linear red, green, blue; digits from
memory. Luminance: Rec. ITU-R BT.709. Linear values: sRGB, IEC 61966-2-1. Lightness: CIE 1976. Contrast: WCAG 2.1.
"""

from __future__ import annotations

import numpy as np

LUMA = np.array([0.2126, 0.7152, 0.0722])
"""Weights of red, green and blue in luminance."""
VISIONS = {
    "grey print": np.tile(LUMA, (3, 1)),
    "full vision": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}
"""What each kind of vision makes of linear red, green and blue."""


def linear(colours: np.ndarray) -> np.ndarray:
    """Linear red, green and blue (..., 3) of those of a screen, from 0 to 1."""
    return np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)


def luminance(image: np.ndarray, vision: str) -> np.ndarray:
    """Luminance (...) relative to white of an image (..., 3) as a kind of vision sees it."""
    return np.clip(linear(image) @ VISIONS[vision].T, 0.0, 1.0) @ LUMA


def lightness(of: np.ndarray) -> np.ndarray:
    """CIE 1976 lightness, 0 to 100, of luminances relative to white."""
    return np.where(of > 0.008856, 116.0 * np.cbrt(of) - 16.0, 903.3 * of)


def contrast(one: float, other: float) -> float:
    """Contrast, 1 to 21, of two luminances relative to white."""
    low, high = sorted((one, other))
    return (high + 0.05) / (low + 0.05)
