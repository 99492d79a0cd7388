#!/usr/bin/env python3
"""Rebuilds the weights from nothing: paints, cuts, trains, exports. README.md says what a refit must reach.

    refit.py paint DATA --seconds 420 --first 0 [--traced 13 --painted 3]    both painters, many processes
    refit.py cut DATA                                                        strips and scout pictures
    refit.py train DATA OUT --seconds 300 [--start FOLDER]                   the nets, side by side
"""
import argparse
import glob
import json
import os
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
SEEDS = json.load(open(os.path.join(HERE, "seeds.json")))
# Seeds that one process may use up.
BLOCK = 2000


def wait(processes, seconds):
    end = time.time() + seconds
    for p in processes:
        try:
            p.wait(max(0.1, end - time.time()))
        except subprocess.TimeoutExpired:
            p.kill()


def paint(a):
    first = SEEDS["training"][0] + a.first
    began, running = time.time(), []
    for i in range(a.traced + a.painted):
        out = os.path.join(a.data, f"scenes-{a.first}-{i}")
        os.makedirs(out, exist_ok=True)
        seed = str(first + i * BLOCK)
        log = open(out + ".log", "w")
        if i < a.traced:
            command = [sys.executable, os.path.join(HERE, "traced", "paint.py"), "--first", seed, "--seconds", str(a.seconds), "--out", out] + a.traced_options.split()
            env = dict(os.environ, OMP_NUM_THREADS="1")
        else:
            command = [a.painted_tool, "--first", seed, "--seconds", str(a.seconds), "--out", out]
            command += ["--grounds", a.grounds] if a.grounds else []
            env = dict(os.environ, RAYON_NUM_THREADS="1")
        running.append(subprocess.Popen(command, stdout=log, stderr=log, env=env))
    wait(running, a.seconds + 45 - (time.time() - began))
    for i in range(a.traced + a.painted):
        folder = os.path.join(a.data, f"scenes-{a.first}-{i}")
        n = len(glob.glob(folder + "/*.jpg"))
        tail = open(folder + ".log").read()[-300:] if i in (0, a.traced) else ""
        print(folder, n, "scenes", tail)
    print("painted in %.0f s" % (time.time() - began), flush=True)


def cut(a):
    began = time.time()
    for folder in sorted(glob.glob(os.path.join(a.data, "scenes-*/"))):
        photos = sorted(p for p in glob.glob(folder + "*.jpg") if os.path.exists(p[:-4] + ".json"))
        kind = "traced" if any("traced" in open(p[:-4] + ".json").read(200) for p in photos[:1]) else "painted"
        if photos:
            subprocess.run([a.cut_tool, os.path.join(a.data, "cut-" + kind), *photos], check=False)
    print("cut in %.0f s" % (time.time() - began), flush=True)


def train(a):
    os.makedirs(a.out, exist_ok=True)
    folders = sorted(glob.glob(os.path.join(a.data, "cut-*")))
    jobs = [("strip", False, 0), ("scout", False, 1), ("strip", True, 0), ("scout", True, 1)]
    if a.small:
        jobs = jobs[:2]
    running = []
    for kind, big, gpu in jobs:
        name = kind + ("-big" if big else "")
        start = os.path.join(a.start, name + ".pt") if a.start else ""
        command = [sys.executable, os.path.join(HERE, "train.py"), kind, os.path.join(a.out, name + ".pt"), *folders, "--seconds", str(a.seconds)]
        command += ["--big"] if big else []
        command += ["--start", start] if start and os.path.exists(start) else []
        log = open(os.path.join(a.out, name + ".log"), "w")
        running.append(subprocess.Popen(command, stdout=log, stderr=log, env=dict(os.environ, CUDA_VISIBLE_DEVICES=str(gpu % max(1, a.gpus)))))
    wait(running, a.seconds + 150)
    for kind, big, _ in jobs:
        name = kind + ("-big" if big else "")
        print("==", name, open(os.path.join(a.out, name + ".log")).read()[-900:])
        command = [sys.executable, os.path.join(HERE, "export.py"), kind, os.path.join(a.out, name + ".pt"), os.path.join(a.out, name + ".onnx")]
        subprocess.run(command + (["--big"] if big else []), check=False, stderr=subprocess.DEVNULL)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    steps = parser.add_subparsers(dest="step", required=True)
    for name in ("paint", "cut", "train"):
        p = steps.add_parser(name)
        p.add_argument("data")
        if name == "train":
            p.add_argument("out")
            p.add_argument("--start")
            p.add_argument("--small", action="store_true")
        p.add_argument("--seconds", type=float, default=400)
        p.add_argument("--first", type=int, default=0, help="seeds from the first of the training range on")
        p.add_argument("--traced", type=int, default=13)
        p.add_argument("--painted", type=int, default=3)
        p.add_argument("--traced-options", default="--spp 8 --scale .6 --threads 1")
        p.add_argument("--grounds", default="")
        p.add_argument("--gpus", type=int, default=1)
        p.add_argument("--painted-tool", default=os.path.join(HERE, "painted/target/release/painted"))
        p.add_argument("--cut-tool", default=os.path.join(HERE, "cut/target/release/strandrule-cut"))
    a = parser.parse_args()
    {"paint": paint, "cut": cut, "train": train}[a.step](a)


if __name__ == "__main__":
    main()
