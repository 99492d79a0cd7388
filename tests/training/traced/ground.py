"""Surfaces as pictures of albedo (linear, float32 [h, w, 3]): tables, cloths, papers, print, and real pictures from the packed archive."""
import glob
import os

import cv2
import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
FONTS = [cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_COMPLEX, cv2.FONT_HERSHEY_TRIPLEX, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX]


def pictures():
    d = os.environ.get("GROUNDS", os.path.join(HERE, "grounds"))
    return sorted(glob.glob(os.path.join(d, "*.jpg")))


def linear(srgb):
    s = np.asarray(srgb, np.float32)
    return np.where(s <= .04045, s / 12.92, ((np.maximum(s, 0) + .055) / 1.055) ** 2.4).astype(np.float32)


def noise(r, h, w, size, octaves=1, stretch=1.0):
    """Smooth noise of unit variance; size = grain in pixels, stretched along x."""
    out = np.zeros((h, w), np.float32)
    a = 1.0
    for _ in range(octaves):
        m, n = max(2, int(h / size) + 3), max(2, int(w / (size * stretch)) + 3)
        k = r.standard_normal((m, n)).astype(np.float32)
        W, H = int(n * size * stretch), int(m * size)
        if W < w or H < h:
            W, H = max(W, w), max(H, h)
        out += a * cv2.resize(k, (W, H), interpolation=cv2.INTER_CUBIC)[:h, :w]
        size, a = max(size / 2, 1.0), a * .6
    return out / max(out.std(), 1e-6)


def shade(r, lo=.03, hi=.9, sat=.5):
    v = float(np.exp(r.uniform(np.log(lo), np.log(hi))))
    hue = r.random(3)
    hue /= hue.max()
    s = float(r.beta(1, 2)) * sat * 2
    return np.clip(v * (1 - s + s * hue), .01, .93).astype(np.float32)


def mix(a, b, t):
    return a + (b - a) * t[..., None]


def turned(r, h, w, f, angle=None):
    """Draw f(h, w) larger, turn it by any angle and cut."""
    a = r.uniform(0, 180) if angle is None else angle
    n = int(np.hypot(h, w)) + 4
    big = f(n, n)
    M = cv2.getRotationMatrix2D((n / 2, n / 2), a, 1)
    M[:, 2] += [(w - n) / 2, (h - n) / 2]
    return cv2.warpAffine(big, M, (w, h), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)


