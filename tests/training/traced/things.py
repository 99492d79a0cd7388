"""Things that are not yarn: meshes with a colour or a picture on them.

A thing is a list of (vertices [m, n, 3] as a grid, wrap round?, material); material = {"rgb"} or {"tex"}, with rough, specular, metal.
Each maker takes (r, w, length): w = its width in mm, length about how long it may be, and draws round the origin, along x, resting on z = 0.
"""
import cv2
import numpy as np

import ground as G


def mat(r, rgb=None, tex=None, metal=0.0, rough=None, specular=None):
    return {"rgb": G.shade(r, .015, .9, .9) if rgb is None and tex is None else rgb, "tex": tex, "metal": metal,
            "rough": float(r.uniform(.12, .7)) if rough is None else rough, "specular": float(r.uniform(.1, .9)) if specular is None else specular}


def steel(r):
    return mat(r, rgb=np.array([.55, .55, .56]) * r.uniform(.5, 1.3) * (1 if r.random() < .75 else np.array([1.2, .85, .4])), metal=1.0, rough=float(r.uniform(.12, .5)))


def frames(P):
    t = np.gradient(P, axis=0)
    t /= np.maximum(np.linalg.norm(t, axis=1, keepdims=True), 1e-9)
    side = np.cross([0, 0, 1.0], t)
    bad = np.linalg.norm(side, axis=1) < 1e-3
    side[bad] = [0, 1, 0]
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    return t, side, np.cross(t, side)


def tube(P, rad, m=20, sides=None):
    """A tube round the path P [n, 3]; rad [n] or [n, m]."""
    a = np.linspace(0, 2 * np.pi, m + 1)
    _, s, u = frames(P)
    R = np.asarray(rad, float)
    R = np.broadcast_to(R[:, None] if R.ndim == 1 else R, (len(P), m + 1))
    if sides:
        R = R * np.cos(np.pi / sides) / np.cos((a % (2 * np.pi / sides)) - np.pi / sides)
    return P[:, None] + (R * np.cos(a))[..., None] * s[:, None] + (R * np.sin(a))[..., None] * u[:, None]


def course(r, length, w, wild=1.0, n=160):
    """A winding path of about that length on z = w / 2."""
    s = np.linspace(0, 1, n)
    th = r.normal(0, .5) * wild * s + sum(r.normal(0, .5) * wild * np.sin(2 * np.pi * (s * f + r.random())) for f in r.uniform(.3, 2.5, 2))
    st = length / n
    P = np.column_stack([np.cumsum(np.cos(th)) * st, np.cumsum(np.sin(th)) * st, np.full(n, w / 2)])
    P[:, :2] -= P[:, :2].mean(0)
    return P


def straight(length, z, n=60):
    return np.column_stack([np.linspace(-length / 2, length / 2, n), np.zeros(n), np.full(n, z)])


def closed(p, a=.02):
    """Round off a tube's ends."""
    n = len(p)
    q = np.ones(n)
    q[0] = q[-1] = a
    return q


def pencil(r, w, L):
    sides = int(r.choice([6, 6, 8, 40]))
    P = straight(L, w / 2, 60)
    tip = 2.4 * w
    x = P[:, 0] + L / 2
    body = np.clip((x) / tip, .12, 1) * w / 2
    tex = np.zeros((8, 256, 3), np.float32)
    tex[:] = G.shade(r, .03, .8, 1)
    k = int(256 * tip / L)
    tex[:, :k] = [.62, .42, .22]
    tex[:, :max(1, int(k * .3))] = .03
    if r.random() < .6:
        tex[:, -14:-5] = .55
        tex[:, -5:] = [.7, .3, .28]
    return [(tube(P, body * closed(P), 24, sides if sides < 20 else None), mat(r, tex=tex))]


def pen(r, w, L):
    P = straight(L, w / 2, 70)
    x = (P[:, 0] + L / 2) / L
    rad = w / 2 * np.interp(x, [0, .03, .09, .1, .6, .61, .97, 1], [.12, .3, .75, 1, 1, 1.08, .95, .5])
    tex = np.zeros((8, 256, 3), np.float32)
    tex[:] = G.shade(r)
    tex[:, :26] = G.shade(r)
    tex[:, 150:] = G.shade(r)
    tex[:, 152:156] = .6
    out = [(tube(P, rad * closed(P), 20), mat(r, tex=tex))]
    if r.random() < .5:
        C = straight(L * .3, w * 1.05, 12) + [L * .3, 0, 0]
        out.append((tube(C, np.full(12, w * .09), 8), steel(r)))
    return out


