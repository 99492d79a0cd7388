#!/usr/bin/env python3
"""Figures of nets on scenes that none of them saw: judge.py strip|scout FOLDER... -- NET.pt..."""
import sys

import torch

import data
import nets
import train

MOST = 1500


def main():
    if len(sys.argv) < 5 or "--" not in sys.argv:
        sys.exit(__doc__)
    kind, rest = sys.argv[1], sys.argv[2:]
    folders, paths = rest[: rest.index("--")], rest[rest.index("--") + 1:]
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    make, ending, judge = (data.Strips, ".strip.json", train.judge_strips) if kind == "strip" else (data.Scenes, ".scout.png", train.judge_scout)
    for folder in folders:
        stems = data.stems([folder], ending)
        pieces = make(stems[:: max(1, len(stems) // MOST)], device)
        for path in paths:
            net = nets.make(kind).to(device)
            net.load_state_dict(torch.load(path, map_location=device))
            print(folder, path, judge(net, pieces, device, 5000), flush=True)


if __name__ == "__main__":
    main()
