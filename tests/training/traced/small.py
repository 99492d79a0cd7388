#!/usr/bin/env python3
"""Scenes in few bytes, to be carried from one machine to another: small.py pack OUT.tar DIR..., small.py unpack IN.tar DIR

Labels as lossless WebP, shadows as lossy: a sixth of a megabyte a scene instead of half a one."""
import glob
import io
import os
import sys
import tarfile

import cv2


def pack(out, folders):
    with tarfile.open(out, "w") as tar:
        def put(name, data):
            info = tarfile.TarInfo(name)
            info.size = len(data)
            tar.addfile(info, io.BytesIO(data))
        for path in sorted(p for f in folders for p in glob.glob(os.path.join(f, "*.json"))):
            stem, name = path[:-5], os.path.basename(path)[:-5]
            webp = lambda picture, quality: cv2.imencode(".webp", picture, [cv2.IMWRITE_WEBP_QUALITY, quality])[1].tobytes()
            put(name + ".jpg", open(stem + ".jpg", "rb").read())
            put(name + ".labels.webp", webp(cv2.imread(stem + ".labels.png", 1), 101))
            put(name + ".shadow.webp", webp(cv2.imread(stem + ".shadow.png", 1), 60))
            put(name + ".json", open(path, "rb").read())


def unpack(tar, folder):
    os.makedirs(folder, exist_ok=True)
    with tarfile.open(tar) as tar:
        tar.extractall(folder, filter="data")
    for path in glob.glob(os.path.join(folder, "*.webp")):
        grey = path.endswith(".shadow.webp")
        cv2.imwrite(path[:-5] + ".png", cv2.imread(path, 0 if grey else 1), [cv2.IMWRITE_PNG_COMPRESSION, 1])
        os.remove(path)


if __name__ == "__main__":
    if len(sys.argv) < 4 or sys.argv[1] not in ("pack", "unpack"):
        sys.exit(__doc__)
    pack(sys.argv[2], sys.argv[3:]) if sys.argv[1] == "pack" else unpack(sys.argv[2], sys.argv[3])