def cable(r, w, L):
    P = course(r, L, w, 1.3, 220)
    return [(tube(P, w / 2 * closed(P), 16), mat(r))]


def wire(r, w, L):
    P = course(r, L, w * .5, 1.8, 220)
    return [(tube(P, w / 4 * closed(P), 10), steel(r) if r.random() < .7 else mat(r))]


def pattern_tube(r, w, L, tex):
    P = course(r, L, w, .8, 200)
    return [(tube(P, w / 2 * closed(P), 24), mat(r, tex=tex))]


def lace(r, w, L):
    """A braid: chevrons round a tube or a flat band."""
    n = max(8, int(L / w * r.uniform(1, 3)))
    k = 10
    a, b = G.shade(r), G.shade(r)
    y, x = np.mgrid[0:48, 0:n * k].astype(np.float32)
    t = ((x + np.abs(y - 24) * r.uniform(.4, 1.6)) / k) % 1
    s = np.sin(np.pi * t)
    t2 = ((x / k).astype(int) % 2)[..., None]
    tex = (np.where(t2, a, b) * (.35 + .65 * s)[..., None]).astype(np.float32)
    P = course(r, L, w, .8, 200)
    T = tube(P, w / 2 * closed(P), 24)
    if r.random() < .5:
        T[..., 2] *= .3
    return [(T, mat(r, tex=tex))]


