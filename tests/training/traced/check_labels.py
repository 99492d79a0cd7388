#!/usr/bin/env python3
"""Does the body label's width equal the truth?  check_labels.py FOLDER

On each valid station the label's shares are summed along the normal from edge to edge and a little beyond, and compared with the
distance of edge_a and edge_b.  The edges come from projected geometry, the label from traced rays: neither knows the other.
Only where bare ground lies beyond both edges; single strands are judged by their mean."""
import glob
import json
import sys

import cv2
import numpy as np

rel, drawn, narrow = [], [], []
for f in sorted(glob.glob(sys.argv[1] + "/*.json")):
    j = json.load(open(f))
    body = cv2.imread(f[:-5] + ".labels.png")[..., 2].astype(np.float32) / 255
    for s in j["strands"]:
        v = np.array([i for i, ok in enumerate(s["valid"]) if ok and s["edge_a"][i] and s["edge_b"][i]])
        if len(v) < 40:
            continue
        a, b = np.array([s["edge_a"][i] for i in v]), np.array([s["edge_b"][i] for i in v])
        d = a - b
        w = np.hypot(*d.T)
        u = d / w[:, None]
        m = w.mean()
        step = .2
        t = np.arange(-.25 * m - 2, 1.25 * m + 2, step)
        p = b[:, None] + t[None, :, None] * u[:, None]
        # shares are means over a pixel: bilinear reading keeps their sum
        r = cv2.remap(body, p[..., 0].astype(np.float32), p[..., 1].astype(np.float32), cv2.INTER_LINEAR)
        beyond = (t[None] < -1.5) | (t[None] > w[:, None] + 1.5)      # another strand there would count with this one
        clear = (r * beyond).max(1) == 0
        if clear.sum() < 40:
            continue
        rel.append((r.sum(1) * step)[clear].mean() / w[clear].mean() - 1)
        drawn.append(w[clear].mean())
rel, drawn = np.array(rel), np.array(drawn)
print("%d strands, %.0f..%.0f px wide: label over truth - 1: mean %+.3f %%, median of |.| %.3f %%, 95th percentile %.3f %%, worst %.3f %%" % (
    len(rel), drawn.min(), drawn.max(), 100 * rel.mean(), 100 * np.median(abs(rel)), 100 * np.percentile(abs(rel), 95), 100 * abs(rel).max()))
for lo, hi in ((0, 10), (10, 20), (20, 40), (40, 200)):
    k = (drawn >= lo) & (drawn < hi)
    if k.any():
        print("  %3d..%3d px: %3d strands, mean %+.3f %%, worst %.3f %%" % (lo, hi, k.sum(), 100 * rel[k].mean(), 100 * abs(rel[k]).max()))
