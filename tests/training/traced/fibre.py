"""Yarn, fibre by fibre: plies wound round the yarn's axis, fibres wound inside each ply, hairs leaving it; and its silhouette.

Lengths in mm, angles in radians, twist signed: positive = right-handed helix = Z.
"""
import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d, spline_filter1d

from lens import stream


def smooth_noise(rng, rows, n, ds, corr):
    """[rows, n] Gaussian noise of unit variance, correlated over about corr: cubic B-splines through random knots."""
    h = max(corr / ds, 1.0)
    m = int(np.ceil(n / h)) + 4
    x = np.arange(n) / h
    i = np.floor(x).astype(int)
    t = x - i
    w = np.stack([(1 - t) ** 3, 3 * t ** 3 - 6 * t ** 2 + 4, -3 * t ** 3 + 3 * t ** 2 + 3 * t + 1, t ** 3]) / 6
    w /= np.sqrt((w ** 2).sum(0))
    k = rng.standard_normal((rows, m)).astype(np.float32)
    w = w.astype(np.float32)
    return sum(k[:, i + j] * w[j] for j in range(4))


def draw_colour(rng):
    """Linear albedo from near-black to near-white, any hue."""
    v = float(np.exp(rng.uniform(np.log(.012), np.log(.9))))
    if rng.random() < .45:                                           # undyed wool, cotton, silk
        v = float(rng.uniform(.35, .92))
    sat = float(rng.beta(1.2, 1.8))
    hue = rng.random(3)
    hue = hue / hue.max()
    return np.clip(v * (1 - sat + sat * hue), .008, .93)


# Share of yarns of other kinds: rope of few thick yarns a ply, plied chenille, fulled yarn, cabled yarn or wire.
KINDS = [("rope", .08), ("chenille", .06), ("felted", .06), ("cable", .05)]
PLIES = {"rope": [2, 3, 3, 3, 4], "chenille": [2, 2, 2, 2, 3], "felted": [1, 1, 1, 2], "cable": [2, 3, 3, 4], "plain": [1, 2, 3, 4]}


