#!/usr/bin/env python3
"""Teaches the reader of a ruler's numerals and writes it as ONNX: digits.py FONTS OUT.onnx [--samples 60000] [--rounds 14]

FONTS is a folder with the fonts that README.md names. What is drawn: digits, and what is none (letters, ticks, halves of digits,
specks), as ink of 0 to 1 on a raster of 24 by 24, box and margin as `measure/seen/digits.rs` cuts them; printed, engraved with a
round tool (OpenCV's stroke letters), thin and bold, slanted, blurred, of few pixels, noisy.
"""
import argparse
import glob
import os
from pathlib import Path

import cv2
import numpy as np
import torch
from PIL import Image, ImageDraw, ImageFont
from torch import nn

import export

SIDE, BOX = 24, 20
NONE = 10
STROKES = [cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_PLAIN, cv2.FONT_HERSHEY_DUPLEX, cv2.FONT_HERSHEY_COMPLEX]
OTHERS = list("ABCDEFGHJKLMNPRSTUVWXYZacdefhkmnrtuvwy/-+.:=#")
TAUGHT_SEED, TRIED_SEED = 1900000, 3090000


def letter(r, fonts, text):
    """A letter's ink on a large raster."""
    tile = Image.new("L", (160, 160), 0)
    if r.random() < 0.3:
        drawn = np.zeros((160, 160), np.uint8)
        cv2.putText(drawn, text, (45, 110), int(r.choice(STROKES)), float(r.uniform(2, 2.6)), 255, int(r.integers(2, 11)), cv2.LINE_AA)
        return drawn
    font = ImageFont.truetype(str(r.choice(fonts)), 90)
    ImageDraw.Draw(tile).text((80, 80), text, fill=255, font=font, anchor="mm")
    return np.asarray(tile)


def drawn(r, fonts, kind):
    """One sample, or None where nothing is left of it."""
    if kind < NONE:
        ink = letter(r, fonts, str(kind))
    else:
        what = r.random()
        if what < 0.5:
            ink = letter(r, fonts, str(r.choice(OTHERS)))
        elif what < 0.65:
            # Two digits that touch.
            pair = str(r.integers(10)) + str(r.integers(10))
            ink = letter(r, fonts, pair)
        elif what < 0.85:
            # A part of a digit.
            ink = letter(r, fonts, str(r.integers(10))).copy()
            at = int(r.integers(60, 100))
            cut = [np.s_[:at], np.s_[at:], np.s_[:, :at], np.s_[:, at:]][r.integers(4)]
            ink[cut] = 0
        else:
            # A few strokes.
            ink = np.zeros((160, 160), np.uint8)
            for _ in range(r.integers(1, 4)):
                a, b = r.integers(30, 130, (2, 2))
                cv2.line(ink, tuple(map(int, a)), tuple(map(int, b)), 255, int(r.integers(3, 30)), cv2.LINE_AA)
    # Slant, turn, stretch.
    turn, slant, tall = np.radians(r.normal(0, 5)), r.normal(0, 0.08), np.exp(r.normal(0, 0.13))
    c, s = np.cos(turn), np.sin(turn)
    m = np.array([[c, -s], [s, c]]) @ np.array([[1, slant], [0, tall]])
    m = np.column_stack([m, np.array([80, 80]) - m @ np.array([80, 80])])
    ink = cv2.warpAffine(ink, m, (160, 160)).astype(np.float32) / 255
    # As many pixels as the photo has, with its blur and its noise.
    rows = np.flatnonzero(ink.max(1) > 0.5)
    if len(rows) < 8:
        return None
    small = float(np.exp(r.uniform(np.log(7), np.log(30)))) / (rows[-1] - rows[0] + 1)
    ink = cv2.GaussianBlur(ink, (0, 0), max(0.3, r.uniform(0.25, 0.75) / small))
    moved = r.uniform(0, 1, 2)
    size = int(160 * small) + 2
    ink = cv2.warpAffine(ink, np.array([[small, 0, moved[0]], [0, small, moved[1]]]), (size, size), flags=cv2.INTER_AREA)
    ink = ink / max(ink.max(), 1e-6) * r.uniform(0.8, 1.25) + r.normal(0, r.uniform(0, 0.09), ink.shape)
    return patch(np.clip(ink, 0, 1).astype(np.float32))


