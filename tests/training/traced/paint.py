#!/usr/bin/env python3
"""Paint whole photos with yarn in them, ray-traced, with their truth.  See README.md.

  paint.py --first SEED (--count N | --seconds S) --out DIR [--variant llvm_ad_rgb] [--scale .5] [--spp 25] [--step 1]
"""
import argparse
import gc
import json
import os
import sys
import time
import traceback

import cv2
import numpy as np

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import develop
from fibre import Strand, controls
from lens import stream
from light import Light
from scene import BUDGET, Scene
from stage import Stage

LABEL = 4                                                            # 4 x 4 rays a pixel for the labels
MOST = 1_500_000                                                     # points of all fibres, four corners each: see the sizes in stage.py
VERSION = "raytraced-2"


class Tracer:
    def __init__(self, variant):
        import drjit as dr
        import mitsuba as mi
        mi.set_variant(variant)
        self.mi, self.dr = mi, dr
        self.rays = 24_000_000 if variant.startswith("cuda") else 1_500_000

    def build(self, sc, yarn):
        bundles = [(P, rad, m, i + 1, part) for i, st in enumerate(sc.strands) for P, rad, m, part in self.shapes(sc, st)] if yarn else []
        return Stage(self.mi, self.dr, sc.meshes, bundles)

    def shapes(self, sc, st):
        y = st.y
        r = stream(st.seed, "shades")
        N, many = st.N, len(sc.strands) > 6
        classes = 2 if many else 4
        m = lambda c: {"rgb": np.clip(c, .004, .94), "rough": y["rough"], "specular": y["specular"], "metal": y["metal"]}
        tint = np.exp(y["heather"] * stream(sc.seed, "tint%d" % id_of(sc, y)).normal(0, 1, (classes, 3)))
        same = all(np.array_equal(c, y["rgb"][0]) for c in y["rgb"])
        groups = {}
        for k, (P, rf) in enumerate(st.drawn):
            cls = r.integers(0, classes, len(P))
            Q = controls(P)
            for c in range(classes):
                groups.setdefault((0 if same else k, c), []).append((Q[cls == c], rf[cls == c]))
        for (k, c), parts in groups.items():
            P, rf = np.concatenate([p for p, _ in parts]), np.concatenate([q for _, q in parts])
            if len(P):
                gain = 1 + y["contrast"] * np.linspace(-1, 1, classes)[c]
                yield P, np.broadcast_to(rf[:, None], P.shape[:2]), m(y["rgb"][k] * gain * tint[c]), 1
        for k in range(1 if same else N):
            sel = range(N) if same else [k]
            yield controls(np.stack([st.A[q] for q in sel])), np.stack([st.heart(q) for q in sel]), m(y["rgb"][k] * .8), 1
        for k, P, rad, pile in st.pieces(sc.mm, int(40000 / max(2, len(sc.strands)))):
            if not pile:
                yield controls(P), rad, {"rgb": y["glint_rgb"], "rough": .3, "specular": .8, "metal": y["glint_metal"]}, 1
                continue
            cls = r.integers(0, classes, len(P))
            for c in range(classes):
                gain = 1 + y["contrast"] * np.linspace(-1, 1, classes)[c]
                yield controls(P[cls == c]), rad[cls == c], m(y["rgb"][k] * gain * tint[c]), 1
        if st.hair:
            P, rad, ply = st.hair
            for k in range(1 if same else N):
                sel = np.ones(len(P), bool) if same else ply == k
                if sel.any():
                    yield controls(P[sel]), rad[sel], m(y["rgb"][k] * 1.1), 2

    # ---- rays
    def lens(self, sc):
        mi, dr, c = self.mi, self.dr, sc.cam
        o = lambda v: dr.opaque(mi.Float, float(v))
        o3 = lambda v: mi.Vector3f(o(v[0]), o(v[1]), o(v[2]))
        return {"pos": o3(c.pos), "r": o3(c.right), "d": o3(c.down), "f": o3(c.fwd), "cx": o(c.c[0]), "cy": o(c.c[1]), "F": o(c.F), "k": o(c.k),
                "ap": o(sc.aperture), "focus": o(max(c.dist + sc.focus_error, 20.0)), "zero": o(0), "w": c.w, "h": c.h}

    def ray(self, L, px, py, lens=None):
        mi, dr = self.mi, self.dr
        x, y = (px - L["cx"]) / L["F"], (py - L["cy"]) / L["F"]
        k = 1 + L["k"] * (x * x + y * y)
        v = L["r"] * (x * k) + L["d"] * (y * k) + L["f"]
        o = mi.Point3f(L["pos"])
        if lens is not None:
            q = L["r"] * lens.x + L["d"] * lens.y
            v = v * L["focus"] - q
            o = o + q
        else:
            o = o + v * 0
        return mi.Ray3f(o, dr.normalize(v))

    def photo(self, sc, stage, spp, seed, half=False):
        """Linear light; half = half size, box pixels, no lens (for the shadow)."""
        mi, dr = self.mi, self.dr
        L, light = self.lens(sc), Light(self.mi, self.dr, sc.lights, sc.ambient)
        w, h = (L["w"] // 2, L["h"] // 2) if half else (L["w"], L["h"])
        rows = max(1, min(h, self.rays // (w * spp)))
        out = np.empty((h, w, 3), np.float32)
        W = dr.opaque(mi.UInt32, w)
        one, two = dr.opaque(mi.Float, 2.0 if half else 1.0), dr.opaque(mi.Float, .5 if half else 0.0)
        spread, box = dr.opaque(mi.Float, 0.0 if half else .42), dr.opaque(mi.Float, 2.0 if half else 0.0)
        ap = L["zero"] if half else L["ap"]
        for i, y0 in enumerate(range(0, h, rows)):
            y0 = min(y0, h - rows)
            n = rows * w * spp
            s = mi.load_dict({"type": "multijitter", "sample_count": spp})
            s.set_samples_per_wavefront(spp)
            s.seed(dr.opaque(mi.UInt32, (seed * 977 + i) & 0xffffffff), n)
            p = dr.arange(mi.UInt32, n) // spp
            q = p // W
            u = s.next_2d()
            g = mi.warp.square_to_std_normal(u)
            px = mi.Float(p - q * W) * one + two + g.x * spread + (u.x - .5) * box
            py = mi.Float(q + dr.opaque(mi.UInt32, y0)) * one + two + g.y * spread + (u.y - .5) * box
            lens = mi.warp.square_to_uniform_disk_concentric(s.next_2d()) * ap
            c = light.radiance(stage, self.ray(L, px, py, lens), s, dr.arange(mi.UInt32, n) % dr.opaque(mi.UInt32, spp))
            v = [dr.select(c[k] >= 0, dr.minimum(c[k], 10.0), 0) for k in range(3)]
            dr.eval(v)                                               # together: each alone would trace all paths again
            for k in range(3):
                out[y0:y0 + rows, :, k] = np.array(dr.block_sum(v[k], spp)).reshape(rows, w) / spp
        return out

    def grid(self, sc):
        mi, dr = self.mi, self.dr
        L = self.lens(sc)
        p = dr.arange(mi.UInt32, L["w"] * L["h"])
        W = dr.opaque(mi.UInt32, L["w"])
        X, Y = mi.Float(p % W), mi.Float(p // W)
        dr.eval(X, Y)
        return L, L["w"], L["h"], X, Y

    def labels(self, sc, stage):
        """Shares of body and of hair (bytes), and the strand + 1 that lies at each pixel's centre."""
        mi, dr = self.mi, self.dr
        L, w, h, X, Y = self.grid(sc)

        def look(dx, dy):
            """Through hairs to what lies behind: (hair met, part, strand + 1)."""
            ray = self.ray(L, X + dr.opaque(mi.Float, dx), Y + dr.opaque(mi.Float, dy))
            hair, part, who = dr.zeros(mi.UInt32, w * h), dr.zeros(mi.UInt32, w * h), dr.zeros(mi.UInt32, w * h)
            active = dr.full(mi.Bool, True, w * h)
            for _ in range(12):
                pi = stage.scene.ray_intersect_preliminary(ray, coherent=True, active=active)
                ok = active & pi.is_valid()
                yarn = ok & (dr.reinterpret_array(mi.UInt32, pi.shape) == stage.tube)
                a = dr.gather(mi.UInt32, stage.side_part, pi.prim_index, yarn)
                part, who = dr.select(ok, a, part), dr.select(ok, dr.gather(mi.UInt32, stage.side_strand, pi.prim_index, yarn), who)
                active = ok & (a == 2)
                hair = dr.select(active, 1, hair)
                ray.o = dr.select(active, ray.o + ray.d * (pi.t * 1.00001 + 1e-4), ray.o)
                dr.eval(part, who, hair, active, ray)
                if not dr.any(active):
                    break
            return hair, part, who
        R, Gr = dr.zeros(mi.UInt32, w * h), dr.zeros(mi.UInt32, w * h)
        for i in range(LABEL):
            for j in range(LABEL):
                hair, part, who = look((i + .5) / LABEL - .5, (j + .5) / LABEL - .5)
                R += dr.select(part == 1, 1, 0)
                Gr += dr.select((part != 1) & (hair == 1), 1, 0)
                dr.eval(R, Gr)
        _, part, who = look(0.0, 0.0)
        who = dr.select(part == 1, who, 0)
        g = lambda v: np.array(v).reshape(h, w)
        share = lambda v: np.rint(g(v) * (255 / LABEL ** 2)).astype(np.uint8)
        return share(R), share(Gr), g(who).astype(np.int32)

    def kinds(self, sc, stage):
        """What lies there: the commonest of four rays."""
        mi, dr = self.mi, self.dr
        L, w, h, X, Y = self.grid(sc)
        kinds = [dr.zeros(mi.UInt32, w * h) for _ in range(4)]
        for dx, dy in ((-.25, -.25), (.25, -.25), (-.25, .25), (.25, .25)):
            pi = stage.scene.ray_intersect_preliminary(self.ray(L, X + dr.opaque(mi.Float, dx), Y + dr.opaque(mi.Float, dy)), coherent=True)
            k = dr.gather(mi.UInt32, stage.face_kind, pi.prim_index, pi.is_valid() & (dr.reinterpret_array(mi.UInt32, pi.shape) != stage.tube))
            for q in range(4):
                kinds[q] += dr.select(k == q, 1, 0)
            dr.eval(kinds)
        return np.argmax(np.stack([np.array(k).reshape(h, w) for k in kinds]), 0)


def id_of(sc, y):
    return next(i for i, q in enumerate(sc.yarns) if q is y)


def truth(sc, who):
    """The strands' truth, hidden places taken from which strand each pixel shows."""
    cam, out = sc.cam, []
    h, w = who.shape
    num = lambda a, k=2: [round(float(v), k) for v in a]
    def seen(q, i):
        j = np.rint(q).astype(int)
        ok = (j[:, 0] >= 0) & (j[:, 1] >= 0) & (j[:, 0] < w) & (j[:, 1] < h)
        return ok & (who[np.clip(j[:, 1], 0, h - 1), np.clip(j[:, 0], 0, w - 1)] == i + 1)
    for i, st in enumerate(sc.strands):
        c, n, a, b = st.silhouette(cam, st.drawn)
        ea, eb = c + a[:, None] * n, c - b[:, None] * n
        sa, sb = [(seen(c + s * .84 * v[:, None] * n, i) & seen(c + s * .5 * v[:, None] * n, i) & cam.inside(c + s * (v[:, None] + 1) * n)) for s, v in ((1, a), (-1, b))]
        mid = seen(c, i)
        near = cam.inside(c, -60)
        valid = mid & sa & sb & ~st.bad & (a > 0) & (b > 0)
        valid[:2] = valid[-2:] = False
        k = np.flatnonzero(near)
        if len(k) < 4:
            continue
        k = np.arange(k[0], k[-1] + 1)
        # about a pixel between stations: fill in where the yarn's own step is coarser
        step = np.hypot(*np.diff(c[k], axis=0).T).mean()
        m = max(1, int(round(step / 1.5)))
        x = np.arange(k[0], k[-1] + 1e-9, 1 / m)
        lin = lambda v: np.stack([np.interp(x, np.arange(len(v)), v[:, q]) for q in range(2)], 1)
        one = lambda v: np.interp(x, np.arange(len(v)), v)
        lo, hi = np.floor(x).astype(int), np.ceil(x - 1e-9).astype(int)
        both = lambda v: v[lo] & v[hi]
        V, A, B = both(valid), both(mid & sa), both(mid & sb)
        C, EA, EB, ph, tn = lin(c), lin(ea), lin(eb), one(st.phase(cam)), one(st.tan())
        out.append({"plies": st.N, "direction": "Z" if st.y["sign"] > 0 else "S", "arrangement": st.arrangement, "centre": [num(q) for q in C],
                    "edge_a": [num(q) if f else None for q, f in zip(EA, A)], "edge_b": [num(q) if f else None for q, f in zip(EB, B)],
                    "phase_rad": num(ph, 4), "tan_angle": num(tn, 4), "valid": [bool(v) for v in V]})
    return out


def shadow(with_yarn, without, cover, w, h):
    """Light lost to the yarn's shadow: smoothed where there is no yarn, 0 where there is."""
    free = np.clip(1 - cover * 1.0, 0, 1)
    free = (cv2.resize(free.astype(np.float32), (with_yarn.shape[1], with_yarn.shape[0]), interpolation=cv2.INTER_AREA) > .97).astype(np.float32)
    luma = np.array([.2126, .7152, .0722], np.float32)
    a, b = with_yarn @ luma, without @ luma
    a, b = [cv2.GaussianBlur(np.minimum(v, 6) * free, (0, 0), 1.4) for v in (a, b)]
    s = np.where(b > 1e-5, 1 - a / np.maximum(b, 1e-5), 0)
    s = cv2.resize(np.clip(s, 0, 1), (w, h), interpolation=cv2.INTER_LINEAR) * (cover < .02)
    return (s * 255 + .5).astype(np.uint8)


def save(path, data):
    with open(path + ".part", "wb") as f:
        f.write(data)
    os.replace(path + ".part", path)


def png(a):
    ok, b = cv2.imencode(".png", a, [cv2.IMWRITE_PNG_COMPRESSION, 4])
    return b.tobytes()


def paint(tr, seed, out, scale=1.0, spp=25):
    t = [time.time()]
    sc = Scene(seed, scale)
    mm = sc.mm
    want = sum(st.N * st.count(mm)[1] * st.n for st in sc.strands)
    thrift = min(1.0, np.sqrt(BUDGET / max(want, 1)))
    for st in sc.strands:
        st.drawn = st.fibres(mm, thrift)
        # As many fibres as the largest mesh holds.
        share = sum(P.shape[0] * P.shape[1] for P, _ in st.drawn) * len(sc.strands) / MOST
        st.drawn = [(P[::k], rf[::k]) for P, rf in st.drawn for k in [int(np.ceil(share)) or 1]]
        st.hair = st.hairs(mm, int(30000 / max(6, len(sc.strands))))
        for P, rf in st.drawn if not st.wrapped else []:
            np.maximum(P[..., 2], .5 * rf[:, None], out=P[..., 2])
        if st.hair and not st.wrapped:
            P = st.hair[0]
            P[..., 2] = np.abs(P[..., 2] - .02) + .02
    t.append(time.time())
    w, h = sc.cam.w, sc.cam.h
    stage = tr.build(sc, True)
    t.append(time.time())
    lab = np.zeros((h, w, 3), np.uint8)
    lab[..., 0], lab[..., 1], who = tr.labels(sc, stage)
    t.append(time.time())
    lin = tr.photo(sc, stage, spp, seed)
    sh = np.zeros((h, w), np.uint8)
    other = seed ^ 0x5bd1e995
    if sc.strands:
        with_yarn = tr.photo(sc, stage, spp, other, True)
        del stage
        stage = tr.build(sc, False)
        sh = shadow(with_yarn, tr.photo(sc, stage, spp, other, True), np.maximum(lab[..., 0], lab[..., 1]) / 255.0, w, h)
    lab[..., 2] = tr.kinds(sc, stage)
    del stage
    gc.collect()
    t.append(time.time())
    s = develop.settings(stream(seed, "develop"), sc.everyday)
    img = develop.develop(lin, s, stream(seed, "noise"), w / 2 / sc.cam.F)
    strands = truth(sc, who)
    base = os.path.join(out, "t%07d" % seed)
    save(base + ".labels.png", png(lab[..., ::-1]))
    save(base + ".shadow.png", png(sh))
    save(base + ".jpg", develop.encode(img, s))
    rulers = [{"corners_px": np.round(sc.cam.project(q["corners"]), 2).tolist(), "unit": q["unit"], "px_per_mm_centre": round(q["px_per_mm"], 4), "thickness_mm": round(q["thick"], 3)} for q in sc.rulers]
    save(base + ".json", json.dumps({"painter": VERSION, "seed": seed, "width": w, "height": h, "arranged": sc.arranged, "kinds": [st.y["kind"] for st in sc.strands], "ground": sc.ground_kind, "strands": strands, "rulers": rulers},
                                    separators=(",", ":")).encode())
    t.append(time.time())
    print("%d %dx%d %s on %s: %d strands, %d points, %s; draw %.1f build %.1f labels %.1f light %.1f finish %.1f s" % (seed, w, h, sc.arranged, sc.ground_kind, len(strands), min(want, BUDGET), ",".join(sorted({y["kind"] for y in sc.yarns})) + " close" * sc.close + " pale" * sc.pale + " everyday" * sc.everyday, *np.diff(t)), flush=True)


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--first", type=int, required=True)
    a.add_argument("--count", type=int, default=10 ** 9)
    a.add_argument("--seconds", type=float, default=1e9, help="start no scene later than this")
    a.add_argument("--step", type=int, default=1, help="from one seed to the next: give N processes N neighbouring first seeds and step N")
    a.add_argument("--out", required=True)
    a.add_argument("--variant", default="llvm_ad_rgb")
    a.add_argument("--threads", type=int, help="of this process, on a CPU")
    a.add_argument("--scale", type=float, default=1.0)
    a.add_argument("--spp", type=int, default=25)
    a = a.parse_args()
    os.makedirs(a.out, exist_ok=True)
    t0, done, failed = time.time(), 0, 0
    tr = Tracer(a.variant)
    if a.threads:
        tr.dr.set_thread_count(a.threads)
    for i in range(a.count):
        if time.time() - t0 > a.seconds:
            break
        try:
            paint(tr, a.first + i * a.step, a.out, a.scale, a.spp)
            done += 1
        except Exception:
            failed += 1
            print("SKIPPED %d\n%s" % (a.first + i * a.step, traceback.format_exc()), flush=True)
    print("%d scenes, %d skipped, %.0f s" % (done, failed, time.time() - t0), flush=True)


if __name__ == "__main__":
    main()
