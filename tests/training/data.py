"""What `cut` wrote, on the device, and batches of it."""
import glob
import json
import math
import os
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np
import torch
import torch.nn.functional as F

from nets import ROWS


def read(path):
    picture = cv2.imread(path, cv2.IMREAD_COLOR)
    return None if picture is None else cv2.cvtColor(picture, cv2.COLOR_BGR2RGB)


def kept(stems, share, keep):
    """A part of the scenes for training, the rest for looking; told apart by the scene, not by the strip."""
    last = lambda s: sum(ord(c) * 31 ** (i % 5) for i, c in enumerate(os.path.basename(s).split(".")[0].split("-")[0]))
    return [s for s in stems if (last(s) % 1000 < 1000 * share) == keep]


# Share of the ray-traced painter's pieces in what is shown to a net: they are fewer, and nearer to photos.
TRACED = 0.6


def painters(stems, device):
    """Weight of each piece, so that the ray-traced ones together come as often as `TRACED` says."""
    traced = np.array(["cut-traced" in s for s in stems])
    share = TRACED if 0 < traced.sum() < len(traced) else 0.5
    weight = np.where(traced, share / max(1, traced.sum()), (1 - share) / max(1, (~traced).sum()))
    return torch.from_numpy(weight * len(stems)).float().to(device)


