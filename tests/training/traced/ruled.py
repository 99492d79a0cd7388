"""Rulers and ruled cards as pictures: albedo, float32, at k pixels a mm; the top row is the edge with the scale."""
import cv2
import numpy as np

import ground as G

BODY = {"wood": [.57, .32, .12], "steel": [.36, .37, .38], "white": [.85, .85, .82], "black": [.01, .01, .012], "paper": [.82, .8, .74], "yellow": [.78, .56, .03],
        "clear": [.6, .65, .66], "colour": None}
THICK = {"wood": (1.5, 3), "steel": (.4, 1), "white": (.8, 2.2), "black": (.6, 2), "paper": (.3, .35), "yellow": (.3, .5), "clear": (1, 2.5), "colour": (.8, 2.2)}


def scale_edge(r, im, k, L, unit, top, H, ink, numerals, style):
    """Ticks (and numerals) along one edge."""
    h, w = im.shape[:2]
    sh = 4
    ink = tuple(float(v) for v in ink)
    if unit in ("mm", "half-mm"):
        n, per = (1.0, 10) if unit == "mm" else (.5, 20)
        lens = lambda i: 5.2 if i % per == 0 else 3.9 if i % (per // 2) == 0 else 2.7 if unit == "mm" or i % 2 == 0 else 1.7
    else:
        d = int(unit.split("-")[1])
        n, per = 25.4 / d, d
        def lens(i):
            q = 1
            while (i * q) % d:
                q *= 2
            return {1: 6.4, 2: 4.9, 4: 3.8, 8: 2.9, 16: 2.2, 32: 1.6}[q]
    a = style["len"] * min(1, H / 16)
    start = style["start"]
    t = max(style["tick"] * k, .8)
    i, x = 0, start
    while x < L - max(start, .5):
        l = lens(i) * a
        x0, x1 = (x * k - t / 2), (x * k + t / 2)
        y0, y1 = (style["gap"] * k, (style["gap"] + l) * k) if top else (h - (style["gap"] + l) * k, h - style["gap"] * k)
        cv2.rectangle(im, (int(x0 * 16), int(y0 * 16)), (int(x1 * 16), int(y1 * 16)), ink, -1, cv2.LINE_AA, sh)
        if numerals and i % per == 0 and (i or style["zero"]):
            s = str(i // per * style["by"])
            f = style["font"]
            sc = style["size"] * k / 22
            (tw, th), _ = cv2.getTextSize(s, f, sc, max(1, int(sc * 1.6)))
            ty = y1 + th + .8 * k if top else y0 - .8 * k
            G.text(im, s, (int(x * k - tw / 2 + style["shift"] * k), int(ty)), f, sc, ink, max(1, int(sc * 1.6)))
        i += 1
        x = start + i * n
    return im


def ruler(r, k):
    """One ruler; k = texels a mm wanted."""
    kind = str(r.choice(list(BODY)))
    L, H = float(r.uniform(60, 320)), float(np.exp(r.uniform(np.log(9), np.log(42))))
    k = float(min(k, 4200 / L))
    h, w = max(8, int(H * k)), max(8, int(L * k))
    base = np.array(BODY[kind] if BODY[kind] is not None else G.shade(r, .05, .8, 1), np.float32) * r.uniform(.8, 1.1)
    im = np.tile(base, (h, w, 1)).astype(np.float32)
    if kind == "wood":
        im *= (1 + .12 * G.noise(r, h, w, 2.5, 2, 60))[..., None]
    elif kind == "steel":
        im *= (1 + .06 * G.noise(r, h, w, 1.2, 1, 60))[..., None]
    else:
        im *= (1 + .015 * G.noise(r, h, w, 2))[..., None]
    dark = base.mean() < .2
    ink = np.array([.85, .85, .82]) if dark else np.full(3, r.uniform(.008, .06))
    if r.random() < .15:
        ink = G.shade(r, .4, .9, 1) if dark else G.shade(r, .02, .15, 1)
    unit = str(r.choice(["mm", "mm", "mm", "half-mm", "inch-8", "inch-16", "inch-16", "inch-32"]))
    st = {"len": float(r.uniform(.7, 1.15)), "start": float(r.choice([0, 0, r.uniform(1, 9)])), "tick": float(r.uniform(.08, .28)), "gap": float(r.choice([0, 0, r.uniform(.2, 1)])),
          "zero": r.random() < .7, "by": int(r.choice([1, 1, 1, 10])), "font": G.FONTS[int(r.integers(4))], "size": float(r.uniform(1.6, 3.4) * min(1, H / 16)), "shift": float(r.choice([0, 0, 1.3, -1.3]))}
    numerals = r.random() < .8
    if r.random() < .25 and h > 24:                                  # holes, contacts or ornament along its middle
        a, b = int(.3 * h), int(.95 * h)
        im[a:b] = G.rows(r, b - a, w, int(r.integers(1, 3)))
    im = np.ascontiguousarray(im)
    scale_edge(r, im, k, L, unit, True, H, ink, numerals, st)
    if H > 20 and r.random() < .6:
        scale_edge(r, im, k, L, str(r.choice(["mm", "inch-16", "inch-8", "half-mm"])), False, H, ink, numerals, dict(st, by=1))
    elif H > 15 and r.random() < .4:
        G.write(r, im, (L * .3 * k, H * .62 * k, L * .6 * k, H * k), ink, st["size"] * k / 22)
    if r.random() < .3 and L > 100:
        cv2.circle(im, (int(w - 5 * k), int(h / 2)), int(min(2.2, H * .2) * k), (.05, .05, .05), -1, cv2.LINE_AA)
    return {"kind": kind, "unit": unit, "L": L, "H": H, "thick": float(r.uniform(*THICK[kind])), "tex": np.clip(im, .006, .93), "metal": kind == "steel" and r.random() < .4,
            "rough": float(r.uniform(.2, .6))}


def card(r, a, b, k):
    """A card or sheet a x b mm: blank, ruled, printed, or with a picture on it."""
    k = float(min(k, 2600 / max(a, b)))
    h, w = max(8, int(b * k)), max(8, int(a * k))
    q = r.random()
    if q < .3:
        c = G.shade(r, .5, .93, .15) if r.random() < .6 else G.shade(r)
        im = np.tile(c, (h, w, 1)) * (1 + .01 * G.noise(r, h, w, 2))[..., None]
    elif q < .6:                                                     # our kind: scale along the edges, frame, marks
        c = G.shade(r, .6, .93, .08)
        im = np.ascontiguousarray(np.tile(c, (h, w, 1)).astype(np.float32) * (1 + .008 * G.noise(r, h, w, 2))[..., None])
        ink = np.full(3, r.uniform(.01, .08))
        st = {"len": float(r.uniform(.6, 1.1)), "start": float(r.uniform(2, 8)), "tick": float(r.uniform(.1, .3)), "gap": float(r.uniform(.5, 3)), "zero": True, "by": 1, "font": G.FONTS[0],
              "size": 2.2, "shift": 0.0}
        unit = str(r.choice(["mm", "inch-16", "half-mm"]))
        for top in (True, False):
            if r.random() < .8:
                scale_edge(r, im, k, a, unit, top, b, ink, r.random() < .8, st)
        for _ in range(int(r.integers(0, 4))):
            y = int(r.uniform(.2, .8) * h)
            cv2.line(im, (0, y), (w, y), tuple(float(v) for v in ink), max(1, int(r.uniform(.1, .5) * k)))
        if r.random() < .4:
            cv2.rectangle(im, (int(.12 * w), int(.2 * h)), (int(.88 * w), int(.8 * h)), tuple(float(v) for v in ink), max(1, int(.2 * k)))
    elif q < .75:
        im = G.paper(r, h, w)
    elif q < .87:
        im = G.printed(r, h, w)
    elif q < .93:
        im = G.rows(r, h, w)
    else:
        im = G.real(r, h, w)
    return np.clip(im, .006, .93).astype(np.float32)
