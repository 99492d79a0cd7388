#!/usr/bin/env python3
"""Paint whole photos with yarn in them, ray-traced, with their truth.  See README.md.

  paint.py --first SEED (--count N | --seconds S) --out DIR [--variant cuda_ad_rgb] [--scale .5] [--spp 25] [--step 1]
"""
import argparse
import gc
import json
import os
import sys
import tempfile
import time
import traceback

import cv2
import numpy as np

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import develop
from fibre import Strand, controls
from lens import stream
from scene import BUDGET, Scene

LABEL = 4                                                            # 4 x 4 rays a pixel for the labels
VERSION = "raytraced-1"


class Tracer:
    def __init__(self, variant, tmp):
        import drjit as dr
        import mitsuba as mi
        mi.set_variant(variant)
        self.mi, self.dr, self.variant = mi, dr, variant
        self.dummy = os.path.join(tmp, "curve.txt")
        with open(self.dummy, "w") as f:
            f.write("".join("%d 0 -500 .001\n" % i for i in range(4)))
        self.rays = 12_000_000 if variant.startswith("cuda") else 1_500_000
        # direct light and two bounces: grooves between plies fill with light, more is not seen
        self.integrator = mi.load_dict({"type": "path", "max_depth": 4, "rr_depth": 3})

    # ---- building
    def bsdf(self, m, two=True):
        mi = self.mi
        if m.get("tex") is not None:
            c = {"type": "bitmap", "data": mi.TensorXf(np.ascontiguousarray(m["tex"], dtype=np.float32)), "raw": True, "filter_type": "bilinear", "wrap_mode": "clamp"}
        else:
            c = {"type": "rgb", "value": np.clip(m["rgb"], .003, .95).astype(float).tolist()}
        b = {"type": "principled", "base_color": c, "roughness": float(m["rough"]), "specular": float(m["specular"]), "metallic": float(m.get("metal", 0.0))}
        return {"type": "twosided", "b": b} if two else b

    def mesh(self, e, bsdf=None):
        mi, P = self.mi, e["P"]
        a, b = P.shape[:2]
        du, dv = np.gradient(P, axis=0), np.gradient(P, axis=1)
        if not e["flat"] and b > 3 and np.allclose(P[:, 0], P[:, -1], atol=1e-4 * np.ptp(P)):
            dv[:, 0] = dv[:, -1] = P[:, 1] - P[:, -2]
        N = np.cross(du, dv)
        N /= np.maximum(np.linalg.norm(N, axis=-1, keepdims=True), 1e-12)
        i = np.arange(a * b, dtype=np.uint32).reshape(a, b)
        q = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], -1).reshape(-1, 4)
        faces = np.concatenate([q[:, [0, 1, 2]], q[:, [0, 2, 3]]])
        s, t = np.linspace(0, 1, a), np.linspace(0, 1, b)
        uv = np.stack(np.broadcast_arrays(t[None], s[:, None]) if e["flat"] else np.broadcast_arrays(s[:, None], t[None]), -1)
        props = mi.Properties()
        if bsdf is None:
            key = id(e["mat"])
            if key not in self.shared:                               # the material is kept with it, so that no other gets its id
                self.shared[key] = mi.load_dict(self.bsdf(e["mat"])), e["mat"]
                self.made["mesh"] += 1
            bsdf = self.shared[key][0]
        props["bsdf"] = bsdf
        m = mi.Mesh("m", a * b, len(faces), props=props, has_vertex_normals=True, has_vertex_texcoords=True)
        p = mi.traverse(m)
        p["vertex_positions"], p["vertex_normals"] = mi.Float(P.astype(np.float32).ravel()), mi.Float(N.astype(np.float32).ravel())
        p["vertex_texcoords"], p["faces"] = mi.Float(uv.astype(np.float32).ravel()), mi.UInt32(faces.ravel())
        p.update()
        return m

    BLOCK = 8192                                                     # control points, and segments, of one curve shape

    def curves(self, P, rad, m):
        """Cubic B-splines, control points [f, n, 3] and radii [f, n], as shapes of BLOCK points and segments each.

        Both numbers are compiled into the kernels: with one size for all, a kernel serves every scene.  The rest of a block is a
        thread far below the table."""
        mi, B = self.mi, self.BLOCK
        f, n = P.shape[:2]
        c = np.concatenate([P, np.broadcast_to(rad[..., None], (f, n, 1))], -1).astype(np.float32)
        bsdf = mi.load_dict(self.bsdf(m, False))
        self.made["curve"] += 1
        per = (B - 64) // n
        if per < 1:
            raise ValueError("%d control points to one fibre" % n)
        for i in range(0, f, per):
            g = min(per, f - i)
            q = c[i:i + g].reshape(-1, 4)
            k = B - len(q)
            far = np.column_stack([np.arange(k) * .1, np.zeros(k), np.full(k, -700), np.full(k, .001)])
            seg = (np.arange(g)[:, None] * n + np.arange(n - 3)).ravel()
            seg = np.concatenate([seg, len(q) + np.arange(B - len(seg)) % (k - 3)]).astype(np.uint32)
            s = mi.load_dict({"type": "bsplinecurve", "filename": self.dummy, "bsdf": bsdf})
            p = mi.traverse(s)
            p["control_point_count"] = B
            p["control_points"], p["segment_indices"] = mi.Float(np.concatenate([q, far]).astype(np.float32).ravel()), mi.UInt32(seg)
            p.update()
            yield s

    def build(self, sc, yarn):
        """The scene, and a table: shape number -> (strand + 1, part 0 other / 1 body / 2 hair, kind)."""
        mi, dr = self.mi, self.dr
        S, rows = {"type": "scene"}, []
        self.made, self.shared = {"mesh": 0, "curve": 0}, {}
        def put(obj, row):
            obj.set_id("s%05d" % len(rows))
            S["s%05d" % len(rows)] = obj
            rows.append(row)
        for e in sc.meshes:
            put(self.mesh(e), (0, 0, e["kind"]))
        # the same classes of things and the same bounds in every scene: then one compiled kernel serves them all
        grey = {"rgb": np.full(3, .5), "rough": .5, "specular": .5}
        for _ in range(2):
            for c in self.curves(np.array([[[i, 0.0, -500.0] for i in range(5)]]), np.full((1, 5), .001), grey):
                put(c, (0, 0, 0))
        for z in (-800.0, 4000.0):
            P = np.array([[[-9000, 9000, z], [-8990, 9000, z]], [[9000, -9000, z], [8990, -9000, z]]]) * np.array([1, 1, 1.0])
            P[1, :, 0] = [8990, 9000]
            for m in (grey, dict(grey, tex=np.full((2, 2, 3), .5, np.float32))):
                q = P.copy()
                q[1] = q[0] + [[3, -3, 0], [3, -3, 0]]
                put(self.mesh({"P": q, "mat": m, "flat": True}), (0, 0, 0))
                q = P.copy()
                q[0] = q[1] + [[-3, 3, 0], [-3, 3, 0]]
                put(self.mesh({"P": q, "mat": m, "flat": True}), (0, 0, 0))
        if yarn:
            for i, st in enumerate(sc.strands):
                for P, rad, m, part in self.shapes(sc, st):
                    for c in self.curves(P, rad, m):
                        put(c, (i + 1, part, 0))
        D = 900.0
        T = mi.ScalarTransform4f
        share = {1: [3], 2: [2, 1], 3: [1, 1, 1]}[len(sc.lights)]     # always three lamps: fewer lights are cut in strips
        for (el, az, size, E, rgb), n in zip(sc.lights, share):
            d = np.array([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)])
            L = E / (size ** 2 * np.sin(el) / D ** 2) * rgb
            for j in range(n):
                lamp = mi.load_dict({"type": "rectangle", "to_world": T().look_at(origin=(d * D).tolist(), target=[0, 0, 0], up=[.01, .02, 1]).scale([size / 2, size / 2, 1])
                                  .translate([(2 * j + 1) / n - 1, 0, 0]).scale([1 / n, 1, 1]), "emitter": {"type": "area", "radiance": {"type": "rgb", "value": L.tolist()}}})
                p = mi.traverse(lamp)
                m = p["to_world"]
                dr.make_opaque(m)                                    # else its numbers are compiled in
                p["to_world"] = m
                p.update()
                put(lamp, (0, 0, 0))
        # fill up to a round number of each: how many there are is compiled in, too
        flat = {"P": np.array([[[0, 0, -600.0], [1, 0, -600]], [[0, -1, -600], [1, -1, -600]]]), "flat": True}
        made = self.made
        made["mesh"] += 1                                            # at least one to spare, for the spare shapes
        up = lambda n, k: -n % k
        meshes = [mi.load_dict(self.bsdf(grey)) for _ in range(up(made["mesh"], 96) + 1)]
        curves = [mi.load_dict(self.bsdf(grey, False)) for _ in range(up(made["curve"], 96))]
        shapes = [self.mesh(dict(flat, mat=grey), meshes[0]) for _ in range(up(len(rows), 512))]
        self.kept = meshes, curves, shapes
        S["env"] = {"type": "constant", "radiance": {"type": "rgb", "value": sc.ambient.tolist()}}
        scene = mi.load_dict(S, optimize=False)
        ids = np.array(dr.reinterpret_array(mi.UInt32, scene.shapes_dr()))
        lut = np.zeros((int(ids.max()) + 1, 3), np.uint32)
        for n, sh in zip(ids, scene.shapes()):
            k = sh.id()
            if k.startswith("s"):
                lut[n] = rows[int(k[1:])]
        return scene, [mi.UInt32(np.ascontiguousarray(lut[:, k])) for k in range(3)]

    def shapes(self, sc, st):
        y = st.y
        r = stream(st.seed, "shades")
        N, many = st.N, len(sc.strands) > 6
        classes = 2 if many else 4
        m = lambda c: {"rgb": np.clip(c, .004, .94), "rough": y["rough"], "specular": y["specular"]}
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
            yield controls(np.stack([st.A[q] for q in sel])), st.HEART * np.stack([st.r[q] for q in sel]), m(y["rgb"][k] * .8), 1
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

    def photo(self, sc, scene, spp, seed, half=False):
        """Linear light; half = half size, box pixels, no lens (for the shadow)."""
        mi, dr = self.mi, self.dr
        L = self.lens(sc)
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
            ray = mi.RayDifferential3f(self.ray(L, px, py, lens))
            c = self.integrator.sample(scene, s, ray)[0]
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

    def labels(self, sc, scene, lut):
        """Shares of body and of hair (bytes), and the strand + 1 that lies at each pixel's centre."""
        mi, dr = self.mi, self.dr
        L, w, h, X, Y = self.grid(sc)

        def look(dx, dy):
            """Through hairs to what lies behind: (hair met, part, strand + 1)."""
            ray = self.ray(L, X + dr.opaque(mi.Float, dx), Y + dr.opaque(mi.Float, dy))
            hair, part, who = dr.zeros(mi.UInt32, w * h), dr.zeros(mi.UInt32, w * h), dr.zeros(mi.UInt32, w * h)
            active = dr.full(mi.Bool, True, w * h)
            for _ in range(12):
                pi = scene.ray_intersect_preliminary(ray, coherent=True, active=active)
                ok = active & pi.is_valid()
                i = dr.select(ok, dr.reinterpret_array(mi.UInt32, pi.shape), 0)
                a = dr.gather(mi.UInt32, lut[1], i, ok)
                part, who = dr.select(ok, a, part), dr.select(ok, dr.gather(mi.UInt32, lut[0], i, ok), who)
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

    def kinds(self, sc, scene, lut):
        """What lies there: the commonest of four rays."""
        mi, dr = self.mi, self.dr
        L, w, h, X, Y = self.grid(sc)
        kinds = [dr.zeros(mi.UInt32, w * h) for _ in range(4)]
        for dx, dy in ((-.25, -.25), (.25, -.25), (-.25, .25), (.25, .25)):
            pi = scene.ray_intersect_preliminary(self.ray(L, X + dr.opaque(mi.Float, dx), Y + dr.opaque(mi.Float, dy)), coherent=True)
            i = dr.select(pi.is_valid(), dr.reinterpret_array(mi.UInt32, pi.shape), 0)
            k = dr.gather(mi.UInt32, lut[2], i, pi.is_valid())
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
        st.hair = st.hairs(mm, int(30000 / max(6, len(sc.strands))))
        for P, rf in st.drawn if not st.wrapped else []:
            np.maximum(P[..., 2], .5 * rf[:, None], out=P[..., 2])
        if st.hair and not st.wrapped:
            P = st.hair[0]
            P[..., 2] = np.abs(P[..., 2] - .02) + .02
    t.append(time.time())
    w, h = sc.cam.w, sc.cam.h
    scene, lut = tr.build(sc, True)
    t.append(time.time())
    lab = np.zeros((h, w, 3), np.uint8)
    lab[..., 0], lab[..., 1], who = tr.labels(sc, scene, lut)
    t.append(time.time())
    lin = tr.photo(sc, scene, spp, seed)
    sh = np.zeros((h, w), np.uint8)
    other = seed ^ 0x5bd1e995
    with_yarn = tr.photo(sc, scene, 16, other, True) if sc.strands else None
    if sc.strands:
        del scene, lut
        tr.kept = tr.shared = None
        gc.collect()                                                 # a scene still alive would count in the next one's kernels
        scene, lut = tr.build(sc, False)
        sh = shadow(with_yarn, tr.photo(sc, scene, 16, other, True), np.maximum(lab[..., 0], lab[..., 1]) / 255.0, w, h)
    lab[..., 2] = tr.kinds(sc, scene, lut)
    del scene, lut
    tr.kept = tr.shared = None
    gc.collect()
    t.append(time.time())
    s = develop.settings(stream(seed, "develop"))
    img = develop.develop(lin, s, stream(seed, "noise"), w / 2 / sc.cam.F)
    strands = truth(sc, who)
    base = os.path.join(out, "t%07d" % seed)
    save(base + ".labels.png", png(lab[..., ::-1]))
    save(base + ".shadow.png", png(sh))
    save(base + ".jpg", develop.encode(img, s))
    rulers = [{"corners_px": np.round(sc.cam.project(q["corners"]), 2).tolist(), "unit": q["unit"], "px_per_mm_centre": round(q["px_per_mm"], 4), "thickness_mm": round(q["thick"], 3)} for q in sc.rulers]
    save(base + ".json", json.dumps({"painter": VERSION, "seed": seed, "width": w, "height": h, "arranged": sc.arranged, "ground": sc.ground_kind, "strands": strands, "rulers": rulers},
                                    separators=(",", ":")).encode())
    t.append(time.time())
    print("%d %dx%d %s on %s: %d strands, %d points; draw %.1f build %.1f labels %.1f light %.1f finish %.1f s" % (seed, w, h, sc.arranged, sc.ground_kind, len(strands), min(want, BUDGET), *np.diff(t)), flush=True)


def main():
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--first", type=int, required=True)
    a.add_argument("--count", type=int, default=10 ** 9)
    a.add_argument("--seconds", type=float, default=1e9, help="start no scene later than this")
    a.add_argument("--step", type=int, default=1, help="from one seed to the next: give N processes N neighbouring first seeds and step N")
    a.add_argument("--out", required=True)
    a.add_argument("--variant", default="cuda_ad_rgb")
    a.add_argument("--scale", type=float, default=1.0)
    a.add_argument("--spp", type=int, default=25)
    a = a.parse_args()
    os.makedirs(a.out, exist_ok=True)
    t0, done, failed = time.time(), 0, 0
    with tempfile.TemporaryDirectory() as tmp:
        tr = Tracer(a.variant, tmp)
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
