"""How a picture is seen with each of the common colour-vision deficiencies."""

from __future__ import annotations

import numpy as np
import pygame

#: Linear-RGB matrices of Machado, Oliveira & Fernandes 2009 (IEEE Trans Vis Comput Graph
#: 15:1283-91), severity 1.0, as in the table on their project's page.
VISION: dict[str, tuple[tuple[float, ...], ...]] = {
    "protan": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216),
               (-0.003882, -0.048116, 1.051998)),
    "deutan": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413),
               (-0.011820, 0.042940, 0.968881)),
    "tritan": ((1.255528, -0.076749, -0.178779), (-0.078411, 0.930809, 0.147602),
               (0.004733, 0.691367, 0.303900)),
}  # fmt: skip


def seen_by(surface: pygame.Surface, vision: str) -> pygame.Surface:
    """The picture as someone with a colour-vision deficiency sees it."""
    rgb = pygame.surfarray.array3d(surface).astype(float) / 255
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ np.array(VISION[vision]).T, 0, 1)
    srgb = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    out = pygame.Surface(surface.get_size())
    pygame.surfarray.blit_array(out, np.round(srgb * 255).astype(np.uint8))
    return out
