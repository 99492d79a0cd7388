#!/usr/bin/env python3
"""Makes the shipped weights into a net that training can go on from: unfold.py strip|scout WEIGHTS.onnx NET.pt FOLDER...

Export folds the normalisation into the convolutions. Here each layer's mean and spread are measured on strips or pictures that
`cut` wrote and taken out again, so that the net does what it did, and a step of training what it would have done."""
import argparse

import onnx
import onnx.numpy_helper
import torch
import torch.nn as nn

import data
import nets


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("kind", choices=["strip", "scout"])
    parser.add_argument("weights")
    parser.add_argument("net")
    parser.add_argument("folders", nargs="+")
    parser.add_argument("--side", type=int, default=384)
    a = parser.parse_args()
    graph = onnx.load(a.weights).graph
    values = {i.name: torch.from_numpy(onnx.numpy_helper.to_array(i).copy()) for i in graph.initializer}
    folded = [[values[name] for name in node.input[1:]] for node in graph.node if node.op_type == "Conv"]
    net = nets.make(a.kind)
    generator = torch.Generator().manual_seed(1)
    make, ending = (data.Strips, ".strip.json") if a.kind == "strip" else (data.Scenes, ".scout.png")
    pieces = make(data.stems(a.folders, ending)[:400], torch.device("cpu"))
    x = pieces.batch(48, 512, generator)[0] if a.kind == "strip" else pieces.batch(12, a.side, generator)[0]
    # In the order in which the layers are run, as the graph has them.
    order = []
    hooks = [m.register_forward_hook(lambda m, i, o: order.append(m)) for m in net.modules() if isinstance(m, (nn.Conv2d, nn.BatchNorm2d))]
    net.eval()
    with torch.no_grad():
        net(x)
        for hook in hooks:
            hook.remove()
        convolutions = [m for m in order if isinstance(m, nn.Conv2d)]
        assert len(convolutions) == len(folded), (len(convolutions), len(folded))
        after = {c: n for c, n in zip(order, order[1:]) if isinstance(c, nn.Conv2d) and isinstance(n, nn.BatchNorm2d)}
        for conv, (weight, bias) in zip(convolutions, folded):
            assert conv.weight.shape == weight.shape
            conv.weight.copy_(weight)
            norm = after.get(conv)
            if norm is None:
                conv.bias.copy_(bias)
            else:
                norm.weight.fill_((1 + norm.eps) ** 0.5)
                norm.bias.copy_(bias)

        def measure(norm):
            def hook(_, inputs):
                v = inputs[0]
                mean, var = v.mean((0, 2, 3)), v.var((0, 2, 3), unbiased=False)
                bias = norm.bias.clone()
                norm.running_mean.copy_(mean)
                norm.running_var.copy_(var)
                norm.weight.copy_((var + norm.eps).sqrt())
                norm.bias.copy_(bias + mean)
            return hook

        before = net(x)
        hooks = [n.register_forward_pre_hook(measure(n)) for n in after.values()]
        net(x)
        for hook in hooks:
            hook.remove()
        now = net(x)
        first = lambda o: o if isinstance(o, torch.Tensor) else o[1]
        print("differs by", float((first(before) - first(now)).abs().max()))
    torch.save(net.state_dict(), a.net)


if __name__ == "__main__":
    main()
