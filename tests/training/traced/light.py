"""Light along a path: lamps met by aiming at them, the sky by chance, three bounces. Lambert's law and a GGX surface (Walter et al., EGSR 2007).

Written for one mesh of things and one of fibres (stage.py): colours are looked up in tables, nothing is called by way of the scene.
"""
import numpy as np

BOUNCES = 3                                                          # grooves between plies fill with light; more is not seen


class Light:
    def __init__(self, mi, dr, lights, ambient):
        self.mi, self.dr = mi, dr
        rows = []
        for el, az, size, E, rgb, far in lights:                     # far: mm from the table's centre
            d = np.array([np.cos(el) * np.cos(az), np.cos(el) * np.sin(az), np.sin(el)])
            u = np.cross([.01, .02, 1], d)
            u /= np.linalg.norm(u)
            rows.append([*(d * far), *(u * size / 2), *(np.cross(d, u) * size / 2), *d, *(E / (np.sin(el) / far ** 2) * np.asarray(rgb))])
        # A lamp's radiance times its area: size cancels. A table of one row would be compiled in.
        self.count = dr.opaque(mi.UInt32, len(rows))
        rows = np.array(rows * 2)
        self.rows = [mi.Float(np.ascontiguousarray(rows[:, k], np.float32)) for k in range(15)]
        self.ambient = mi.Color3f(*(dr.opaque(mi.Float, float(v)) for v in ambient))

    def colour(self, st, m, uv):
        mi, dr = self.mi, self.dr
        look = [dr.gather(mi.Float, v, m) for v in st.look]
        at, w, h = (dr.gather(mi.UInt32, v, m) for v in st.place)
        textured = w > 0
        x = dr.clip(uv.x * mi.Float(w) - .5, 0, mi.Float(w) - 1)
        y = dr.clip(uv.y * mi.Float(h) - .5, 0, mi.Float(h) - 1)
        x, y = dr.select(textured, x, 0), dr.select(textured, y, 0)
        i, j = mi.UInt32(x), mi.UInt32(y)
        fx, fy = x - mi.Float(i), y - mi.Float(j)
        i1, j1 = dr.minimum(i + 1, dr.maximum(w, 1) - 1), dr.minimum(j + 1, dr.maximum(h, 1) - 1)
        texel = lambda i, j: dr.gather(mi.Color3f, st.texels, at + j * w + i, textured)
        t = (texel(i, j) * (1 - fx) + texel(i1, j) * fx) * (1 - fy) + (texel(i, j1) * (1 - fx) + texel(i1, j1) * fx) * fy
        base = dr.select(textured, dr.clip(t, .003, .95), mi.Color3f(*look[:3]))
        return base, look[3], look[4], look[5]

    def radiance(self, st, ray, sampler, index):
        """Linear light along each ray; `index` counts a pixel's rays and deals the lamps out among them."""
        mi, dr = self.mi, self.dr
        total, beta, active = mi.Color3f(0), mi.Color3f(1), mi.Bool(True)
        row = index % self.count
        lamp = [dr.gather(mi.Float, v, row) for v in self.rows]
        v3 = lambda k: mi.Vector3f(*lamp[k:k + 3])
        many = mi.Float(self.count)
        for bounce in range(BOUNCES):
            si = st.scene.ray_intersect(ray, mi.RayFlags.UV | mi.RayFlags.ShadingFrame, bounce == 0, active)
            hit = active & si.is_valid()
            total += dr.select(active & ~hit, beta * self.ambient, 0)
            active = hit
            tube = dr.reinterpret_array(mi.UInt32, si.shape) == st.tube
            m = dr.select(tube, dr.gather(mi.UInt32, st.side_material, si.prim_index, hit & tube), dr.gather(mi.UInt32, st.face_material, si.prim_index, hit & ~tube))
            base, rough, specular, metal = self.colour(st, m, si.uv)
            v = -ray.d
            n = dr.select(dr.dot(si.n, v) < 0, -si.sh_frame.n, si.sh_frame.n)
            n = dr.select(dr.dot(n, v) < 1e-3, dr.normalize(n + v * (1.1e-3 - dr.dot(n, v))), n)
            ng = dr.select(dr.dot(si.n, v) < 0, -si.n, si.n)
            frame = mi.Frame3f(n)
            wi = frame.to_local(v)
            alpha = dr.square(rough)
            f0 = dr.lerp(mi.Color3f(.08 * specular), base, metal)
            shiny = dr.lerp(.25, .9, metal)

            def scattered(wo):
                """Value times cosine, and probability, of the two lobes together."""
                h = dr.normalize(wi + wo)
                up = (wo.z > 1e-4) & (wi.z > 1e-4)
                c2 = dr.square(h.z)
                d = dr.square(alpha) / (np.pi * dr.square(c2 * (dr.square(alpha) - 1) + 1))
                g = lambda w: 2 * w.z / (w.z + dr.sqrt(dr.square(alpha) + (1 - dr.square(alpha)) * dr.square(w.z)))
                k = dr.maximum(dr.dot(wi, h), 1e-4)
                fresnel = f0 + (1 - f0) * (1 - k) ** 5
                value = fresnel * (d * g(wi) * g(wo) / (4 * dr.maximum(wi.z, 1e-4))) + (1 - fresnel) * base * ((1 - metal) / np.pi * wo.z)
                pdf = shiny * d * h.z / (4 * k) + (1 - shiny) * wo.z / np.pi
                return dr.select(up, value, 0), dr.select(up, pdf, 0)

            u = sampler.next_2d()
            y = mi.Point3f(v3(0) + (2 * u.x - 1) * v3(3) + (2 * u.y - 1) * v3(6))
            far = dr.norm(y - si.p)
            d = (y - si.p) / far
            fall = dr.maximum(dr.dot(d, v3(9)), 0) / dr.square(far)
            value, _ = scattered(frame.to_local(d))
            seen = active & (dr.dot(d, ng) > 0)
            seen &= ~st.scene.ray_test(si.spawn_ray_to(y), seen)
            total += dr.select(seen, beta * value * v3(12) * (fall * many), 0)

            pick, q = sampler.next_1d(), sampler.next_2d()
            t2 = q.x * dr.square(alpha) / dr.maximum(1 - q.x, 1e-6)
            ct = dr.rsqrt(1 + t2)
            s, phi = dr.safe_sqrt(1 - dr.square(ct)), 2 * np.pi * q.y
            h = mi.Vector3f(s * dr.cos(phi), s * dr.sin(phi), ct)
            wo = dr.select(pick < shiny, 2 * dr.dot(wi, h) * h - wi, mi.warp.square_to_cosine_hemisphere(q))
            value, pdf = scattered(wo)
            # Rare, bright paths are dimmed: they would stand in the picture as specks that no camera has.
            beta *= dr.minimum(value / dr.maximum(pdf, 1e-6), 3)
            world = frame.to_world(wo)
            active &= (pdf > 1e-6) & (dr.dot(world, ng) > 0) & (dr.max(beta) > 0)
            ray = si.spawn_ray(world)
        open_sky = active & ~st.scene.ray_test(ray, active)
        return total + dr.select(open_sky, beta * self.ambient, 0)