def braid(r, w, L):
    """A plait of three or four strings, or a round cord of four to eight of them, wound half one way and half the other: no yarn's plies."""
    k = int(r.choice([3, 3, 4, 6, 8]))
    P = course(r, L, w, .8, int(min(900, 40 * L / w)))
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(P, axis=0), axis=1))])
    _, side, up = frames(P)
    lay = w * r.uniform(1.4, 4.5)                                    # one round of a string
    cols = [G.shade(r)] * k if r.random() < .5 else [G.shade(r) for _ in range(k)]
    rough, fine = r.uniform(.3, .9), r.uniform(0, .4)
    out = []
    for i in range(k):
        if k % 2:
            a = 2 * np.pi * (s / lay + i / k)
            rad, y, z = w * .2, w * .3 * np.sin(a), w * .11 * np.sin(2 * a)
        else:
            hand = 1 if i % 2 else -1
            a = 2 * np.pi * (hand * s / lay + (i // 2) / (k / 2))
            rad = w * min(.3, 1.5 / k)
            ring = w / 2 - rad + .35 * rad * np.cos(k / 2 * 2 * np.pi * s / lay + np.pi * (i % 2))
            y, z = ring * np.cos(a), ring * np.sin(a)
        Q = P + y[:, None] * side + z[:, None] * up
        tex = (cols[i] * (1 + fine * G.noise(r, 24, 512, 2, 1, 14))[..., None]).clip(.004, .95).astype(np.float32)
        out.append((tube(Q, rad * closed(Q), 10), mat(r, tex=tex, rough=rough, specular=.3)))
    return out


def board(r, w, L):
    """A plate with rows of holes, rings or pins, as boards for electronics and tools have."""
    pitch = w * r.uniform(.25, 1.2)
    m, n = int(np.clip(L / pitch, 4, 60)), int(r.integers(1, 16))
    q = 24                                                           # texels a hole
    y, x = (v.astype(np.float32) / q for v in np.mgrid[0:n * q, 0:m * q])
    d = np.hypot(x % 1 - .5, y % 1 - .5) if r.random() < .7 else np.maximum(np.abs(x % 1 - .5), np.abs(y % 1 - .5))
    hole, ring = r.uniform(.12, .3), r.uniform(.3, .46)
    tex = G.mix(np.tile(G.shade(r), (n * q, m * q, 1)).astype(np.float32), G.shade(r), np.clip((ring - d) * q + .5, 0, 1) * (r.random() < .7))
    tex = G.mix(tex, G.shade(r, .01, .3) if r.random() < .7 else G.shade(r), np.clip((hole - d) * q + .5, 0, 1))
    m_top, h = mat(r, tex=np.ascontiguousarray(tex, np.float32)), w * r.uniform(.05, .4)
    return [(f, m_top if i == 0 else mat(r)) for i, f in enumerate(slab(m * pitch, n * pitch, h))]


def straw(r, w, L):
    k = max(2, int(L / w / r.uniform(1.5, 6)))
    y, x = np.mgrid[0:32, 0:k * 32].astype(np.float32)
    t = ((x / 32 + y / 32) % 1) < r.uniform(.2, .7)
    tex = np.where(t[..., None], G.shade(r, .3, .9, 1), G.shade(r, .2, .9, 1)).astype(np.float32)
    if r.random() < .35:
        tex[:] = tex[0, 0]
    P = straight(L, w / 2)
    return [(tube(P, np.full(60, w / 2), 24), mat(r, tex=tex))]


def band(r, w, L):
    """Rubber band or ring: a closed smooth loop."""
    t = np.linspace(0, 2 * np.pi, 121)
    R = L * r.uniform(.12, .3)
    q = R * (1 + r.uniform(0, .35) * np.sin(2 * t + r.uniform(0, 6)) + r.uniform(0, .15) * np.sin(3 * t + r.uniform(0, 6)))
    P = np.column_stack([q * np.cos(t), q * np.sin(t) * r.uniform(.3, 1), np.full(121, w / 4)])
    return [(tube(P, np.full(121, w / 4), 12), mat(r))]


def ribbon(r, w, L):
    P = course(r, L, 0.1, .8, 160)
    _, s, _ = frames(P)
    v = np.linspace(-.5, .5, 9)
    z = np.abs(.12 * w * np.sin(np.linspace(0, r.uniform(0, 12), 160)))[:, None, None] * np.array([0, 0, 1.0]) + [0, 0, .15]
    k = r.random()
    tex = None
    if k < .5:
        tex = G.stripes(r, 64, 256) if k < .2 else np.repeat(G.bands(r, 64)[:, None], 16, 1)
    return [(P[:, None] + s[:, None] * v[None, :, None] * w + z, mat(r, tex=tex))]


def strip(r, w, L):
    P = straight(L, .2, 30)
    P[:, 2] += np.linspace(-1, 1, 30) ** 2 * r.uniform(0, .3) * w
    v = np.linspace(-.5, .5, 3)
    k = r.random()
    tex = np.ascontiguousarray(G.printed(r, 64, 512)) if k < .25 else G.rows(r, 64, 512, int(r.integers(1, 4))) if k < .65 else None
    return [(P[:, None] + np.array([0, 1.0, 0]) * v[None, :, None] * w, mat(r, tex=tex))]


def screw(r, w, L):
    L = min(L, w * r.uniform(4, 14))
    pitch = w * r.uniform(.18, .5)
    n = int(min(900, L / pitch * 14))
    P = straight(L, w * .55, n)
    a = np.linspace(0, 2 * np.pi, 25)
    x = P[:, 0] + L / 2
    h = np.abs(((x[:, None] / pitch - a / (2 * np.pi) * r.choice([-1, 1])) % 1) * 2 - 1)
    taper = np.clip(x / (1.6 * w), .1, 1)[:, None] if r.random() < .6 else 1
    R = w / 2 * (1 - r.uniform(.12, .35) * h) * taper
    out = [(tube(P, R, 24), steel(r))]
    H = straight(w * .5, w * .55, 8) + [L / 2 + w * .2, 0, 0]
    out.append((tube(H, w * np.array([.02, .6, .95, 1, 1, .95, .6, .02]) * .9, 24, 6 if r.random() < .4 else None), out[0][1]))
    return out


def spring(r, w, L):
    L = min(L, w * r.uniform(3, 20))
    pitch = w * r.uniform(.12, .7)
    n = int(min(2600, L / pitch * 22))
    t = np.linspace(0, L / pitch * 2 * np.pi, n) * r.choice([-1, 1])
    x = np.linspace(-L / 2, L / 2, n)
    wr = min(pitch * .45, w * r.uniform(.05, .12))
    P = np.column_stack([x, (w / 2 - wr) * np.cos(t), w / 2 + (w / 2 - wr) * np.sin(t)])
    return [(tube(P, np.full(n, wr), 8), steel(r) if r.random() < .8 else mat(r))]


def beads(r, w, L):
    P = course(r, L, w, .8, 400)
    s = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(P, axis=0), axis=1))])
    gap = w * r.uniform(.9, 1.6)
    ph = (s / gap) % 1
    R = w / 2 * np.sqrt(np.clip(1 - ((ph - .5) * 2) ** 2, .02, 1))
    m = mat(r)
    if r.random() < .5:
        m = mat(r, tex=np.stack([G.shade(r)] * 10 + [G.shade(r)] * 10)[np.newaxis].repeat(4, 0)[:, np.arange(int(s[-1] / gap) * 20 + 20) % 20].astype(np.float32))
    return [(tube(P, R, 16), m)]


