"""One scene drawn at random: where everything lies.  Places are chosen in pixels, so that they fall into the picture, then brought to the table (mm)."""
import cv2
import numpy as np
from scipy.ndimage import gaussian_filter1d

import ground as G
import ruled
import things
from fibre import Strand, draw_yarn, drape, smooth_noise, step_for
from lens import Camera, stream

BUDGET = 800_000                                                     # control points of all fibres
ARRANGED = [("lanes", .40), ("touching", .11), ("crossing", .15), ("wraps", .08), ("skein", .08), ("kinked", .09), ("loose", .09)]
# As most people photograph yarn that they want measured: see Scene.everyday.
EVERYDAY = [("lanes", .74), ("touching", .06), ("crossing", .08), ("kinked", .06), ("loose", .06)]


class Heights:
    """What lies where: the height of the uppermost surface over the table (mm), on a grid."""

    def __init__(self, cam, mm_px):
        g = cam.ground(np.array([[-.1 * cam.w, -.1 * cam.h], [1.1 * cam.w, -.1 * cam.h], [1.1 * cam.w, 1.1 * cam.h], [-.1 * cam.w, 1.1 * cam.h]]))
        self.lo, hi = g.min(0), g.max(0)
        self.cell = max(2 * mm_px, (hi - self.lo).max() / 1600)
        n = np.ceil((hi - self.lo) / self.cell).astype(int) + 1
        self.z = np.zeros((n[1], n[0]), np.float32)

    def ij(self, xy):
        q = np.rint((xy - self.lo) / self.cell).astype(int)
        return np.clip(q[..., 1], 0, self.z.shape[0] - 1), np.clip(q[..., 0], 0, self.z.shape[1] - 1)

    def under(self, xy, heading, half):
        n = np.stack([-np.sin(heading), np.cos(heading)], -1)
        return np.max([self.z[self.ij(xy + o * half * n)] for o in np.linspace(-1, 1, 7)], 0)

    def stamp(self, C, heading, env):
        n = np.stack([-np.sin(heading), np.cos(heading)], -1)
        m = max(5, int(2.2 * env.max() / self.cell) | 1)
        for o in np.linspace(-1, 1, m):
            np.maximum.at(self.z, self.ij(C[:, :2] + (o * env)[:, None] * n), C[:, 2] + env * np.sqrt(max(0.0, 1 - o * o)))

    def polygon(self, xy, z):
        m = np.zeros(self.z.shape, np.uint8)
        cv2.fillConvexPoly(m, np.rint((xy - self.lo) / self.cell).astype(np.int32), 1)
        self.z[m > 0] = np.maximum(self.z[m > 0], z)

    def highest(self, xy):
        m = np.zeros(self.z.shape, np.uint8)
        cv2.fillConvexPoly(m, np.rint((xy - self.lo) / self.cell).astype(np.int32), 1)
        return float(self.z[m > 0].max()) if m.any() else 0.0


# What is no yarn and looks most like it close up.
CLOSE = [things.braid, things.braid, things.braid, things.cable, things.lace, things.spring, things.ribbon, things.straw]