def shaded(picture, labels, which, draw, view):
    """A deep shadow close to the yarn, as a low lamp throws it: the yarn's own outline shifted across, dark, its rim soft or sharp."""
    cover = torch.maximum(labels[:, :1], 0.5 * labels[:, 1:2])
    # One of some shifts for the whole batch's outline, each picture its own share between two of them: a shadow from 1 to 12 rows wide.
    near, far = int(draw(1, 6, 1)), int(draw(6, 13, 1))
    sign = 1 if float(draw(0, 1, 1)) < 0.5 else -1
    cast = torch.maximum(cover, torch.maximum(cover.roll(sign * near, 2), torch.where(draw(0, 1, *view) < 0.5, cover.roll(sign * far, 2), cover.roll(sign * (near + far) // 2, 2))))
    cast = torch.maximum(cast, torch.maximum(cover.roll(sign * (near // 2), 2), cover.roll(sign * max(1, near - 1), 2)))
    soft = F.avg_pool2d(F.pad(cast, (2, 2, 2, 2), mode="replicate"), 5, 1)
    cast = torch.lerp(cast, soft, draw(0, 1, *view)) * (1 - cover)
    # Light that is left, in code values; what fills a shadow is tinted a little.
    left = draw(0.25, 0.85, *view) * draw(0.93, 1.07, view[0], 3, 1, 1)
    lost = torch.where(which, cast, torch.zeros_like(cast))
    picture = picture * (1 - lost * (1 - left)).clamp(0, 1)
    labels = torch.cat([labels[:, :2], torch.maximum(labels[:, 2:3], lost * (1 - left.mean(1, keepdim=True) ** 2.2))], 1)
    return picture, labels


class Strips:
    """All strips end to end: picture [3, 64, N], truth, columns at every fourth."""

    def __init__(self, stems, device):
        def one(stem):
            truth = json.load(open(stem + ".strip.json"))
            picture, labels = read(stem + ".strip.png"), read(stem + ".truth.png")
            if picture is None or labels is None or picture.shape[0] != ROWS:
                return None
            return picture, labels, truth, stem
        with ThreadPoolExecutor(16) as pool:
            got = [g for g in pool.map(one, stems) if g is not None]
        stems_got = [g[3] for g in got]
        self.length = torch.tensor([g[0].shape[1] for g in got], device=device)
        start = np.concatenate([[0], np.cumsum([g[0].shape[1] for g in got])[:-1]])
        self.start = torch.tensor(start, device=device)
        pack = lambda k: torch.from_numpy(np.concatenate([g[k] for g in got], 1)).permute(2, 0, 1).contiguous().to(device)
        self.picture, self.labels = pack(0), pack(1)
        columns = lambda k: torch.from_numpy(np.concatenate([np.asarray(g[2][k], np.float32) for g in got])).to(device)
        self.columns = torch.stack([columns(k) for k in ("top", "bottom", "phase", "tan", "valid")])
        per = lambda k: torch.tensor([g[2][k] for g in got], device=device)
        self.plies, self.direction = per("plies"), per("direction").float()
        # Of a kind of strip there may be many; each count of plies, and none, comes equally often.
        counts = torch.bincount(self.plies, minlength=5).float().clamp(min=1)
        self.weight = painters(stems_got, device) / counts[self.plies]

    def batch(self, size, width, generator, augment=True):
        device = self.start.device
        draw = lambda low, high, *shape: low + (high - low) * torch.rand(*shape, device=device, generator=generator)
        often = lambda p, *shape: torch.rand(*shape, device=device, generator=generator) < p
        i = torch.multinomial(self.weight, size, replacement=True, generator=generator)
        length, start = self.length[i], self.start[i]
        first = (torch.rand(size, device=device, generator=generator) * ((length - width).clamp(min=0) / 4 + 1)).long() * 4
        x = torch.arange(width, device=device)[None] + first[:, None]
        inside = (x < length[:, None])
        at = start[:, None] + torch.minimum(x, (length - 1)[:, None])
        picture = self.picture[:, :, at].permute(2, 0, 1, 3).float() / 255
        labels = self.labels[:, :, at].permute(2, 0, 1, 3).float() / 255
        c = torch.arange(width // 4, device=device)[None] + first[:, None] // 4
        at = torch.minimum(start[:, None] // 4 + c, start[:, None] // 4 + length[:, None] // 4 - 1)
        top, bottom, phase, tan, valid = self.columns[:, at]
        inside4 = inside.view(size, width // 4, 4).all(2)
        valid = valid * inside4
        plies, direction = self.plies[i], self.direction[i]
        if augment:
            # Mirrored across: S becomes Z. Turned by half a turn: nothing changes but which end comes first.
            m = often(0.5, size)
            flip = lambda t, d, w: torch.where(w.view(-1, *[1] * (t.dim() - 1)), t.flip(d), t)
            picture, labels = flip(picture, 2, m), flip(labels, 2, m)
            top, bottom = torch.where(m[:, None], ROWS - 1 - bottom, top), torch.where(m[:, None], ROWS - 1 - top, bottom)
            sign = torch.where(m, -1.0, 1.0)
            phase, tan, direction = phase * sign[:, None], tan * sign[:, None], direction * sign
            h = often(0.5, size)
            picture, labels = flip(picture, 3, h), flip(labels, 3, h)
            top, bottom, phase, tan, valid, inside4 = (flip(t, 1, h) for t in (top, bottom, phase, tan, valid, inside4))
            sign = torch.where(h, -1.0, 1.0)
            tan, direction = tan * sign[:, None], direction * sign
            view = (size, 1, 1, 1)
            picture, labels = shaded(picture, labels, often(0.08, *view), draw, view)
            # Beyond what cameras do: contrast, light, colour, blur, noise, few levels. Most are changed little, or a net that has to
            # answer for what nobody could read would not learn where the edge of an ordinary strand is.
            much = torch.where(often(0.4, *view), torch.ones(view, device=device), torch.full(view, 0.3, device=device))
            picture = picture.clamp(1e-4, 1) ** torch.exp(much * draw(-0.5, 0.5, *view)) * (1 + much * draw(-0.3, 0.2, *view)) * (1 + much * draw(-0.12, 0.12, size, 3, 1, 1))
            grey = picture.mean(1, keepdim=True)
            colour = torch.where(often(0.08, *view), torch.zeros(view, device=device), 1 + much * draw(-1.0, 0.6, *view))
            picture = grey + (picture - grey) * colour
            order = torch.stack([torch.randperm(3, device=device, generator=generator) if k % 3 == 0 else torch.arange(3, device=device) for k in range(size)])
            picture = torch.gather(picture, 1, order[:, :, None, None].expand_as(picture))
            picture = torch.where(often(0.03, *view), 1 - picture, picture)
            soft = F.avg_pool2d(F.pad(picture, (1, 1, 1, 1), mode="replicate"), 3, 1)
            picture = torch.lerp(picture, soft, much * draw(-0.4, 1.0, *view))
            picture = picture + torch.randn(picture.shape, device=device, generator=generator) * much * draw(0.0, 0.04, *view) * (often(0.7, *view))
            levels = torch.where(often(0.03, *view), draw(4.0, 16.0, *view), torch.full(view, 255.0, device=device))
            picture = (picture * levels).round() / levels
            picture = picture.clamp(0, 1)
        row = torch.linspace(-1, 1, ROWS, device=device)[None, None, :, None].expand(size, 1, ROWS, width)
        return torch.cat([picture, row], 1), labels, (top, bottom, phase, tan, valid), inside4, plies, direction


class Scenes:
    """Reduced photos with their truth, each in the top left corner of a square."""

    SIDE = 1600                                                      # what the scout looks at: scout.rs
    PLACES = 64

    def __init__(self, stems, device):
        def one(stem):
            got = [read(stem + end) for end in (".scout.png", ".scout-truth.png", ".scout-way.png")]
            if any(g is None for g in got) or max(got[0].shape[:2]) > self.SIDE:
                return None
            return *got, stem
        with ThreadPoolExecutor(16) as pool:
            got = [g for g in pool.map(one, stems) if g is not None]
        self.weight = painters([g[3] for g in got], device)
        n, side = len(got), self.SIDE
        picture, truth = np.zeros((n, side, side, 3), np.uint8), np.zeros((n, side // 2, side // 2, 6), np.uint8)
        place, rng = np.zeros((n, self.PLACES, 2), np.float32), np.random.default_rng(1)
        for i, (p, t, w, _) in enumerate(got):
            picture[i, : p.shape[0], : p.shape[1]] = p
            truth[i, : t.shape[0], : t.shape[1], :3], truth[i, : w.shape[0], : w.shape[1], 3:] = t, w
            # Half of the crops lie about yarn, where there is some.
            y, x = np.where(t[..., 0] > 128)
            anywhere = np.stack([rng.uniform(0, p.shape[1], self.PLACES), rng.uniform(0, p.shape[0], self.PLACES)], 1)
            if len(x):
                k = rng.integers(len(x), size=self.PLACES // 2)
                anywhere[: self.PLACES // 2] = np.stack([2 * x[k], 2 * y[k]], 1)
            place[i] = anywhere
        to = lambda v: torch.from_numpy(v).to(device)
        self.picture, self.truth, self.place = to(picture), to(truth), to(place)
        self.size = torch.tensor([[g[0].shape[1], g[0].shape[0]] for g in got], device=device).float()
        self.device = device

    def batch(self, size, side, generator):
        device, full = self.device, self.SIDE
        draw = lambda low, high, *shape: low + (high - low) * torch.rand(*shape, device=device, generator=generator)
        often = lambda p, *shape: torch.rand(*shape, device=device, generator=generator) < p
        integers = lambda n: torch.randint(n, (size,), device=device, generator=generator)
        i = torch.multinomial(self.weight, size, replacement=True, generator=generator)
        centre = self.place[i, integers(self.PLACES)] + side / 6 * torch.randn(size, 2, device=device, generator=generator)
        zoom, turn = torch.exp(draw(math.log(0.5), math.log(1.6), size)), draw(0, 2 * math.pi, size)
        mirror = torch.where(often(0.5, size), -1.0, 1.0)
        reach, cos, sin = side / 2 / zoom, torch.cos(turn), torch.sin(turn)
        base = (torch.arange(side, device=device) + 0.5) / side * 2 - 1
        wh = self.size[i]

        def grid(v):
            y, x = torch.meshgrid(v, v, indexing="ij")
            x = x[None] * mirror[:, None, None]
            y = y[None].expand_as(x)
            r, c, s = reach[:, None, None], cos[:, None, None], sin[:, None, None]
            at = torch.stack([centre[:, 0, None, None] + r * (c * x - s * y), centre[:, 1, None, None] + r * (s * x + c * y)], -1)
            # Beyond the picture's border it is seen in a mirror.
            period = 2 * wh[:, None, None]
            at = torch.remainder(at, period)
            at = torch.minimum(at, period - at).clamp(min=0.5)
            return 2 * at / full - 1

        source = self.picture[i].permute(0, 3, 1, 2).float()
        picture = F.grid_sample(source, grid(base), mode="bilinear", align_corners=False) / 255
        truth = self.truth[i].permute(0, 3, 1, 2).float()
        at = grid(base.view(side // 2, 2).mean(1))
        soft = F.grid_sample(truth[:, [0, 5]], at, mode="bilinear", align_corners=False)
        hard = F.grid_sample(truth, at, mode="nearest", align_corners=False)
        c2, s2 = (hard[:, 3] - 128) / 127, (hard[:, 4] - 128) / 127
        # The picture was turned by -turn and then, perhaps, mirrored left and right.
        ct, st = torch.cos(2 * turn)[:, None, None], torch.sin(2 * turn)[:, None, None]
        c, s = c2 * ct + s2 * st, (s2 * ct - c2 * st) * mirror[:, None, None]
        width = hard[:, 2] / 32 + torch.log2(zoom)[:, None, None]
        truth = torch.stack([soft[:, 0] / 255, (hard[:, 1] / 60).round(), c, s, width, (hard[:, 2] > 0).float(), soft[:, 1] / 255], 1)
        view = (size, 1, 1, 1)
        picture = picture.clamp(1e-4, 1) ** torch.exp(draw(-0.6, 0.6, *view)) * draw(0.6, 1.25, *view) * draw(0.88, 1.12, size, 3, 1, 1)
        grey = picture.mean(1, keepdim=True)
        picture = grey + (picture - grey) * torch.where(often(0.12, *view), torch.zeros(view, device=device), draw(0.0, 1.8, *view))
        picture = torch.where(often(0.08, *view), 1 - picture, picture)
        soft = F.avg_pool2d(F.pad(picture, (1, 1, 1, 1), mode="replicate"), 3, 1)
        picture = torch.lerp(picture, soft, draw(-0.4, 1.0, *view))
        picture = picture + torch.randn(picture.shape, device=device, generator=generator) * draw(0.0, 0.05, *view) * often(0.7, *view)
        return picture.clamp(0, 1), truth


def stems(folders, ending):
    every = sorted(p[: -len(ending)] for f in folders for p in glob.glob(os.path.join(f, "*" + ending)))
    # Two strips of no yarn a photo are enough.
    return [s for s in every if not s.endswith(("-no2", "-no3", "-no4"))]