def chain(r, w, L):
    out, x = [], 0.0
    m = steel(r)
    l = w * r.uniform(1.1, 1.9)
    t = np.linspace(0, 2 * np.pi, 33)
    for i in range(int(min(L / (l * .75), 26))):
        k = .5 * w * (.95 if i % 2 == 0 else .3)
        C = np.column_stack([l / 2 * np.cos(t) + i * l * .75, k * np.sin(t), np.full(33, w / 2) + (0 if i % 2 == 0 else .35 * w) * np.sin(t)])
        out.append((tube(C - [min(L, 26 * l * .75) / 2, 0, 0], np.full(33, w * .11), 8), m))
    return out


def stick(r, w, L):
    P = course(r, L, w, .25, 120)
    R = w / 2 * (1 + .12 * G.noise(r, 120, 25, 6, 2)) * np.linspace(1, r.uniform(.4, 1), 120)[:, None]
    tex = (np.array([.3, .2, .12]) * r.uniform(.3, 2) * (1 + .25 * G.noise(r, 64, 512, 4, 3, 8))[..., None]).clip(.01, .9).astype(np.float32)
    return [(tube(P, R * closed(P)[:, None], 24), mat(r, tex=tex, rough=.8, specular=.1))]


def grass(r, w, L):
    out = []
    for _ in range(int(r.integers(1, 6))):
        P = course(r, L * r.uniform(.4, 1), .3, .6, 60) + [r.normal(0, .1) * L, r.normal(0, 1.5) * w, 0]
        _, s, _ = frames(P)
        g = np.clip(np.array([.16, .3, .07]) * np.exp(r.normal(0, .5, 3)), .01, .8)
        prof = (w * .3 * np.sin(np.pi * np.linspace(.1, 1, 60)))[:, None, None]
        v = np.linspace(-.5, .5, 3)[None, :, None]
        z = np.array([0, 0, 1.0]) * (np.abs(v) * .5 * prof + np.linspace(0, r.uniform(0, .2) * L, 60)[:, None, None])
        out.append((P[:, None] + s[:, None] * v * prof + z, mat(r, rgb=g, rough=.5)))
    return out


def leaf(r, w, L):
    n = 60
    x = np.linspace(0, 1, n)
    half = w * r.uniform(1.5, 4) * np.sin(np.pi * x ** r.uniform(.6, 1.2)) * (1 + .1 * np.sin(x * r.uniform(0, 90)))
    v = np.linspace(-1, 1, 15)
    Y = half[:, None] * v
    P = np.stack([np.broadcast_to((x - .5)[:, None] * min(L, w * 14), Y.shape), Y, .3 + .12 * np.abs(Y) + r.uniform(0, .1) * w * np.sin(9 * x)[:, None]], -1)
    g = np.clip(np.array([.16, .28, .07]) * np.exp(r.normal(0, .6, 3)), .01, .8)
    tex = np.tile(g.astype(np.float32), (128, 256, 1))
    cv2.line(tex, (0, 64), (256, 64), tuple(float(q) for q in g * 1.7), 2)
    for i in range(10, 250, 18):
        for s in (-1, 1):
            cv2.line(tex, (i, 64), (i + 34, 64 + s * 60), tuple(float(q) for q in g * 1.4), 1, cv2.LINE_AA)
    return [(P, mat(r, tex=tex, rough=.5))]


def disc(R, h, n=48):
    t = np.linspace(0, 2 * np.pi, n + 1)
    prof = np.array([[0, h], [.92 * R, h], [R, h * .85], [R, 0]])
    return np.stack([prof[:, :1] * np.cos(t), prof[:, :1] * np.sin(t), np.broadcast_to(prof[:, 1:], (4, n + 1))], -1)


def coin(r, w, L):
    return [(disc(w * r.uniform(1, 3), w * .25), steel(r)) for _ in range(1)]


