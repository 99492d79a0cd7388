"""Shrink the packages' pictures to JPEGs of at most 512 px: grounds.py SHARE OUT (called by grounds.sh)."""
import glob
import hashlib
import os
import re
import struct
import sys

import cv2
import numpy as np
import skimage

share, out = sys.argv[1:3]
DATA = os.path.join(os.path.dirname(skimage.__file__), "data")
# left out: pictures of people, marks of makers, interface pieces, and whatever shows yarn, rope or knitting
files = [("skimage", os.path.join(DATA, n)) for n in ("brick.png", "grass.png", "gravel.png", "coins.png", "coffee.png", "page.png", "text.png", "chelsea.png", "moon.png", "hubble_deep_field.jpg", "cell.png", "ihc.png")]
files += [("gimp", f) for f in glob.glob(share + "/gimp/2.0/patterns/**/*.pat", recursive=True)]
files += [("krita", f) for f in glob.glob(share + "/krita/patterns/*.p[an][tg]") if "DITH" not in f]
files += [("etr", f) for f in glob.glob(share + "/games/etr/terrains/*.png")]
files += [("mate", f) for f in glob.glob(share + "/backgrounds/mate/nature/*.jpg")]
# of the furniture only materials: no things of any maker
MATERIAL = re.compile("wood|oak|beech|cherry|marble|granit|fabric|denim|plain|parchment|sheet|stripe|leaf|bread|sponge|tecido|chaise|brick|stone|tile|leather|carpet", re.I)
files += [("sweethome", f) for e in ("jpg", "JPG", "jpeg", "png") for f in glob.glob(share + "/sweethome3d/furniture/u/**/*." + e, recursive=True) if MATERIAL.search(os.path.basename(f))]


def pat(f):
    b = open(f, "rb").read()
    size, _, w, h, n = struct.unpack(">5I", b[:20])
    a = np.frombuffer(b, np.uint8, w * h * n, size).reshape(h, w, n)
    return np.repeat(a, 3, 2) if n < 3 else a[..., 2::-1]


count, known = {}, set()
for kind, f in sorted(files):
    im = pat(f) if f.endswith(".pat") else cv2.imread(f, cv2.IMREAD_COLOR)
    if im is None or min(im.shape[:2]) < 64 or im.std() < 6:
        continue
    mark = hashlib.sha256(im.tobytes()).digest()
    if mark in known or kind == "sweethome" and min(im.shape[:2]) < 200:
        continue
    known.add(mark)
    cuts = [im]
    if min(im.shape[:2]) > 1000:                                     # large photos: pieces at full detail as well
        h, w = im.shape[:2]
        cuts += [im[y:y + 700, x:x + 700] for y, x in ((0, 0), (h - 700, w - 700), (h // 2 - 350, w // 2 - 350))]
    for c in cuts:
        s = 512 / max(c.shape[:2])
        if s < 1:
            c = cv2.resize(c, None, fx=s, fy=s, interpolation=cv2.INTER_AREA)
        n = count[kind] = count.get(kind, 0) + 1
        cv2.imwrite(os.path.join(out, "%s-%03d.jpg" % (kind, n)), c, [cv2.IMWRITE_JPEG_QUALITY, 80])
print(count, sum(os.path.getsize(f) for f in glob.glob(out + "/*.jpg")) / 1e6, "MB")
