#!/usr/bin/env python3
"""The mean of some nets' weights, its normalisation measured anew: mean.py strip|scout OUT.pt NET.pt... -- FOLDER...

Keeps most of what each of them learned (Wortsman et al., "Robust fine-tuning of zero-shot models", CVPR 2022)."""
import sys

import torch

import data
import nets

BATCHES, SIZE = 40, 20


def main():
    if len(sys.argv) < 6 or "--" not in sys.argv:
        sys.exit(__doc__)
    kind, out, rest = sys.argv[1], sys.argv[2], sys.argv[3:]
    of, folders = rest[: rest.index("--")], rest[rest.index("--") + 1:]
    states = [torch.load(path, map_location="cpu") for path in of]
    net = nets.make(kind)
    net.load_state_dict({k: sum(s[k] for s in states) / len(states) if v.is_floating_point() else v for k, v in states[0].items()})
    for layer in net.modules():
        if isinstance(layer, torch.nn.BatchNorm2d):
            layer.reset_running_stats()
            layer.momentum = None                                    # a plain mean over all batches
    generator = torch.Generator().manual_seed(1)
    make, ending = (data.Strips, ".strip.json") if kind == "strip" else (data.Scenes, ".scout.png")
    pieces = make(data.stems(folders, ending), torch.device("cpu"))
    net.train()
    with torch.no_grad():
        for _ in range(BATCHES):
            net(pieces.batch(SIZE, 512 if kind == "strip" else 384, generator)[0])
    torch.save(net.state_dict(), out)


if __name__ == "__main__":
    main()