def patch(ink):
    """The box of the largest thing darker than half, laid into the raster: what the program does with what it finds."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats((ink > 0.5).astype(np.uint8), connectivity=8)
    if count < 2:
        return None
    k = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    x, y, w, h, area = stats[k]
    if area < 6 or max(w, h) < 6:
        return None
    near = cv2.dilate((labels == k).astype(np.uint8), np.ones((3, 3), np.uint8))
    scale = BOX / max(w, h)
    # Places of the raster's pixels in the ink; pixel centres at whole numbers.
    v = (np.arange(SIDE) - (SIDE - 1) / 2) / scale
    px, py = np.meshgrid(x + (w - 1) / 2 + v, y + (h - 1) / 2 + v)
    return cv2.remap((ink * near).astype(np.float32), px.astype(np.float32), py.astype(np.float32), cv2.INTER_LINEAR, borderValue=0)


def samples(seed, count, fonts):
    r = np.random.default_rng(seed)
    pictures, kinds = [], []
    while len(kinds) < count:
        kind = int(r.integers(10)) if r.random() < 0.7 else NONE
        one = drawn(r, fonts, kind)
        if one is not None:
            pictures.append(one)
            kinds.append(kind)
    return torch.from_numpy(np.stack(pictures)[:, None]), torch.tensor(kinds)


def net():
    """Convolutions only, so that the program needs no other kernels than its other nets do."""
    return nn.Sequential(
        nn.Conv2d(1, 12, 3, 2, 1), nn.ReLU(),
        nn.Conv2d(12, 24, 3, 2, 1), nn.ReLU(),
        nn.Conv2d(24, 40, 3, 2, 1), nn.ReLU(),
        nn.Conv2d(40, 11, 3),
    )


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("fonts")
    parser.add_argument("out")
    parser.add_argument("--samples", type=int, default=60000)
    parser.add_argument("--rounds", type=int, default=14)
    a = parser.parse_args()
    torch.manual_seed(TAUGHT_SEED)
    torch.set_num_threads(1)
    fonts = sorted(glob.glob(f"{a.fonts}/**/*.[to]tf", recursive=True))
    # Every fifth font is kept back: what is read must not be these fonts by heart.
    kept, taught = fonts[::5], [f for i, f in enumerate(fonts) if i % 5]
    x, y = samples(TAUGHT_SEED, a.samples, taught)
    tx, ty = samples(TRIED_SEED, 4000, kept)
    model = net()
    steps = a.rounds * (a.samples // 128)
    best = torch.optim.AdamW(model.parameters(), 3e-3, weight_decay=1e-3)
    rate = torch.optim.lr_scheduler.OneCycleLR(best, 4e-3, total_steps=steps)
    said = nn.CrossEntropyLoss(label_smoothing=0.03)
    for epoch in range(a.rounds):
        order = torch.randperm(len(y))
        for i in range(a.samples // 128):
            take = order[i * 128 : (i + 1) * 128]
            loss = said(model(x[take]).flatten(1), y[take])
            best.zero_grad()
            loss.backward()
            best.step()
            rate.step()
        with torch.no_grad():
            guess = model(tx).flatten(1)
        right = guess.argmax(1) == ty
        digits = ty < NONE
        print(f"round {epoch}: digits {right[digits].float().mean():.4f}, none {right[~digits].float().mean():.4f}", flush=True)
    torch.onnx.export(model.eval(), (torch.zeros(1, 1, SIDE, SIDE),), a.out, input_names=["ink"], output_names=["kinds"], opset_version=17, dynamo=False)
    export.save(a.out)


if __name__ == "__main__":
    main()