class Scene:
    def __init__(self, seed, scale=1.0):
        r = self.r = stream(seed, "scene")
        self.seed = seed
        long = int(r.uniform(1200, 2000) * scale / 2) * 2
        short = int(long * float(r.choice([.75, .75, .75, .667, .5625, 1.0])) / 2) * 2
        w, h = (long, short) if r.random() < .55 else (short, long)
        # Close up, from farther away, lest a thick strand's top be much nearer than its ground; pale: white on white.
        self.close = bool(r.random() < .09)
        self.pale = bool(not self.close and r.random() < .07)
        # Everyday: one strand or a few on paper, cloth, wood or a card, sharp, in daylight or by a lamp, from above.
        self.everyday = bool(not self.close and not self.pale and r.random() < .7)
        hf = np.radians(r.uniform(14, 32) if self.close else r.uniform(22, 67))
        F = long / 2 / np.tan(hf / 2)
        ppmm = float(np.clip(np.exp(r.uniform(np.log(4), np.log(24))) * scale, F / 500, F / 70))
        half = np.arctan(np.hypot(w, h) / 2 / F)
        tilt = float(r.choice([r.uniform(0, 6), abs(r.normal(0, 12)), r.uniform(0, 30)])) * (.5 if self.everyday else 1)
        tilt = min(np.radians(tilt), np.radians(30), np.radians(66) - half)
        cam = self.cam = Camera(w, h, F, float(r.normal(0, .02)) if r.random() < .7 else 0.0, F / ppmm, max(tilt, 0.0), r.uniform(0, 6.28), r.uniform(0, 6.28) if r.random() < .3 else r.normal(0, .05))
        self.scale, self.mm = scale, 1 / ppmm                        # mm a pixel at the centre
        self.meshes, self.strands, self.rulers, self.yarns = [], [], [], []
        self.under = []                                              # mean colours of what yarn may lie on
        self.H = Heights(cam, self.mm)
        self.busy = np.zeros((h // 4 + 1, w // 4 + 1), np.uint8)
        self.focus_error = float(r.choice([0, 0, 0, r.normal(0, .03), r.normal(0, .09)])) * cam.dist * (.3 if self.everyday else 1)
        self.aperture = float(r.uniform(.4, 1.6)) * cam.dist / 250
        self.table()
        none = r.random() < (.04 if self.everyday else .18)
        if r.random() < (.15 if self.close else .65 if self.everyday else .5):
            self.put_card()
        if not self.close and r.random() < (.6 if none else .45):
            self.put_ruler()
            if r.random() < .12:
                self.put_ruler()
        self.arranged = "none"
        if not none:
            kinds = EVERYDAY if self.everyday else ARRANGED
            p = np.array([a[1] for a in kinds])
            self.arranged = kinds[int(r.choice(len(kinds), p=p / p.sum()))][0]
            if self.close:
                self.arranged = str(r.choice(["lanes", "lanes", "lanes", "touching", "skein"]))
            getattr(self, self.arranged)(*[1] * (self.close and self.arranged == "lanes"))
            if not self.close and self.arranged != "lanes" and r.random() < (.2 if self.everyday else .6):
                self.lanes(int(r.integers(1, 3)))
        k = int(r.choice([0, 1, 2, 3, 4, 6, 9], p=[.16, .18, .2, .16, .14, .1, .06])) if not none else int(r.integers(1, 10))
        if self.everyday:
            k = k // 4
        if self.close:
            k = k // 3
            if none:
                self.put_thing(CLOSE[int(r.integers(len(CLOSE)))], wpx=self.close_px())
        for _ in range(k):
            self.put_thing()
        if r.random() < (.03 if self.everyday else .07):
            self.put_thing(things.finger, edge=True)
        self.light()

    # ---- surroundings
    def table(self):
        r, cam = self.r, self.cam
        g = cam.ground(np.array([[-.12 * cam.w, -.12 * cam.h], [1.12 * cam.w, -.12 * cam.h], [1.12 * cam.w, 1.12 * cam.h], [-.12 * cam.w, 1.12 * cam.h]]))
        lo, hi = g.min(0), g.max(0)
        size = hi - lo
        t = float(np.clip(size.max() / 3000, .85 * self.mm, None))   # mm a texel
        w, h = int(size[0] / t), int(size[1] / t)
        tex, self.ground_kind = G.surface(stream(self.seed, "ground"), h, w, G.TABLES if self.everyday else G.KINDS)
        if self.pale:
            tex, self.ground_kind = G.paper(stream(self.seed, "ground"), h, w), "pale"
            tex = np.clip(tex * (r.uniform(.4, .85) / tex.mean()), .02, .93)
        c = (lo + hi) / 2
        self.under.append(tex.mean((0, 1)))
        m = {"tex": tex, "rgb": None, "rough": float(r.uniform(.25, .9)), "specular": float(r.uniform(0, .5)), "metal": 0.0}
        n = 2
        x, y = np.linspace(lo[0], hi[0], n), np.linspace(hi[1], lo[1], n)
        Z = np.zeros((n, n))
        if not self.pale and not self.everyday and r.random() < .1:                        # ribs, waves or wrinkles, sunk below z = 0
            n = 420
            x, y = np.linspace(lo[0], hi[0], n), np.linspace(hi[1], lo[1], n)
            a, p = r.uniform(0, 3.14), self.mm * float(np.exp(r.uniform(np.log(max(12, 3 * size.max() / n / self.mm)), np.log(160))))
            X, Y = np.meshgrid(x, y)
            s = np.sin(2 * np.pi * (X * np.cos(a) + Y * np.sin(a)) / p)
            Z = (s if r.random() < .6 else np.abs(s)) if r.random() < .6 else G.noise(stream(self.seed, "relief"), n, n, r.uniform(10, 80), 3)
            Z = (Z - Z.max()) * p * r.uniform(.02, .16)
            self.ground_kind += "+relief"
        P = np.stack([np.broadcast_to(x, (n, n)), np.broadcast_to(y[:, None], (n, n)), Z], -1)
        self.add(P, m, 0, flat=True)
        far = 8000.0                                                 # the floor beyond, so that no light comes from below
        F = np.array([[[-far, far, -.4], [far, far, -.4]], [[-far, -far, -.4], [far, -far, -.4]]]) + [0, 0, 1.2 * Z.min()]
        self.add(F, {"tex": None, "rgb": tex.mean((0, 1)), "rough": .8, "specular": .2, "metal": 0.0}, 0, flat=True)

    def add(self, P, m, kind, flat=False):
        self.meshes.append({"P": np.asarray(P, np.float32), "mat": m, "kind": kind, "flat": flat})

    def turned(self, P, at, a, z=0.0):
        c, s = np.cos(a), np.sin(a)
        return P @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]).T + [at[0], at[1], z]

    def px_angle(self, at_px, a):
        """The world's direction of a direction in the picture."""
        q = self.cam.ground(np.array([at_px, np.asarray(at_px) + 8 * np.array([np.cos(a), np.sin(a)])]))
        d = q[1] - q[0]
        return float(np.arctan2(d[1], d[0]))

    def lay_slab(self, a, b, h, tex, at_px, ang, kind, mat, flip=False):
        at, w = self.cam.ground(np.array(at_px)), self.px_angle(at_px, ang)
        corner = self.turned(np.array([[-a / 2, b / 2, 0], [a / 2, b / 2, 0], [a / 2, -b / 2, 0], [-a / 2, -b / 2, 0]]), at, w)
        z = self.H.highest(corner[:, :2])
        side, top = dict(mat, tex=None, rgb=tex.reshape(-1, 3).mean(0) * .9), dict(mat, tex=tex, rgb=None)
        for i, q in enumerate(things.slab(a, b, h)):
            self.add(self.turned(q, at, w, z), top if i == 0 else side, kind, flat=True)
        self.H.polygon(corner[:, :2], z + h)
        corner[:, 2] = z + h
        return at, w, z, corner

    def put_card(self):
        r, cam = self.r, self.cam
        least = .6 if self.everyday else .2
        a, b = r.uniform(max(.3, least), 1.1) * cam.w * self.mm, r.uniform(least, .9) * cam.h * self.mm
        tex = ruled.card(stream(self.seed, "card"), a, b, 1.1 / self.mm)
        self.under.append(np.median(tex, (0, 1)))
        edge = .4 if self.everyday else .2
        at = r.uniform([edge * cam.w, edge * cam.h], [(1 - edge) * cam.w, (1 - edge) * cam.h])
        self.lay_slab(a, b, r.uniform(.05, .6), tex, at, r.normal(0, .2) if r.random() < .6 else r.uniform(0, 6.28), 2,
                      {"rough": r.uniform(.3, .9), "specular": r.uniform(0, .6), "metal": 0.0})

    def put_ruler(self):
        r, cam = self.r, self.cam
        ru = ruled.ruler(stream(self.seed, "ruler%d" % len(self.rulers)), 1.25 / self.mm)
        at = r.uniform([.15 * cam.w, .15 * cam.h], [.85 * cam.w, .85 * cam.h])
        ang = float(r.choice([0, np.pi / 2, np.pi, -np.pi / 2])) + r.normal(0, .12) if r.random() < .7 else r.uniform(0, 6.28)
        at_w, w, z, corner = self.lay_slab(ru["L"], ru["H"], ru["thick"], ru["tex"], at, ang, 1, {"rough": ru["rough"], "specular": r.uniform(.05, .7), "metal": 1.0 if ru["metal"] else 0.0})
        u = np.array([np.cos(w), np.sin(w)])
        c3 = np.array([*at_w, z + ru["thick"]])
        pp = self.cam.project(np.array([c3 - [*u, 0], c3 + [*u, 0]]))
        self.rulers.append({"corners": corner, "unit": ru["unit"], "px_per_mm": float(np.hypot(*(pp[1] - pp[0])) / 2), "thick": ru["thick"], "at": np.array(at), "angle": ang, "H": ru["H"], "L": ru["L"]})

    def close_px(self):
        """Width of a strand that fills much of the picture."""
        return float(np.exp(self.r.uniform(np.log(.12), np.log(.5)))) * min(self.cam.w, self.cam.h)

    def put_thing(self, maker=None, edge=False, wpx=None):
        r, cam = self.r, self.cam
        maker = maker or things.MAKERS[int(r.integers(len(things.MAKERS)))]
        wpx = wpx or float(np.exp(r.uniform(np.log(9), np.log(110)))) * self.scale if maker is not things.finger else r.uniform(50, 160) * self.scale
        w, L = wpx * self.mm, r.uniform(.2, 1.0) * max(cam.w, cam.h) * self.mm
        parts = maker(r, w, L)
        allp = np.concatenate([np.asarray(p).reshape(-1, 3) for p, _ in parts])
        lo, hi = allp.min(0), allp.max(0)
        box = np.array([[lo[0], lo[1], 0], [hi[0], lo[1], 0], [hi[0], hi[1], 0], [lo[0], hi[1], 0]])
        for attempt in range(14):
            if edge:
                e = r.uniform(0, 6.28)
                ang = e
                at = np.array([cam.w / 2, cam.h / 2]) + .62 * np.array([cam.w, cam.h]) * [np.cos(e), np.sin(e)]
            else:
                at, ang = r.uniform([0, 0], [cam.w, cam.h]), r.uniform(0, 6.28)
            a = self.px_angle(at, ang)
            corner = self.turned(box, cam.ground(np.array(at)), a)
            px = cam.project(corner) / 4
            m = np.zeros_like(self.busy)
            cv2.fillConvexPoly(m, np.rint(px).astype(np.int32), 1)
            if not (m & self.busy).any() or (attempt > 9 and r.random() < .25):
                break
        else:
            return
        on_yarn = bool((m & self.busy).any())
        z = self.H.highest(corner[:, :2]) if on_yarn or r.random() < .5 else 0.0
        for P, mt in parts:
            self.add(self.turned(np.asarray(P, float), cam.ground(np.array(at)), a, z + .02), mt, 3, flat=maker is things.box)
        self.busy |= m

    # ---- yarn
    def new_yarn(self, dpx=None, most=110):
        r = self.r
        if dpx is None and self.close:
            dpx = self.close_px() / self.scale
        elif dpx is None:
            k = r.random()
            lo, hi = (20, 110) if self.everyday else (14, 70) if k < .78 else (8, 14) if k < .9 else (70, 110)
            dpx = float(np.exp(r.uniform(np.log(lo), np.log(min(hi, max(most, lo * 1.05))))))
        y = draw_yarn(stream(self.seed, "yarn%d" % len(self.yarns)), dpx * self.scale * self.mm)
        y["px"] = dpx * self.scale
        if r.random() < (.12 if self.everyday else .22):             # the colour of what it may lie on, all of it or one ply
            like = np.clip(self.under[int(r.integers(len(self.under)))] * np.exp(r.uniform(-.35, .4)) * np.exp(r.normal(0, .04, 3)), .008, .93)
            one = r.random() < .35
            y["rgb"] = [like if not one or i == 0 else c for i, c in enumerate(y["rgb"])]
        if self.pale:
            y["rgb"] = [np.clip(self.under[0] / self.under[0].mean() * r.uniform(.66, .92) * np.exp(r.normal(0, .02, 3)), .3, .94)] * y["plies"]
            y["metal"] = 0.0
        self.yarns.append(y)
        return y

    def course(self, y, kind, through=None, angle=None, inside=None):
        """A path in pixels, dense, and whether each end lies within the picture."""
        r, cam = self.r, self.cam
        diag = np.hypot(cam.w, cam.h)
        inside = (r.random() < .22) if inside is None else inside
        L = r.uniform(.3, .85) * diag if inside else 1.5 * diag
        if inside and r.random() < .35:                              # a short piece
            L = max(60.0, min(L, r.uniform(8, 25) * y["px"]))
        n = int(L / 2)
        s = np.linspace(-.5, .5, n)
        th = np.full(n, r.uniform(0, 6.28) if angle is None else angle)
        if kind == "curved":
            th = th + r.normal(0, 1.1) * s + r.normal(0, .35) * np.sin(2 * np.pi * (s * r.uniform(.5, 1.6) + r.random()))
        elif kind == "wavy":
            f = r.uniform(1, 7)
            th = th + r.uniform(.05, .75) * np.sin(2 * np.pi * (s * f + r.random())) + r.normal(0, .3) * s
        elif kind == "loose":
            th = th + 1.3 * smooth_noise(r, 1, n, 2, max(.16 * diag, 3 * y["px"]))[0] + r.normal(0, 1.2) * s
        th = th + r.uniform(0, .05) * smooth_noise(r, 1, n, 2, 5 * y["px"])[0]
        turn = np.abs(np.gradient(th)) / 2                           # no bend sharper than 2.2 diameters
        lim = 1 / (2.2 * y["px"])
        if turn.max() > lim:
            th = gaussian_filter1d(th, turn.max() / lim * 3)
        p = np.cumsum(np.column_stack([np.cos(th), np.sin(th)]) * 2, 0)
        through = r.uniform([.12 * cam.w, .12 * cam.h], [.88 * cam.w, .88 * cam.h]) if through is None else through
        i = int(n * (.5 if not inside else r.uniform(.3, .7)))
        return p - p[i] + through, inside

    def free(self, p, dpx):
        q = np.rint(p / 4).astype(int)
        ok = (q[:, 0] >= 0) & (q[:, 1] >= 0) & (q[:, 0] < self.busy.shape[1]) & (q[:, 1] < self.busy.shape[0])
        return not ok.any() or self.busy[q[ok, 1], q[ok, 0]].mean() < .01

    def mark(self, p, dpx):
        cv2.polylines(self.busy, [np.rint(p / 4).astype(np.int32)], False, 1, max(1, int(dpx * 1.5 / 4)))

    def trim(self, p, keep):
        """The part of a path in or near the picture: between its first and last point there."""
        m = keep
        ok = (p[:, 0] > -m) & (p[:, 1] > -m) & (p[:, 0] < self.cam.w + m) & (p[:, 1] < self.cam.h + m)
        i = np.flatnonzero(ok)
        return p[i[0]:i[-1] + 1] if len(i) > 20 else None

    def add_strand(self, y, p, arrangement, cut, self_cross=False, kinks=()):
        """Lay yarn y along pixels p; kinks = stretches (from, to) of p as shares of its length."""
        n0 = len(p)
        q = self.trim(p, 2.5 * y["px"] + 24)
        if q is None:
            return
        i0 = int(np.flatnonzero((p == q[0]).all(1))[0])
        xy = self.cam.ground(q)
        seg = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        ds = step_for(y, self.mm)
        s = np.arange(0, seg[-1], ds)
        if len(s) < 24:
            return
        xy = np.stack([np.interp(s, seg, xy[:, k]) for k in range(2)], 1)
        sm = max(.6, .35 * y["d"] / ds)
        xy = gaussian_filter1d(xy, sm, axis=0, mode="nearest")
        n = len(s)
        t = np.gradient(xy, axis=0)
        head = np.unwrap(np.arctan2(t[:, 1], t[:, 0]))
        st = Strand(y, np.random.SeedSequence(self.seed, spawn_key=(len(self.strands),)).generate_state(1)[0].item(), n, ds)
        base = self.H.under(xy, head, .42 * st.env.mean())
        if self_cross:                                               # later parts lie on earlier ones
            z = base + st.env
            far = int(3.5 * y["d"] / ds)
            for j in range(far, n):
                e = np.hypot(*(xy[:max(1, j - far)] - xy[j]).T) < 1.05 * st.env[j] * 2
                if e.any():
                    z[j] = max(z[j], (z[:max(1, j - far)][e] + 2 * st.env[j]).max())
            base = z - st.env
        C = np.column_stack([xy, drape(base, st.env, ds, y["d"])])
        st.lay(C, head)
        self.H.stamp(C, head, st.env)
        px_s = np.interp(s, seg, np.arange(len(q)) + i0) / n0
        bad = np.zeros(n, bool)
        for a, b in kinks:
            bad |= (px_s > a) & (px_s < b)
        end = int(.9 * y["d"] / ds) + 1
        if cut:
            bad[:end] = bad[-end:] = True
        self.mark(q, y["px"])
        st.bad, st.arrangement, st.wrapped = bad, arrangement, False
        self.strands.append(st)

    def lanes(self, count=None):
        r = self.r
        count = count or int(r.choice([1, 2, 3, 4, 5], p=[.55, .25, .15, .05, 0] if self.everyday else [.2, .24, .26, .2, .1]))
        for i in range(count):
            y = self.new_yarn(most=110 if count < 4 else 60)
            for attempt in range(16):
                k = str(r.choice(["straight", "curved", "wavy"], p=[.45, .35, .2]))
                through = angle = None
                if i == 0 and self.rulers and attempt < 8:
                    ru = self.rulers[0]
                    rel = str(r.choice(["beside", "beside", "along", "across", "any"]))
                    side = np.array([-np.sin(ru["angle"]), np.cos(ru["angle"])])
                    if rel == "beside":
                        through = ru["at"] + side * r.choice([-1, 1]) * (ru["H"] / 2 / self.mm + y["px"] * r.uniform(.55, 4))
                        angle, k = ru["angle"] + r.normal(0, .04), "straight"
                    elif rel == "along":
                        through, angle, k = ru["at"] + side * r.uniform(-.35, .35) * ru["H"] / self.mm, ru["angle"] + r.normal(0, .05), "straight"
                    elif rel == "across":
                        through, angle = ru["at"], ru["angle"] + r.uniform(.5, 2.6)
                p, cut = self.course(y, k, through, angle)
                if self.free(p, y["px"]):
                    self.add_strand(y, p, "single", cut)
                    break

    def touching(self):
        r = self.r
        y = self.new_yarn(min(self.close_px(), 220) / self.scale if self.close else None, most=60)
        p, cut = self.course(y, str(r.choice(["straight", "curved"])), inside=False)
        t = np.gradient(p, axis=0)
        nrm = np.column_stack([-t[:, 1], t[:, 0]]) / np.hypot(*t.T)[:, None]
        off, last = 0.0, y
        same = r.random() < .6
        for i in range(int(r.integers(2, 5))):
            if i:
                new = last if same else self.new_yarn(y["px"] / self.scale * r.uniform(.6, 1.6))
                off += (last["px"] + new["px"]) / 2 * (r.uniform(.9, 1.12) if r.random() < .7 else r.uniform(1, 1.6))
                last = new
            self.add_strand(last, p + nrm * (off + .04 * y["px"] * smooth_noise(r, 1, len(p), 2, 12 * y["px"])[0][:, None]), "touching", cut)

    def crossing(self):
        r, cam = self.r, self.cam
        at = r.uniform([.25 * cam.w, .25 * cam.h], [.75 * cam.w, .75 * cam.h])
        a = r.uniform(0, 6.28)
        y = self.new_yarn(most=80)
        for i in range(int(r.choice([2, 2, 3, 4]))):
            if i and r.random() < .6:
                y = self.new_yarn(most=80)
            p, cut = self.course(y, str(r.choice(["straight", "curved", "wavy"])), at + r.normal(0, .12, 2) * [cam.w, cam.h], a + i * r.uniform(.5, 1.6), inside=r.random() < .15)
            self.add_strand(y, p, "crossing", cut)

    def wraps(self):
        """Yarn wound side by side round a card or rod."""
        r, cam = self.r, self.cam
        y = self.new_yarn(most=55)
        d = y["d"]
        Hc = r.uniform(.18, .45) * min(cam.w, cam.h) * self.mm
        m = int(np.clip(r.integers(4, 16), 2, .8 * max(cam.w, cam.h) / y["px"]))
        pitch = d * (r.uniform(.96, 1.12) if r.random() < .7 else r.uniform(1.1, 2.0))
        La = m * pitch + r.uniform(.1, 1) * Hc
        th = float(r.uniform(.1, .5) * d + r.uniform(.3, 3))
        at_px = r.uniform([.35 * cam.w, .35 * cam.h], [.65 * cam.w, .65 * cam.h])
        ang = r.choice([0, 1.5708]) + r.normal(0, .15)
        tex = ruled.card(stream(self.seed, "wound"), La, Hc, 1.1 / self.mm)
        at, w, z, corner = self.lay_slab(La, Hc, th, tex, at_px, ang, 2, {"rough": .6, "specular": .3, "metal": 0.0})
        cv2.fillConvexPoly(self.busy, np.rint(cam.project(corner) / 4).astype(np.int32), 1)
        ds = step_for(y, self.mm)
        u, v = np.array([np.cos(w), np.sin(w)]), np.array([-np.sin(w), np.cos(w)])
        slant = r.choice([-1, 1]) * pitch
        for i in range(m):
            x0 = (i - (m - 1) / 2) * pitch + r.normal(0, .03) * d
            half = Hc / 2
            n = int((Hc + np.pi * .6 * d + 2 * (th + d)) / ds)
            if n < 24:
                return
            st = Strand(y, np.random.SeedSequence(self.seed, spawn_key=(len(self.strands),)).generate_state(1)[0].item(), n, ds)
            R = float(st.env.mean())
            a = np.linspace(0, np.pi / 2, 20)
            pts = np.array([(-half - R, -th - 1.5 * R)] + [(-half - R * np.cos(q), R * np.sin(q)) for q in a] + [(half + R * np.sin(q), R * np.cos(q)) for q in a] + [(half + R, -th - 1.5 * R)])
            sa = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(pts, axis=0).T))])
            s = np.linspace(0, sa[-1], n)
            st.ds = float(s[1])
            yy, zz = np.interp(s, sa, pts[:, 0]), np.interp(s, sa, pts[:, 1])
            zz = gaussian_filter1d(zz, max(.6, .3 * R / st.ds), mode="nearest")
            xx = x0 + slant * (yy / (2 * half)) * .5
            C = np.column_stack([at + xx[:, None] * u + yy[:, None] * v, z + th + zz])
            st.lay(C, np.full(n, w + np.pi / 2))
            st.bad = np.abs(yy) > half - .2 * d
            st.arrangement, st.wrapped = "wraps", True
            self.H.stamp(C[~st.bad] if (~st.bad).any() else C, np.full((~st.bad).sum() or n, w + np.pi / 2), st.env[~st.bad] if (~st.bad).any() else st.env)
            self.strands.append(st)

    def skein(self):
        r = self.r
        full = self.close or r.random() < .35                        # the picture full of it
        y = self.new_yarn(r.uniform(28, 80) if full else None, most=42)
        m = int(r.integers(6, 16))
        p, cut = self.course(y, str(r.choice(["straight", "curved", "wavy"])), inside=False)
        t = np.gradient(p, axis=0)
        nrm = np.column_stack([-t[:, 1], t[:, 0]]) / np.hypot(*t.T)[:, None]
        width = m * y["px"] * (r.uniform(.45, .7) if r.random() < .6 else r.uniform(.9, 1.2))
        if full:
            width = .8 * np.hypot(self.cam.w, self.cam.h)
            m = min(30, int(width / y["px"] / r.uniform(.5, .95)))
        for o in r.permutation(np.linspace(-.5, .5, m)):
            w = o * width + y["px"] * r.uniform(.1, .9) * smooth_noise(r, 1, len(p), 2, r.uniform(12, 40) * y["px"])[0]
            self.add_strand(y, p + nrm * w[:, None], "skein", False)

    def kinked(self):
        r = self.r
        y = self.new_yarn(most=55)
        p, cut = self.course(y, str(r.choice(["straight", "curved"])), inside=False)
        t = np.diff(p, axis=0)
        th = np.unwrap(np.arctan2(t[:, 1], t[:, 0]))
        q = self.trim(p, 0)
        if q is None:
            return
        lo = int(np.flatnonzero((p == q[0]).all(1))[0])
        marks = sorted(r.uniform(lo + .15 * len(q), lo + .85 * len(q), int(r.integers(1, 4))).astype(int), reverse=True)
        kinks = []
        for i in marks:
            rad = y["px"] * r.uniform(.75, 2.6)
            m = int(2 * np.pi * rad * 1.2 / 2)
            x = np.linspace(0, 1, m)
            hand = r.choice([-1, 1])
            th = np.concatenate([th[:i], th[i] + hand * 2 * np.pi * (x - .1 * np.sin(2 * np.pi * x)), th[i:] + hand * 2 * np.pi])
            g = int(1.6 * y["px"] / 2)
            kinks = [(a + m, b + m) for a, b in kinks] + [(i - g, i + m + g)]
        start = p[0]
        p2 = start + np.concatenate([[[0, 0]], np.cumsum(2 * np.column_stack([np.cos(th), np.sin(th)]), 0)])
        c = p2[(kinks[-1][0] + kinks[-1][1]) // 2]
        p2 = p2 - c + self.r.uniform([.25 * self.cam.w, .25 * self.cam.h], [.75 * self.cam.w, .75 * self.cam.h])
        n = len(p2)
        self.add_strand(y, p2, "kinked", False, True, [(a / n, b / n) for a, b in kinks])

    def loose(self):
        r = self.r
        for _ in range(int(r.integers(1, 4))):
            y = self.new_yarn(most=60)
            p, cut = self.course(y, "loose", inside=r.random() < .75)
            self.add_strand(y, p, "loose", cut, self_cross=True)

    # ---- light
    def light(self):
        r = stream(self.seed, "light")
        self.lights, self.blockers = [], []
        # A lamp on the desk: low, small and near, so that the shadow beside the yarn is deep and as wide as the yarn or wider.
        desk = r.random() < (.15 if self.everyday else .35)
        el = np.radians(r.uniform(8, 28) if desk else r.uniform(15, 80))
        if self.pale and r.random() < .7:                            # a shadow that ends as sharply as the yarn does
            desk, el = False, np.radians(r.uniform(20, 65))
        size = float(np.exp(r.uniform(np.log(10), np.log(120)) if desk or self.pale else r.uniform(np.log(30), np.log(900))))
        far = float(np.exp(r.uniform(np.log(300), np.log(900)))) if desk else 900.0
        warm = r.normal(0, .22)
        rgb = np.clip(np.array([1 + .5 * warm, 1, 1 - .7 * warm]), .3, 1.8)
        az = r.uniform(0, 6.28)
        for i in range(int(r.choice([1, 1, 1, 2, 2, 3]))):
            E = 2.6 if i == 0 else r.uniform(.2, 2) * (.3 if desk else 1)
            self.lights.append((el, az, size, E, rgb, far))
            far = 900.0
            el, az, size = np.radians(r.uniform(20, 85)), r.uniform(0, 6.28), float(np.exp(r.uniform(np.log(30), np.log(700))))
            rgb = rgb * np.exp(r.normal(0, .12, 3))
        self.ambient = float(np.exp(r.uniform(np.log(.02), np.log(.3)) if desk else r.uniform(np.log(.04), np.log(1.2)))) * np.array([.93, .97, 1.03])
        cam = self.cam
        if r.random() < .3:                                          # things outside the picture that throw shadows into it
            for _ in range(int(r.integers(1, 4))):
                el, az = self.lights[0][:2]
                d = np.array([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)])
                at = np.array([*cam.ground(r.uniform([0, 0], [cam.w, cam.h])), 0]) + d * r.uniform(.3, 1.6) * cam.dist
                w, L = r.uniform(.02, .3) * cam.w * self.mm, r.uniform(.3, 1.5) * cam.w * self.mm
                parts = things.stick(r, w, L) if r.random() < .5 else things.finger(r, w * .5, L) if r.random() < .5 else things.strip(r, w * 2, L)
                a = r.uniform(0, 6.28)
                P = [(self.turned(np.asarray(p, float), at[:2], a, at[2]), m) for p, m in parts]
                q = np.concatenate([p.reshape(-1, 3) for p, _ in P])
                if (cam.depth(q) > 1).all() and not cam.inside(cam.project(q), -40).any() or (cam.depth(q) < -1).all():
                    for p, m in P:
                        self.add(p, m, 3)