def button(r, w, L):
    R = w * r.uniform(.8, 2)
    out = [(disc(R, w * .3), mat(r))]
    dark = mat(r, rgb=np.full(3, .01))
    for a in np.arange(4) * np.pi / 2:
        out.append((disc(R * .12, w * .31) + [R * .3 * np.cos(a), R * .3 * np.sin(a), 0], dark))
    return out


def finger(r, w, L):
    """Fingers of a hand that reaches in."""
    skin = np.array([.48, .26, .17]) * np.exp(r.uniform(-1.8, .45)) * np.exp(r.normal(0, .06, 3))
    out = []
    k = int(r.integers(1, 5))
    for i in range(k):
        l = L * r.uniform(.55, .8)
        P = course(r, l, w * 1.6, .18, 60)
        P[:, 0] += L / 2 - l / 2
        P[:, 1] += (i - (k - 1) / 2) * w * 2.1
        x = np.linspace(0, 1, 60)
        R = .95 * w * (1 + .07 * np.sin(x * 14)) * np.sqrt(np.clip(x / .12, .02, 1)) * (1 + .3 * x)
        P[:, 2] = R + x * r.uniform(0, .5) * w
        m = mat(r, rgb=np.clip(skin, .02, .9), rough=.5, specular=.4)
        out.append((tube(P, R, 24), m))
        if r.random() < .6:
            out.append((tube(P[2:14] + [0, 0, .25 * w], R[2:14] * .8, 16), mat(r, rgb=np.clip(skin * [1.15, 1.2, 1.3], .02, .9), rough=.3)))
    return out


def scissors(r, w, L):
    m, h = steel(r), mat(r)
    out = []
    a = r.uniform(.04, .5)
    for s in (-1, 1):
        n = 30
        x = np.linspace(0, 1, n)
        bl = np.stack([np.broadcast_to(x[:, None] * L * .55, (n, 3)), (w * .55 * (1 - x) ** .6)[:, None] * np.linspace(0, 1, 3) * s, np.full((n, 3), w * .3) + .1 * s], -1)
        t = np.linspace(0, 2 * np.pi, 49)
        ring = tube(np.column_stack([-L * .33 + L * .12 * np.cos(t), s * L * .1 + L * .07 * np.sin(t), np.full(49, w * .35)]), np.full(49, w * .3), 12)
        arm = tube(np.column_stack([np.linspace(0, -L * .22, 10), np.linspace(0, s * L * .1, 10), np.full(10, w * .3)]), np.full(10, w * .3), 12)
        c, q = np.cos(a * s), np.sin(a * s)
        M = np.array([[c, -q, 0], [q, c, 0], [0, 0, 1]])
        out += [(bl @ M.T, m), (ring @ M.T, h), (arm @ M.T, h)]
    return out


def clip(r, w, L):
    t = np.linspace(0, 1, 150)
    l, k = w * r.uniform(3, 7), w * .8
    pts = np.array([[-l, k], [l, k], [l + k, 0], [l, -k], [-l * .8, -k], [-l * .8 - .7 * k, -.2 * k], [-l * .8, .5 * k], [l * .6, .5 * k]])
    s = np.linspace(0, len(pts) - 1, 150)
    P = np.column_stack([np.interp(s, np.arange(len(pts)), pts[:, i]) for i in range(2)] + [np.full(150, w * .12)])
    P[2:-2, :2] = (P[:-4, :2] + P[1:-3, :2] + P[2:-2, :2] + P[3:-1, :2] + P[4:, :2]) / 5
    return [(tube(P, np.full(150, w * .1), 10), steel(r) if r.random() < .6 else mat(r))]


def comb(r, w, L):
    m = mat(r)
    out = [(tube(straight(L, w * .3, 20), np.full(20, w * .35) * closed(np.zeros(20)), 12), m)]
    p = w * r.uniform(.25, .8)
    for x in np.arange(-L / 2 + w, L / 2 - w, p)[:60]:
        P = np.column_stack([np.full(6, x), np.linspace(0, 2.5 * w, 6), np.full(6, w * .3)])
        out.append((tube(P, p * .25 * np.array([1, 1, 1, 1, .8, .1]), 8), m))
    return out


