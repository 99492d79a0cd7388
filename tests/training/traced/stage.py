"""A scene's geometry as the renderer wants it: one mesh of things, one of fibres, and what each face is made of.

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

    def __init__(self, mi, dr, meshes, bundles):
        self.mi = mi
        self.materials, self.keys = [], {}
        mesh, faces = self.mesh(meshes)
        tube, sides = self.tubes(bundles)
        self.scene = mi.load_dict({"type": "scene", "mesh": mesh, "tube": tube}, optimize=False)
        ids = dr.reinterpret_array(mi.UInt32, self.scene.shapes_dr())
        for n, s in zip(np.array(ids), self.scene.shapes()):
            if s.id() == "tube":
                self.tube = dr.opaque(mi.UInt32, int(n))
        u = lambda a: mi.UInt32(np.ascontiguousarray(a, np.uint32))
        # Columns: material, kind of a face; material, strand + 1, part (1 body, 2 hair) of a tube's face.
        self.face_material, self.face_kind = u(faces[:, 0]), u(faces[:, 1])
        self.side_material, self.side_strand, self.side_part = (u(sides[:, k]) for k in range(3))
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
        return self.shape("mesh", P, N, UV, F, what, (16, 18, 20))

    def tubes(self, bundles):
        """Cubic B-splines as tubes of triangles, of four sides, thick hearts of ten (of three, widths came out up to 7 % off): rays meet triangles some four times as fast as curves.  The mean width of a tube over its turns is the fibre's (Cauchy: perimeter over pi)."""
        V, N, F, what, count = [], [], [], [], 0
        for P, rad, material, strand, part in bundles:
            sides = 4 if len(P) > 4 else 10
            # On the spline (1 4 1), less a twelfth of the second difference: by so much straight pieces lie inside a bend on average.
            p = ((P[:, :-2] + 10 * P[:, 1:-1] + P[:, 2:]) / 12).astype(np.float32)
            r = (rad[:, 1:-1] * (np.pi / (sides * np.sin(np.pi / sides)))).astype(np.float32)
            f, n = p.shape[:2]
            t = np.gradient(p, axis=1)
            t /= np.maximum(np.linalg.norm(t, axis=-1, keepdims=True), 1e-9)
            # Any direction across, another for each fibre, so that corners show at all turns.
            turn = np.arange(f, dtype=np.float32)[:, None] * 2.4
            ref = np.stack(np.broadcast_arrays(np.cos(turn), np.sin(turn), np.float32(.7)), -1)
            a = np.cross(t, ref)
            a /= np.maximum(np.linalg.norm(a, axis=-1, keepdims=True), 1e-6)
            b = np.cross(t, a)
            w = np.arange(sides, dtype=np.float32) * np.float32(2 * np.pi / sides)
            out = np.cos(w)[:, None] * a[:, :, None] + np.sin(w)[:, None] * b[:, :, None]
            V.append((p[:, :, None] + r[:, :, None, None] * out).reshape(-1, 3)), N.append(out.reshape(-1, 3))
            i = (count + np.arange(f)[:, None, None] * (n * sides) + np.arange(n - 1)[:, None] * sides + np.arange(sides)).astype(np.uint32)
            j = np.roll(i, -1, axis=2)
            F.append(np.stack([i, j, i + sides, j, j + sides, i + sides], -1).reshape(-1, 3))
            what.append(np.broadcast_to([[self.material(material), strand, part]], (len(F[-1]), 3)))
            count += f * n * sides
        nothing = [np.zeros((0, 3), np.float32)]
        F, what = np.concatenate(F + nothing), np.concatenate(what + nothing)
        tube, what = self.shape("tube", np.concatenate(V + nothing), np.concatenate(N + nothing), None, F, what, (18, 20, 21, 22, 23))
        return tube, what

    def shape(self, name, P, N, UV, F, what, sizes):
        """One mesh, filled up to a round size with nothing far below the table."""
        mi = self.mi
        v = grown(max(len(P) + 1, len(F) / 2), sizes)
        f = 2 * v
        fill = lambda a, k, value: np.concatenate([a, np.full((k - len(a), a.shape[1]), value, a.dtype)])
        F, what = fill(F.astype(np.uint32), f, v - 1), fill(what.astype(np.uint32), f, 0)
        m = mi.Mesh(name, v, f, has_vertex_normals=True, has_vertex_texcoords=UV is not None)
        p = mi.traverse(m)
        for key, a, value in (("vertex_positions", P, FAR), ("vertex_normals", N, 1)) + ((("vertex_texcoords", UV, 0),) if UV is not None else ()):
            p[key] = mi.Float(fill(a.astype(np.float32), v, value).ravel())
        p["faces"] = mi.UInt32(F.ravel())
        p.update()
        m.set_id(name)
        return m, what