def wood(r, h, w):
    a, b = shade(r, .08, .6, .0) * np.array([1, .72, .46]), shade(r, .04, .3, .0) * np.array([1, .62, .36])
    if r.random() < .2:
        a, b = shade(r), shade(r)
    def f(h, w):
        size = r.uniform(6, 40)
        g = noise(r, h, w, size * 3, 2, r.uniform(6, 16))
        y = np.arange(h, dtype=np.float32)[:, None] / size
        rings = np.sin(2 * np.pi * (y + r.uniform(.3, 1.6) * g)) * .5 + .5
        fine = noise(r, h, w, r.uniform(1.2, 3), 1, r.uniform(12, 60))
        t = np.clip(.2 + r.uniform(.15, .6) * rings ** r.uniform(.6, 3) + r.uniform(.04, .2) * fine, 0, 1)
        im = mix(a, b, t)
        if r.random() < .4:                                          # planks
            p = int(r.uniform(90, 420))
            o = int(r.integers(p))
            tone = r.uniform(.75, 1.15, h // p + 3)[(np.arange(h) + o) // p]
            im = im * tone[:, None, None]
            gap = ((np.arange(h) + o) % p) < r.integers(1, 5)
            im[gap] *= r.uniform(.1, .6)
        return im.astype(np.float32)
    return turned(r, h, w, f)


def weave(r, h, w):
    a, b = shade(r), shade(r)
    if r.random() < .6:
        b = a * r.uniform(.5, 1.1)
    p, kind = float(np.exp(r.uniform(np.log(3), np.log(26)))), int(r.integers(4))
    def f(h, w):
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        x = x / p + .08 * noise(r, h, w, 60)
        y = y / p + .08 * noise(r, h, w, 60)
        i, j = np.floor(x), np.floor(y)
        over = ((i + j) % 2 == 0) if kind == 0 else ((i + j) % 3 == 0) if kind == 1 else ((i + 2 * j) % 5 == 0) if kind == 2 else ((i // 2 + j // 2) % 2 == 0)
        u, v = x - i, y - j
        warp, weft = np.sin(np.pi * u), np.sin(np.pi * v)
        s = np.where(over, warp * (.6 + .4 * weft), weft * (.6 + .4 * warp))
        col = np.where(over[..., None], a, b)
        return (col * (1 - r.uniform(.2, .8) * (1 - s))[..., None] * (1 + .08 * noise(r, h, w, 1.5))[..., None]).astype(np.float32)
    return turned(r, h, w, f)


def paper(r, h, w):
    c = shade(r, .35, .92, .12)
    g = noise(r, h, w, r.uniform(1.2, 4), 2) * r.uniform(.003, .03) + noise(r, h, w, r.uniform(100, 500)) * r.uniform(0, .03)
    im = c * (1 + g)[..., None]
    k = r.random()
    if k < .3:                                                       # ruled or squared
        p, ink, t = int(r.integers(12, 90)), shade(r, .05, .5, .8), int(r.integers(1, 4))
        a = r.uniform(.2, .9)
        o = int(r.integers(p))
        for y in range(o, h, p):
            im[y:y + t] = im[y:y + t] * (1 - a) + ink * a
        if k < .15:
            for x in range(o, w, p):
                im[:, x:x + t] = im[:, x:x + t] * (1 - a) + ink * a
    if r.random() < .15:                                             # folds
        for _ in range(int(r.integers(1, 4))):
            q = np.zeros((h, w), np.float32)
            p0, p1 = r.uniform(0, [w, h]), r.uniform(0, [w, h])
            d = p1 - p0
            cv2.line(q, tuple(int(v) for v in p0 - 3 * d), tuple(int(v) for v in p1 + 3 * d), 1.0, int(r.integers(1, 6)))
            im = im * (1 + r.uniform(-.4, .25) * cv2.GaussianBlur(q, (0, 0), r.uniform(.7, 5)))[..., None]
    return im.astype(np.float32)


def text(im, s, at, font, size, ink, thick):
    """cv2.putText on a picture of floats: drawn as a mask (it takes bytes only), then blended."""
    (tw, th), base = cv2.getTextSize(s, font, size, thick)
    x0, y0, x1, y1 = max(0, at[0] - 4), max(0, at[1] - th - 6), min(im.shape[1], at[0] + tw + 6), min(im.shape[0], at[1] + base + 6)
    if x1 - x0 < 2 or y1 - y0 < 2:
        return
    m = np.zeros((y1 - y0, x1 - x0), np.uint8)
    cv2.putText(m, s, (at[0] - x0, at[1] - y0), font, size, 255, thick, cv2.LINE_AA)
    q = im[y0:y1, x0:x1]
    q += (np.asarray(ink, np.float32)[:3] - q) * (m[..., None] / np.float32(255))


SYLL = "ka lo mi ren tas vo pel un dor ish ba que ni sor eth wa lum gri po zen fa ter".split()


def word(r):
    return "".join(r.choice(SYLL, int(r.integers(1, 4))))


def write(r, im, box, ink, size=None):
    """Lines of invented words within box (x0, y0, x1, y1)."""
    x0, y0, x1, y1 = box
    s = size or float(np.exp(r.uniform(np.log(.3), np.log(2.6))))
    f, t = FONTS[int(r.integers(len(FONTS)))], max(1, int(s * r.uniform(.8, 2.5)))
    lead = 22 * s * r.uniform(1.2, 2)
    y = y0 + lead
    n = 0
    while y < y1 - 4 and n < 60:
        line = " ".join(word(r) for _ in range(max(1, int((x1 - x0) / (52 * s)))))
        text(im, line, (int(x0), int(y)), f, s, ink, t)
        y += lead * (1 if r.random() < .93 else 2)
        n += 1


def printed(r, h, w):
    im = np.ascontiguousarray(paper(r, h, w))
    ink = shade(r, .015, .12, .4) if r.random() < .8 else shade(r)
    k = r.random()
    def f(h, w):
        q = np.ascontiguousarray(np.broadcast_to(im.mean((0, 1)), (h, w, 3))).astype(np.float32)
        if k < .6:
            write(r, q, (20, 0, w - 20, h), ink)
        elif k < .75:                                                # bars
            x = 0.0
            wd = r.uniform(2, 9)
            while x < w:
                b = wd * r.integers(1, 5)
                q[:, int(x):int(x + b)] = ink
                x += b + wd * r.integers(1, 5)
        elif k < .88:                                                # a table of figures
            p, l = int(r.integers(40, 160)), int(r.integers(22, 60))
            for y in range(0, h, l):
                q[y:y + 2] = ink
                for x in range(0, w, p):
                    text(q, str(r.integers(1, 9999)), (x + 5, y + int(l * .7)), FONTS[0], l / 60, ink, 1)
            for x in range(0, w, p):
                q[:, x:x + 2] = ink
        else:                                                        # drawn curves
            for _ in range(int(r.integers(3, 30))):
                pts = np.cumsum(r.normal(0, 1, (60, 2)).cumsum(0) * 2, 0) + r.uniform(0, [w, h])
                cv2.polylines(q, [pts.astype(np.int32)], False, tuple(float(v) for v in shade(r)), int(r.integers(1, 14)), cv2.LINE_AA)
        return q
    t = turned(r, h, w, f, 0 if r.random() < .5 else None)
    return t * (im / im.mean((0, 1)))


def marble(r, h, w):
    a, b = shade(r, .3, .9, .2), shade(r, .02, .5, .5)
    if r.random() < .3:
        a, b = b, a
    im = np.ones((h, w), np.float32)
    t = np.zeros((h, w), np.float32)
    for _ in range(int(r.integers(1, 5))):
        n = noise(r, h, w, r.uniform(60, 400), 4, r.uniform(1, 3))
        t = np.maximum(t, np.exp(-np.abs(n - r.normal(0, .5)) / r.uniform(.01, .12)) * r.uniform(.3, 1))
    t = np.clip(t + .12 * noise(r, h, w, r.uniform(100, 300), 3), 0, 1)
    return mix(a, b, t * im).astype(np.float32)


def stone(r, h, w):
    im = np.broadcast_to(shade(r), (h, w, 3)).astype(np.float32)
    for _ in range(int(r.integers(2, 5))):
        n = noise(r, h, w, float(np.exp(r.uniform(np.log(1.2), np.log(30)))), int(r.integers(1, 4)))
        im = mix(im, shade(r), np.clip((n - r.uniform(0, 1.5)) * r.uniform(1, 6), 0, 1))
    return im


def bands(r, n):
    out, x = np.zeros((n, 3), np.float32), 0
    cols = [shade(r, .02, .9, .9) for _ in range(int(r.integers(2, 6)))]
    p = r.uniform(4, 120)
    while x < n:
        b = max(2, int(p * r.choice([.3, .5, 1, 1, 2])))
        out[x:x + b] = cols[int(r.integers(len(cols)))]
        x += b
    return out


def stripes(r, h, w):
    soft, grain = r.uniform(0, 6) * (r.random() < .5), r.uniform(0, .08)
    def f(h, w):
        per = bands(r, h) if r.random() < .5 else np.tile(bands(r, int(r.integers(12, 200))), (h // 12 + 1, 1))[:h]
        q = np.broadcast_to(per[:, None], (h, w, 3)).astype(np.float32)
        if soft > .3:
            q = cv2.GaussianBlur(q, (0, 0), soft)
        return (q * (1 + grain * noise(r, h, w, 2))[..., None]).astype(np.float32)
    return turned(r, h, w, f)


def plaid(r, h, w):
    p = int(r.integers(40, 300))
    a, b = bands(r, p), bands(r, p)
    tw = int(r.integers(2, 6))
    def f(h, w):
        X, Y = np.tile(a, (w // p + 1, 1))[:w], np.tile(b, (h // p + 1, 1))[:h]
        y, x = np.mgrid[0:h, 0:w]
        o = ((x + y) // tw) % 2 == 0
        return np.where(o[..., None], X[None], Y[:, None]).astype(np.float32)
    return turned(r, h, w, f)


def dots(r, h, w):
    c, d = shade(r), shade(r)
    p = r.uniform(10, 160)
    rad = p * r.uniform(.1, .45)
    ring = r.random() < .2
    def f(h, w):
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        sh = np.floor(y / p) % 2 * .5 * p
        u, v = (x + sh) % p - p / 2, y % p - p / 2
        q = np.hypot(u, v)
        if ring:
            q = np.abs(q - .7 * rad) * 3
        return mix(c, d, np.clip(rad - q + .5, 0, 1))
    return turned(r, h, w, f).astype(np.float32)


def rows(r, h, w, lines=None):
    """Like things side by side along lines: holes, slots, contacts, stitches, slanted strokes."""
    im = np.tile(shade(r), (h, w, 1)).astype(np.float32)
    for _ in range(lines or int(r.integers(1, 5))):
        pitch = float(np.exp(r.uniform(np.log(6), np.log(70))))
        a, b = pitch * r.uniform(.2, .48), pitch * r.uniform(.2, 2.2)
        lean = r.choice([0, 0, r.uniform(-1.2, 1.2)])
        kind, y0, ink, inner = int(r.integers(4)), r.uniform(.05, .95) * h, shade(r), shade(r)
        y, x = np.mgrid[max(0, int(y0 - b) - 1):min(h, int(y0 + b) + 2), 0:w].astype(np.float32)
        if not len(y):
            continue
        v = y - y0
        u = (x + lean * v + r.uniform(0, pitch)) % pitch - pitch / 2
        inside = {0: a - np.hypot(u, v * a / b), 1: np.minimum(a - np.abs(u), b - np.abs(v)), 2: a - np.hypot(u, np.maximum(np.abs(v) - max(b - a, 0), 0)), 3: a - np.abs(u + a * .6 * np.sin(v / b * 3))}[kind]
        inside = np.minimum(inside, b - np.abs(v))
        q = im[max(0, int(y0 - b) - 1):min(h, int(y0 + b) + 2)]
        q[:] = mix(q, ink, np.clip(inside + .5, 0, 1))
        if r.random() < .4:
            q[:] = mix(q, inner, np.clip(inside - a * r.uniform(.3, .7) + .5, 0, 1))
    return im


def tiles(r, h, w):
    p, q, g = r.uniform(60, 400), r.uniform(60, 400), r.uniform(2, 14)
    a, joint = shade(r), shade(r)
    def f(h, w):
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        j = np.floor(y / q)
        x = x + (j % 2) * p / 2 * (r.random() < .6)
        i = np.floor(x / p)
        tone = r.uniform(.8, 1.2, (64, 64))[(i.astype(int) % 64), (j.astype(int) % 64)]
        e = np.minimum(np.minimum(x % p, p - x % p), np.minimum(y % q, q - y % q))
        return mix((a * tone[..., None]), joint, np.clip(g / 2 - e + .5, 0, 1)).astype(np.float32)
    return turned(r, h, w, f) * (1 + .06 * noise(r, h, w, r.uniform(2, 20), 2))[..., None]


def plain(r, h, w):
    k = r.random()
    c = shade(r, .5, .93, .1) if k < .35 else shade(r, .008, .05, .4) if k < .6 else shade(r, .02, .9, .8)
    return (c * (1 + r.uniform(0, .04) * noise(r, h, w, r.uniform(1, 5), 2) + r.uniform(0, .06) * noise(r, h, w, 300))[..., None]).astype(np.float32)


def gradient(r, h, w):
    a = r.uniform(0, 6.28)
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    t = (x * np.cos(a) + y * np.sin(a)) / max(h, w)
    t = np.clip((t - t.min()) / np.ptp(t) * r.uniform(.6, 2) - r.uniform(0, .5), 0, 1)
    return mix(shade(r), shade(r), t).astype(np.float32)


def real(r, h, w, zoom=None):
    """A crop of a real picture, mirrored to fill."""
    fs = pictures()
    if not fs:
        return stone(r, h, w)
    im = cv2.imread(fs[int(r.integers(len(fs)))], cv2.IMREAD_COLOR)[..., ::-1].astype(np.float32) / 255
    z = zoom or float(np.exp(r.uniform(np.log(.6), np.log(4.0))))
    a = r.uniform(-180, 180) if r.random() < .7 else float(r.choice([0, 90, 180, 270]))
    M = cv2.getRotationMatrix2D((w / 2, h / 2), a, 1 / z)
    ih, iw = im.shape[:2]
    # inverse map: output pixel -> picture pixel, reflected at its borders
    M[:, 2] += r.uniform(0, [iw, ih]) - [w / 2, h / 2]
    out = cv2.warpAffine(im, M, (w, h), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REFLECT)
    out = linear(np.clip(out, 0, 1))
    g = np.exp(r.normal(0, .35)) * np.exp(r.normal(0, .12, 3))
    if r.random() < .12:
        out = np.repeat(out.mean(-1, keepdims=True), 3, -1)
    return np.clip(out * g, .008, .93).astype(np.float32)


KINDS = [(wood, 15), (weave, 9), (paper, 10), (printed, 8), (marble, 7), (stone, 6), (stripes, 5), (plaid, 4), (dots, 3), (rows, 3), (tiles, 4), (plain, 16), (gradient, 3), (real, 30)]
TABLES = [(wood, 16), (weave, 8), (paper, 32), (marble, 5), (stone, 5), (plain, 24), (real, 10)]


def surface(r, h, w, kinds=KINDS):
    p = np.array([k[1] for k in kinds], float)
    f = kinds[int(r.choice(len(kinds), p=p / p.sum()))][0]
    im = f(r, h, w)
    if r.random() < .12:                                             # stains, scratches, cracks
        for _ in range(int(r.integers(1, 12))):
            p0 = r.uniform(0, [w, h])
            pts = p0 + np.cumsum(r.normal(0, 1, (30, 2)) * r.uniform(2, 20) + r.normal(0, 6, 2), 0)
            q = np.zeros((h, w), np.uint8)
            cv2.polylines(q, [pts.astype(np.int32)], False, 255, int(r.integers(1, 6)), cv2.LINE_AA)
            im = mix(im, shade(r), (q / np.float32(255)) * r.uniform(.2, .9))
    return np.clip(im, .006, .94).astype(np.float32), f.__name__