def needle(r, w, L):
    P = straight(L, w / 2, 60)
    x = P[:, 0] / L + .5
    R = w / 2 * np.clip(x / .08, .05, 1)
    m = steel(r) if r.random() < .4 else mat(r, rgb=np.array([.5, .33, .18]) * r.uniform(.5, 1.6)) if r.random() < .5 else mat(r)
    out = [(tube(P, R * closed(P), 20), m)]
    if r.random() < .5:
        t = np.linspace(0, np.pi, 20)
        out.append((tube(np.column_stack([L / 2 - w * np.cos(t), np.zeros(20), np.full(20, w)]), 1.1 * w * np.sin(t) + .01, 20), mat(r)))
    return out


def box(r, w, L):
    a, b, h = L * r.uniform(.15, .4), L * r.uniform(.1, .3), w * r.uniform(.3, 3)
    tex = G.surface(r, 200, 300)[0] if r.random() < .6 else None
    return [(q, m) for q in slab(a, b, h) for m in [mat(r, tex=tex)]]


def slab(a, b, h, z=0.0):
    """Five faces of a box a x b x h as grids; the first is its top, texture's top row along +y."""
    x, y = a / 2, b / 2
    q = lambda p: np.array(p, float).reshape(2, 2, 3) + [0, 0, z]
    return [q([(-x, y, h), (x, y, h), (-x, -y, h), (x, -y, h)]), q([(-x, -y, h), (x, -y, h), (-x, -y, 0), (x, -y, 0)]), q([(x, y, h), (-x, y, h), (x, y, 0), (-x, y, 0)]),
            q([(x, -y, h), (x, y, h), (x, -y, 0), (x, y, 0)]), q([(-x, y, h), (-x, -y, h), (-x, y, 0), (-x, -y, 0)])]


def corrugated(r, w, L):
    n = int(min(500, L / w * 24))
    x = np.linspace(-L / 2, L / 2, n)
    p = w * r.uniform(.4, 1.5)
    s = np.sin(2 * np.pi * x / p)
    z = p * r.uniform(.1, .4) * (1 + (np.abs(s) if r.random() < .4 else s))
    v = np.linspace(-1, 1, 5) * L * r.uniform(.1, .4)
    P = np.stack([np.broadcast_to(x[:, None], (n, 5)), np.broadcast_to(v, (n, 5)), np.broadcast_to(z[:, None], (n, 5))], -1)
    return [(P, mat(r, rgb=np.array([.45, .3, .17]) * r.uniform(.5, 1.5) if r.random() < .5 else None))]


def pebble(r, w, L):
    out = []
    for _ in range(int(r.integers(1, 5))):
        R = w * r.uniform(.4, 2)
        t, p = np.linspace(0, np.pi, 20), np.linspace(0, 2 * np.pi, 33)
        k = 1 + .12 * G.noise(r, 20, 33, 8)
        k[:, -1] = k[:, 0]
        P = np.stack([R * k * np.sin(t)[:, None] * np.cos(p), R * .8 * k * np.sin(t)[:, None] * np.sin(p), R * .6 * (1 + np.cos(t)[:, None] * k)], -1)
        out.append((P + [r.normal(0, 2) * w, r.normal(0, 2) * w, 0], mat(r, tex=G.stone(r, 64, 64), rough=.7)))
    return out


def crumbs(r, w, L):
    out = []
    m = mat(r)
    for _ in range(int(r.integers(5, 40))):
        P = course(r, w * r.uniform(.2, 2), w * .06, 1.5, 16) + [r.uniform(-.5, .5) * L, r.uniform(-.4, .4) * L, 0]
        out.append((tube(P, np.full(16, w * r.uniform(.01, .06)), 6), m))
    return out


def wrinkle(r, w, L):
    """A fold of cloth: a soft ridge."""
    P = course(r, L, .1, .5, 120)
    _, s, _ = frames(P)
    v = np.linspace(-1, 1, 25)
    z = (.6 * w * np.exp(-(v / .35) ** 2))[None, :, None] * np.sin(np.pi * np.linspace(0, 1, 120))[:, None, None] * np.array([0, 0, 1.0])
    return [(P[:, None] + s[:, None] * v[None, :, None] * w * 2 + z - [0, 0, .05], mat(r, rough=.8, specular=.1))]


MAKERS = [pencil, pen, cable, cable, wire, lace, braid, braid, board, straw, band, ribbon, strip, screw, spring, beads, chain, stick, grass, leaf, coin, button, scissors,
          clip, comb, needle, box, corrugated, pebble, crumbs, wrinkle]
