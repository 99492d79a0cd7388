"""Random streams and the camera.  World: mm, table at z = 0, z up, camera looking down; pixels: (0, 0) = centre of the top-left pixel."""
import zlib

import numpy as np


def stream(seed, purpose):
    """A random stream of its own for each purpose, by hashing (never by adding to the seed)."""
    return np.random.Generator(np.random.SFC64(np.random.SeedSequence(seed, spawn_key=(zlib.crc32(purpose.encode()),))))


class Camera:
    """Pinhole with one radial term: a picture point at x_d (in focal lengths) looks along x_d (1 + k r_d^2)."""

    def __init__(self, w, h, focal_px, k, dist, tilt, azimuth, roll):
        self.w, self.h, self.F, self.k, self.dist = w, h, focal_px, k, dist
        ct, st, ca, sa = np.cos(tilt), np.sin(tilt), np.cos(azimuth), np.sin(azimuth)
        back = np.array([st * ca, st * sa, ct])                       # from the table's centre to the lens
        self.pos = back * dist
        self.fwd = -back
        up = np.array([np.sin(roll), np.cos(roll), 0.0])
        r = np.cross(self.fwd, up)
        self.right = r / np.linalg.norm(r)
        self.down = np.cross(self.fwd, self.right)
        self.c = np.array([(w - 1) / 2, (h - 1) / 2])

    def project(self, p):
        """World points [..., 3] to pixels [..., 2]."""
        q = np.asarray(p, float) - self.pos
        z = q @ self.fwd
        u = np.stack([q @ self.right, q @ self.down], -1) / z[..., None]
        d = u.copy()
        for _ in range(6):
            d = u / (1 + self.k * (d ** 2).sum(-1, keepdims=True))
        return d * self.F + self.c

    def depth(self, p):
        return (np.asarray(p, float) - self.pos) @ self.fwd

    def ground(self, px, z=0.0):
        """Pixels [..., 2] to the world's xy at height z."""
        d = (np.asarray(px, float) - self.c) / self.F
        d = d * (1 + self.k * (d ** 2).sum(-1, keepdims=True))
        v = d[..., :1] * self.right + d[..., 1:] * self.down + self.fwd
        t = (z - self.pos[2]) / np.minimum(v[..., 2], -1e-3)
        return (self.pos + t[..., None] * v)[..., :2]

    def inside(self, px, margin=0):
        px = np.asarray(px)
        return (px[..., 0] > margin) & (px[..., 0] < self.w - 1 - margin) & (px[..., 1] > margin) & (px[..., 1] < self.h - 1 - margin)