def draw_yarn(rng, d):
    """A yarn of apparent width about d."""
    p = [k[1] for k in KINDS]
    kind = str(rng.choice([k[0] for k in KINDS] + ["plain"], p=p + [1 - sum(p)]))
    n = int(rng.choice(PLIES[kind]))
    y = {"kind": kind, "plies": n, "sign": 1 if rng.random() < .5 else -1, "d": d}
    y["compress"] = 1.0 if n == 1 else float(rng.uniform(.62, .88) if kind == "chenille" else rng.uniform(.80, 1.0))
    rel = np.ones(n)
    if n > 1 and kind in ("plain", "felted") and rng.random() < .35:
        rel = rng.uniform(.65, 1.3, n)
        rel /= rel.mean()
    rc = {1: 0.0, 2: 1.0, 3: 1.1547, 4: 1.4142}[n] * y["compress"]
    r = d / 2 if n == 1 else d / (2 * (1 + rc)) * {2: 1.2, 3: 1.08, 4: 1.05}[n]
    y["radii"] = r * rel
    # corkscrew: one ply of two runs nearly straight and the other winds round it
    y["share"] = float(rng.uniform(.08, .4)) if n == 2 and kind == "plain" and rng.random() < .14 else None
    angle = np.radians(rng.uniform(*{"plain": (6, 46), "rope": (20, 46), "chenille": (18, 42), "felted": (6, 26), "cable": (14, 42)}[kind]))
    y["T"] = np.tan(angle) / (2 * np.pi * (r if n == 1 else r * rc))
    y["cv"] = float(np.exp(rng.uniform(np.log(.02), np.log(.20))))
    y["corr"] = float(rng.uniform(4, 22) * d)
    y["thin"] = float(rng.uniform(.3, 2.0))                          # twist runs into thin places
    y["twist_cv"] = float(rng.uniform(.02, .16))
    y["balance"] = float(rng.uniform(.3, 1.2))
    y["slubs"] = float(rng.choice([0, 0, 0, rng.uniform(.1, 1.0)]))  # per 20 diameters
    y["migration"] = float(rng.uniform(.05, .3))
    y["locks"], y["lock_pull"], y["relief"] = int(rng.integers(4, 12)), float(rng.uniform(0, .5)), float(rng.uniform(0, .09))
    y["fine"] = float(rng.uniform(.55, 1.25))
    k = rng.random()
    y["hair"] = 0.0 if k < .12 else float(rng.uniform(2, 40)) if k < .55 else float(rng.uniform(40, 130)) if k < .85 else float(rng.uniform(130, 250))
    y["hair_len"] = float(rng.uniform(.9, 2.4) + .8 * d)
    y["hair_high"] = float(np.exp(rng.uniform(np.log(.06), np.log(.45)))) * (.6 + .5 * d)
    y["hair_r"] = float(rng.uniform(.006, .014) * max(1.0, d / 3))
    y["curl"] = float(rng.uniform(.01, .12))
    k = rng.random()
    base = draw_colour(rng)
    if n > 1 and k < .28:
        cols = [draw_colour(rng) for _ in range(n)]
        if rng.random() < .4:                                        # one ply differs
            cols = [cols[0]] + [cols[1]] * (n - 1)
    elif n > 1 and k < .4:                                           # near shades
        cols = [np.clip(base * rng.uniform(.6, 1.5), .008, .93) for _ in range(n)]
    else:
        cols = [base] * n
    y["rgb"] = cols
    y["heather"] = float(rng.choice([0, 0, 0, rng.uniform(.1, .5)]))
    y["contrast"] = float(rng.uniform(.02, .4))
    y["specular"], y["rough"], y["metal"] = float(rng.uniform(.02, .8)), float(rng.uniform(.3, .8)), 0.0
    y["coarse"], y["wander"], y["pile"], y["cabled"] = None, .12, 0.0, 0
    if kind in ("rope", "cable"):                                    # few thick yarns or wires, smooth and even
        y["cv"], y["slubs"], y["migration"], y["wander"] = float(rng.uniform(.01, .06)), 0.0, float(rng.uniform(.01, .06)), .03
        y["lock_pull"], y["relief"], y["balance"] = 0.0, float(rng.uniform(0, .03)), float(rng.uniform(.7, 1.2))
        y["hair"] = 0.0 if rng.random() < .6 else float(rng.uniform(1, 12))
        y["coarse"] = float(rng.uniform(5, 14) if kind == "rope" else rng.uniform(9, 20))
        y["cabled"] = int(rng.integers(2, 5)) if kind == "cable" else 0
        if rng.random() < (.5 if kind == "cable" else .1):           # wire
            y["metal"], y["rough"] = 1.0, float(rng.uniform(.2, .5))
            y["rgb"] = [np.clip(rng.uniform(.45, .9) * np.exp(rng.normal(0, .06, 3)), .05, .93)] * n
    elif kind == "chenille":
        y["cv"], y["slubs"], y["pile"], y["hair"] = float(rng.uniform(.02, .07)), 0.0, float(rng.uniform(.18, .36)), float(rng.choice([0, rng.uniform(1, 15)]))
        y["contrast"] = float(rng.uniform(.02, .15))
        if rng.random() < .75:
            y["rgb"] = [draw_colour(rng) for _ in range(n)]
    elif kind == "felted":
        y["cv"], y["migration"], y["wander"], y["specular"] = float(rng.uniform(.02, .09)), float(rng.uniform(.3, .6)), float(rng.uniform(.3, .9)), float(rng.uniform(0, .2))
        y["hair"], y["hair_len"], y["hair_high"], y["curl"] = float(rng.uniform(120, 420)), float(rng.uniform(.15, .7) * d), float(rng.uniform(.02, .1) * d), float(rng.uniform(.1, .5))
        y["contrast"] = float(rng.uniform(.02, .12))
    # Short bright or other pieces on the surface, all over or along the flanks of the plies.
    y["glints"] = float(np.exp(rng.uniform(np.log(4), np.log(60)))) if rng.random() < {"rope": .45, "plain": .05}.get(kind, 0) else 0.0
    y["glint_rgb"] = np.full(3, rng.uniform(.6, .93)) if rng.random() < .6 else draw_colour(rng)
    y["glint_metal"], y["glint_flank"] = float(rng.random() < .5), bool(rng.random() < .6)
    return y


