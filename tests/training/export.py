#!/usr/bin/env python3
"""Writes a trained net as ONNX, normalisation folded into the convolutions: export.py strip|scout NET.pt OUT.onnx [--big]"""
import argparse
import hashlib
import os

import numpy as np
import onnx
import torch

import nets


def save(path):
    """Checks what torch wrote and takes out what tells of the machine that wrote it."""
    graph = onnx.load(path)
    onnx.checker.check_model(graph)
    graph.producer_name, graph.producer_version, graph.doc_string = "", "", ""
    for node in graph.graph.node:
        node.doc_string = ""
    onnx.save(graph, path)
    print(sorted({node.op_type for node in graph.graph.node}), os.path.getsize(path), "bytes", hashlib.sha256(open(path, "rb").read()).hexdigest())


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("kind", choices=["strip", "scout"])
    parser.add_argument("net")
    parser.add_argument("out")
    parser.add_argument("--big", action="store_true")
    a = parser.parse_args()
    net = nets.make(a.kind, a.big)
    if a.net != "untrained":
        net.load_state_dict(torch.load(a.net, map_location="cpu"))
    net.eval()
    example = torch.zeros(1, 4, nets.ROWS, 96) if a.kind == "strip" else torch.zeros(1, 3, 96, 128)
    free = {"picture": {3: "columns"}} if a.kind == "strip" else {"picture": {2: "rows", 3: "columns"}}
    outputs = ["cover", "along"] if a.kind == "strip" else ["map"]
    torch.onnx.export(net, (example,), a.out, input_names=["picture"], output_names=outputs, dynamic_axes=free, opset_version=17, dynamo=False)
    save(a.out)


if __name__ == "__main__":
    main()
