"""A scene's geometry as the renderer wants it: one mesh, one bundle of curves, and what each face and each segment is made of.

Two shapes and no materials of the renderer's own: what differs from scene to scene is then data and not code, and one compiled
kernel serves all scenes.
"""
import numpy as np

FAR = -500.0                                                         # mm: below every table; what fills a shape up lies there


def grown(n, sizes):
    """The next of a few powers of two: sizes are compiled into kernels."""
    return next(1 << k for k in sizes if n <= 1 << k)


class Stage:
    """Built from meshes (dicts P, mat, kind, flat) and bundles of curves (control points [f, n, 3], radii [f, n], material, strand + 1, part)."""

    def __init__(self, mi, dr, dummy, meshes, bundles):
        self.mi, self.dr, self.dummy = mi, dr, dummy
        self.materials, self.keys = [], {}
        mesh, faces = self.mesh(meshes)
        curve, segments = self.curves(bundles)
        self.scene = mi.load_dict({"type": "scene", "mesh": mesh, "curve": curve}, optimize=False)
        ids = dr.reinterpret_array(mi.UInt32, self.scene.shapes_dr())
        for n, s in zip(np.array(ids), self.scene.shapes()):
            if s.id() == "curve":
                self.curve = dr.opaque(mi.UInt32, int(n))
        u = lambda a: mi.UInt32(np.ascontiguousarray(a, np.uint32))
        # Columns: material, kind of a face; material, strand + 1, part (1 body, 2 hair) of a segment.
        self.face_material, self.face_kind = u(faces[:, 0]), u(faces[:, 1])
        self.segment_material, self.segment_strand, self.segment_part = (u(segments[:, k]) for k in range(3))
        self.tables()

    def material(self, m):
        key = id(m)
        if key not in self.keys:
            self.keys[key] = len(self.materials)
            self.materials.append(m)
        return self.keys[key]

    def tables(self):
        """Colours, and textures end to end in one strip of texels."""
        mi = self.mi
        n = len(self.materials) + 1                                  # a table of one row would be compiled in
        look, place, texels, at = np.zeros((n, 6), np.float32), np.zeros((n, 3), np.uint32), [np.zeros((1, 3), np.float32)], 1
        for i, m in enumerate(self.materials):
            look[i, 3:] = max(float(m["rough"]), .15), float(m["specular"]), float(m.get("metal", 0.0))
            t = m.get("tex")
            if t is None:
                look[i, :3] = np.clip(m["rgb"], .003, .95)
            else:
                place[i] = at, t.shape[1], t.shape[0]
                texels.append(np.asarray(t, np.float32).reshape(-1, 3))
                at += t.shape[0] * t.shape[1]
        self.look = [mi.Float(np.ascontiguousarray(look[:, k])) for k in range(6)]
        self.place = [mi.UInt32(np.ascontiguousarray(place[:, k])) for k in range(3)]
        self.texels = mi.Float(np.concatenate(texels).ravel())

    def mesh(self, meshes):
        mi = self.mi
        P, N, UV, F, what, count = [], [], [], [], [], 0
        for e in meshes:
            p = np.asarray(e["P"], np.float64)
            a, b = p.shape[:2]
            du, dv = np.gradient(p, axis=0), np.gradient(p, axis=1)
            if not e["flat"] and b > 3 and np.allclose(p[:, 0], p[:, -1], atol=1e-4 * np.ptp(p)):
                dv[:, 0] = dv[:, -1] = p[:, 1] - p[:, -2]
            n = np.cross(du, dv)
            n /= np.maximum(np.linalg.norm(n, axis=-1, keepdims=True), 1e-12)
            i = np.arange(a * b, dtype=np.uint32).reshape(a, b)
            q = np.stack([i[:-1, :-1], i[1:, :-1], i[1:, 1:], i[:-1, 1:]], -1).reshape(-1, 4)
            f = np.concatenate([q[:, [0, 1, 2]], q[:, [0, 2, 3]]])
            s, t = np.linspace(0, 1, a), np.linspace(0, 1, b)
            uv = np.stack(np.broadcast_arrays(t[None], s[:, None]) if e["flat"] else np.broadcast_arrays(s[:, None], t[None]), -1)
            P.append(p.reshape(-1, 3)), N.append(n.reshape(-1, 3)), UV.append(uv.reshape(-1, 2)), F.append(f + count)
            what.append(np.broadcast_to([[self.material(e["mat"]), e["kind"]]], (len(f), 2)))
            count += a * b
        P, N, UV, F, what = (np.concatenate(v) for v in (P, N, UV, F, what))
        v = grown(max(len(P) + 1, len(F) / 2), (16, 18, 20))
        f = 2 * v
        fill = lambda a, k, value: np.concatenate([a, np.full((k - len(a), a.shape[1]), value)])
        P, N, UV = fill(P, v, FAR), fill(N, v, 1), fill(UV, v, 0)
        F, what = fill(F, f, v - 1), fill(what, f, 0)
        m = mi.Mesh("mesh", v, f, has_vertex_normals=True, has_vertex_texcoords=True)
        p = mi.traverse(m)
        for key, a in (("vertex_positions", P), ("vertex_normals", N), ("vertex_texcoords", UV)):
            p[key] = mi.Float(a.astype(np.float32).ravel())
        p["faces"] = mi.UInt32(F.astype(np.uint32).ravel())
        p.update()
        m.set_id("mesh")
        return m, what

    def curves(self, bundles):
        """Cubic B-splines; the rest of the shape is a thread far below the table."""
        mi = self.mi
        C, S, what, count = [], [], [], 0
        for P, rad, material, strand, part in bundles:
            f, n = P.shape[:2]
            C.append(np.concatenate([P, np.broadcast_to(rad[..., None], (f, n, 1))], -1).astype(np.float32).reshape(-1, 4))
            s = (np.arange(f)[:, None] * n + np.arange(n - 3)).ravel()
            S.append(s + count)
            what.append(np.broadcast_to([[self.material(material), strand, part]], (len(s), 3)))
            count += f * n
        size = grown(count + 64, (17, 19, 20, 21, 22))
        k = size - count
        far = np.column_stack([np.arange(k) * .1, np.zeros(k), np.full(k, 1.4 * FAR), np.full(k, .001)]).astype(np.float32)
        s = np.concatenate(S + [np.zeros(0, np.int64)])
        rest = count + np.arange(size - len(s)) % (k - 3)
        curve = mi.load_dict({"type": "bsplinecurve", "filename": self.dummy})
        p = mi.traverse(curve)
        p["control_point_count"] = size
        p["control_points"], p["segment_indices"] = mi.Float(np.concatenate(C + [far]).ravel()), mi.UInt32(np.concatenate([s, rest]).astype(np.uint32))
        p.update()
        curve.set_id("curve")
        what = np.concatenate(what + [np.zeros((len(rest), 3), np.int64)])
        return curve, what