def step_for(y, px):
    """Step along the yarn (mm): sixteen to a turn, nine to a diameter, no finer than 0.7 pixel (px = mm a pixel)."""
    return float(max(.7 * px, min(1 / y["T"] / 16, y["d"] / 9, 4 * px)))


class Strand:
    def __init__(self, y, seed, n, ds):
        """Thickness and twist along n steps; the place comes later (lay)."""
        rng = stream(seed, "profile")
        self.y, self.n, self.ds, self.seed = y, n, ds, seed
        N = self.N = y["plies"]
        own = .8 * smooth_noise(rng, N, n, ds, y["corr"]) + .6 * smooth_noise(rng, N, n, ds, y["corr"] / 4)
        g = own if N == 1 else .8 * own + .6 * smooth_noise(rng, 1, n, ds, y["corr"] * 1.6)
        rel = np.clip(1 + y["cv"] * (1 if N == 1 else 1.25) * g, .4, 2.2)
        s = np.arange(n) * ds
        for _ in range(rng.poisson(y["slubs"] * n * ds / (20 * y["d"]))):
            p, l, a = rng.uniform(0, n * ds), rng.uniform(3, 12) * y["d"], rng.choice([1, -.6]) * rng.uniform(.3, .9)
            t = np.clip(np.abs(s - p) / (l / 2), 0, 1)
            b = 1 + a * .5 * (1 + np.cos(np.pi * t))
            if N > 1 and rng.random() < .4:
                rel[int(rng.integers(N))] *= b
            else:
                rel = rel * b
        r = self.r = y["radii"][:, None] * rel
        c = y["compress"]
        if N == 1:
            self.R, self.delta = np.zeros((1, n)), np.zeros(1)
        elif N == 2:
            w = r ** 2
            f = w[1] / w.sum(0) if y["share"] is None else y["share"]
            d = c * r.sum(0)
            self.R, self.delta = np.stack([d * f, d * (1 - f)]), np.array([0, np.pi])
        else:
            # equal spacing round the axis, each ply pushed in or out by its size so that neighbours about touch
            k = 1 / np.sin(np.pi / N)
            m = r.mean(0)
            self.R = c * (m * k - .5 * (r - m))
            self.delta = 2 * np.pi * np.arange(N) / N
        area = np.sqrt((r ** 2).sum(0) / (y["radii"] ** 2).sum())
        area = gaussian_filter1d(area, max(1.0, 1.2 * y["d"] / ds))
        T = y["T"] * area ** -y["thin"] * np.clip(1 + y["twist_cv"] * smooth_noise(rng, 1, n, ds, 14 * y["d"])[0], .4, 1.8)
        self.T = y["sign"] * np.clip(T, .2 * y["T"], 3 * y["T"])
        self.phi = rng.uniform(0, 2 * np.pi) + 2 * np.pi * ds * np.concatenate([[0], np.cumsum(.5 * (self.T[1:] + self.T[:-1]))])
        self.env = gaussian_filter1d((self.R + r).max(0), max(1.0, .5 * y["d"] / ds))

    def lay(self, C, heading):
        """Put the axis at C [n, 3]; heading = direction in the table's plane, for the frame."""
        self.C = C
        t = np.gradient(C, axis=0)
        t /= np.linalg.norm(t, axis=1, keepdims=True)
        side = np.column_stack([-np.sin(heading), np.cos(heading), np.zeros(len(C))])
        side -= t * (side * t).sum(1, keepdims=True)
        self.U = side / np.linalg.norm(side, axis=1, keepdims=True)
        self.t, self.V = t, np.cross(t, self.U)
        self.A, self.e1, self.e2 = [], [], []
        dphi = 2 * np.pi * self.T
        self.alpha = []
        for k in range(self.N):
            p = self.phi + self.delta[k]
            er = np.cos(p)[:, None] * self.U + np.sin(p)[:, None] * self.V
            if self.N == 1:
                A, er, w = C, self.U, dphi
            else:
                A = C + self.R[k][:, None] * er
                q = dphi / np.sqrt(1 + (self.R[k] * dphi) ** 2)
                w = -q * (1 + self.y["balance"] * self.R[k] / self.r[k])
            tp = np.gradient(A, axis=0)
            tp /= np.linalg.norm(tp, axis=1, keepdims=True)
            e1 = er - tp * (er * tp).sum(1, keepdims=True)
            e1 /= np.linalg.norm(e1, axis=1, keepdims=True)
            self.A.append(A), self.e1.append(e1), self.e2.append(np.cross(tp, e1))
            self.alpha.append(np.concatenate([[0], np.cumsum(.5 * (w[1:] + w[:-1]) * self.ds)]) + (self.phi[0] if self.N == 1 else 0))

    def heart(self, k):
        """Radius of a ply's opaque heart."""
        return (.78 if self.y["cabled"] else .86) * (1 - self.y["pile"]) * self.r[k]

    def count(self, px, thrift=1.0):
        """Radius of a fibre over that of its ply, and fibres in a ply's shell: as many as pixels can tell, no more."""
        rel = 1 / np.clip(self.y["radii"].mean() / px / .42 * self.y["fine"] * thrift, 5.0, self.y["coarse"] or 42.0)
        return rel, int(np.clip(.75 * (1 - .66 ** 2) / rel ** 2, 14, 1000))

    def fibres(self, px, thrift=1.0):
        """For each ply: points [f, n, 3] and radii [f]."""
        rng = stream(self.seed, "fibres")
        y, out = self.y, []
        turn = 1 / y["T"]
        for k in range(self.N):
            rel, f = self.count(px, thrift)
            r = self.r[k] * (1 - y["pile"])
            rf = rel * y["radii"][k] * rng.uniform(.8, 1.2, f)
            i = np.arange(f)
            u0 = .44 + .56 * (i + .5) / f
            a0 = i * 2.399963 + rng.normal(0, .1, f)
            cent = rng.uniform(0, 2 * np.pi, y["locks"])
            dd = (a0[:, None] - cent + np.pi) % (2 * np.pi) - np.pi
            j = np.abs(dd).argmin(1)
            a0 -= y["lock_pull"] * dd[i, j] * np.sqrt(u0)
            low = 1 - y["relief"] * rng.uniform(0, 1.6, y["locks"])[j]
            u = u0[:, None] + y["migration"] * smooth_noise(rng, f, self.n, self.ds, turn * rng.uniform(.7, 2.5))
            u = np.abs(1 - np.abs(1 - np.abs(u)))
            rho = np.sqrt(np.clip(u, 0, 1)) * low[:, None] * (r[None] - rf[:, None])
            al = self.alpha[k][None] + a0[:, None] + y["wander"] * smooth_noise(rng, f, self.n, self.ds, turn * 1.5)
            x, z = rho * np.cos(al), rho * np.sin(al)
            if y["cabled"]:                                          # yarns within the ply, each round its own axis, wound the other way
                m = y["cabled"]
                sub = 1 / (1 + 1 / np.sin(np.pi / m))
                at = self.alpha[k][None] + (2 * np.pi / m * (i % m))[:, None]
                al = a0[:, None] - .6 * self.alpha[k][None]
                x = (1 - sub) * r * np.cos(at) + sub * rho * np.cos(al)
                z = (1 - sub) * r * np.sin(at) + sub * rho * np.sin(al)
            p = self.A[k][None] + x[..., None] * self.e1[k] + z[..., None] * self.e2[k]
            out.append((p.astype(np.float32), rf.astype(np.float32)))
        return out

    # Pile covers its outer fringe in part: an outline of this share of the ply's radius covers as much (check_labels.py).
    FRINGE = .93

    def pieces(self, px, most):
        """What stands out from each ply or lies on it, body too: (ply, points [f, m, 3], radii [f, m], pile or not)."""
        rng = stream(self.seed, "pieces")
        y, m, out = self.y, 6, []
        t, L = np.linspace(0, 1, m), (self.n - 1) * self.ds
        for k in range(self.N):
            r0 = y["radii"][k]
            # Between two plies there is none.
            wide = 1.9 if self.N == 2 else np.pi
            for pile in [True] * (y["pile"] > 0) + [False] * (y["glints"] > 0):
                area = 2 * wide * r0 * L
                f = int(np.clip(area / (.8 * px) ** 2, 0, most / self.N)) if pile else int(min(y["glints"] * L / (2 * r0 * self.N), most / self.N))
                if f < 1:
                    continue
                gap = np.sqrt(area / f)
                al = rng.uniform(-wide, wide, f)
                if not pile and y["glint_flank"] and self.N > 1:
                    al = rng.choice([-1, 1], f) * rng.normal(1.15, .22, f)
                long = (.35 * rng.normal(0, 1, f) if pile else rng.uniform(.5, 2.2, f)) * r0
                q = np.clip((rng.uniform(0, L, f)[:, None] + long[:, None] * t) / self.ds, 0, self.n - 1.001)
                i = q.astype(int)
                g = (q - i)[..., None]
                A, e1, e2 = (X[k][i] * (1 - g) + X[k][i + 1] * g for X in (self.A, self.e1, self.e2))
                r = self.r[k][i]
                if pile:
                    tip = 1 + .06 * rng.normal(0, 1, f)
                    rho = r * (.9 * (1 - y["pile"]) + (tip[:, None] - .9 * (1 - y["pile"])) * t)
                    al = al[:, None] + (.2 * rng.normal(0, 1, f))[:, None] * t
                    rad = np.full((f, m), max(.4 * gap, .3 * px)) * np.linspace(1, .8, m)
                else:
                    rad = np.full((f, m), max(.035 * r0, .3 * px)) * rng.uniform(.6, 1.4, f)[:, None]
                    rho = r - .4 * rad
                    al = al[:, None] + self.alpha[k][i] - self.alpha[k][i[:, :1]]
                p = A + (rho * np.cos(al))[..., None] * e1 + (rho * np.sin(al))[..., None] * e2
                p[..., 2] = np.maximum(p[..., 2], .02) if not self.wrapped else p[..., 2]
                out.append((k, p, rad, pile))
        return out

    def hairs(self, px, most=5000):
        """Points [h, 12, 3], radii [h, 12], ply [h]; None where there are none."""
        rng = stream(self.seed, "hairs")
        y, L = self.y, (self.n - 1) * self.ds
        h = min(int(rng.poisson(y["hair"] * L / 10)), most)
        if h < 1:
            return None
        m = 12
        t = np.linspace(0, 1, m)
        ln = y["hair_len"] * rng.lognormal(0, .45, h)
        H = np.minimum(y["hair_high"] * rng.exponential(1, h), .8 * ln)
        go = np.sqrt(np.maximum(ln ** 2 - H ** 2, .05 * ln ** 2)) * rng.choice([-1, 1], h)
        loop = rng.random(h) < .35
        rise = np.where(loop[:, None], np.sin(np.pi * t), t[None] ** rng.uniform(.9, 2, h)[:, None]) * H[:, None]
        s0 = rng.uniform(0, L, h)
        q = np.clip((s0[:, None] + go[:, None] * t) / self.ds, 0, self.n - 1.001)
        i = q.astype(int)
        f = (q - i)[..., None]
        k = rng.integers(0, self.N, h)
        kk = np.broadcast_to(k[:, None], i.shape)
        get = lambda X: X[kk, i] * (1 - f) + X[kk, i + 1] * f
        A, e1, e2 = (get(np.stack(X)) for X in (self.A, self.e1, self.e2))
        al0 = self.alpha[0][i[:, :1]] if self.N == 1 else 0
        # hairs of a ply leave on its outer side (e1 points away from the yarn's axis)
        al = (rng.uniform(-np.pi, np.pi, h) if self.N == 1 else rng.uniform(-1.6, 1.6, h))[:, None] + al0 + (rng.normal(0, .8, h)[:, None] * t)
        rho = self.r[kk, i] * .9 + rise
        p = A + (rho * np.cos(al))[..., None] * e1 + (rho * np.sin(al))[..., None] * e2
        wav = (y["curl"] * rng.uniform(.2, 1.5, (h, 1, 3)) * ln[:, None, None] * .3) * t[None, :, None]
        p = p + wav * np.sin(2 * np.pi * (t[None, :, None] * ln[:, None, None] / rng.uniform(.8, 3.5, (h, 1, 3)) + rng.random((h, 1, 3))))
        rad = np.maximum(y["hair_r"], .05 * px) * rng.uniform(.7, 1.3, h)[:, None] * np.linspace(1, .5, m)
        return p, rad, k

    def silhouette(self, cam, fibres, cells=640):
        """On the normal of the projected centre line, at each step: centre, normal, and how far body reaches to either side (pixels).

        The fibres (and the plies' opaque hearts) are projected with the camera; on each normal the union of what they cover is
        summed outwards from the centre line, so that a thin gap between fibres counts as a gap."""
        c = cam.project(self.C)
        t = np.gradient(c, axis=0)
        step = np.maximum(np.hypot(*t.T), 1e-6)
        t /= step[:, None]
        nrm = np.column_stack([-t[:, 1], t[:, 0]])
        scale = cam.F / cam.depth(self.C)
        half = 1.7 * float((self.env * scale).max())
        cell = 2 * half / cells
        x = np.arange(self.n, dtype=float)
        acc = np.zeros(self.n * (cells + 2))
        base = np.arange(self.n) * (cells + 2)

        def add(P, rad):
            q = cam.project(P) - c
            of = (q * nrm).sum(-1)
            b = np.maximum.accumulate(thirds(x + (q * t).sum(-1) / step), axis=-1)
            of = thirds(of)                                          # a straight line between steps would cut the crests off
            R = rad * scale
            for j in range(len(P)):
                o = np.interp(x, b[j], of[j])
                w = R[j] * np.sqrt(1 + (np.gradient(o) / step) ** 2)
                lo = np.clip(np.rint((o - w + half) / cell), 0, cells).astype(int)
                hi = np.clip(np.rint((o + w + half) / cell), 0, cells).astype(int)
                acc[base + lo] += 1
                acc[base + hi] -= 1
        for k, (P, rf) in enumerate(fibres):
            add(P.astype(float), np.broadcast_to(rf[:, None], P.shape[:2]))
            add(self.A[k][None], self.heart(k)[None] if not self.y["pile"] else self.FRINGE * self.r[k][None])
        cov = np.cumsum(acc.reshape(self.n, -1), 1)[:, :cells] > .5
        a = cov[:, cells // 2:].sum(1) * cell
        b = cov[:, :cells // 2].sum(1) * cell
        return c, nrm, a, b

    def phase(self, cam):
        v = cam.pos - self.C
        return self.phi - np.unwrap(np.arctan2((v * self.V).sum(1), (v * self.U).sum(1)))

    def tan(self):
        return 2 * np.pi * self.T * (self.r[0] if self.N == 1 else self.R.mean(0))


def thirds(v):
    """Rows of samples with two more between each two, on their cubic B-spline."""
    c = np.pad(spline_filter1d(v, order=3, axis=-1, mode="mirror"), ((0, 0), (1, 2)), mode="reflect")
    n = v.shape[-1]
    out = np.empty((len(v), 3 * n - 2))
    out[:, ::3] = v
    for k, t in ((1, 1 / 3), (2, 2 / 3)):
        w = np.array([(1 - t) ** 3, 3 * t ** 3 - 6 * t ** 2 + 4, -3 * t ** 3 + 3 * t ** 2 + 3 * t + 1, t ** 3]) / 6
        out[:, k::3] = sum(w[i] * c[:, i:i + n - 1] for i in range(4))
    return out


def controls(P):
    """Control points of the cubic B-spline through the points, along axis -2."""
    return spline_filter1d(P, order=3, axis=-2, mode="mirror")


def drape(base, env, ds, d):
    """Height of an axis over a support (mm): a stiff thread bridges steps, so widen the support, then smooth it."""
    up = maximum_filter1d(base, max(1, int(2.4 * d / ds)), mode="nearest")
    return gaussian_filter1d(up, max(.8, 1.0 * d / ds), mode="nearest") + .97 * env
