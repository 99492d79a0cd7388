#!/usr/bin/env python3
"""Trains one net on what `cut` wrote: train.py strip|scout OUT.pt FOLDER... --seconds N [--big] [--from OLD.pt]"""
import argparse
import math
import time

import numpy as np
import torch
import torch.nn.functional as F

import data
import nets


def strip_losses(cover, columns, batch):
    _, labels, (top, bottom, phase, tan, valid), inside, plies, direction = batch
    size, _, rows, width = cover.shape
    y = torch.arange(rows, device=cover.device, dtype=torch.float32)[None, :, None]
    stretch = lambda t: t.repeat_interleave(4, 1)[:, None]
    a, b = stretch(top), stretch(bottom)
    ok, yarn = stretch(valid), (plies > 0).float()
    own = (y - a + 0.5).clamp(0, 1) * (b - y + 0.5).clamp(0, 1) * ok
    body = labels[:, 0]
    # Where no station is valid, all that is yarn counts as other yarn, and nothing is asked about the strand's own.
    target = torch.stack([own, (body * (1 - own)).clamp(0, 1), labels[:, 1], labels[:, 2]], 1)
    shown = stretch(inside.float())
    asked = torch.stack([torch.maximum(ok, 1 - yarn[:, None, None]).expand_as(body)] + [ok.maximum(1 - yarn[:, None, None]).expand_as(body)] + [torch.ones_like(body)] * 2, 1) * shown[:, None]
    weight = torch.tensor([12.0, 4.0, 2.0, 2.0], device=cover.device)[None, :, None, None]
    bce = F.binary_cross_entropy_with_logits(cover, target, reduction="none") * asked * weight
    loss_cover = bce.sum() / (asked[:, 0].sum() + 1)
    p = torch.sigmoid(cover[:, 0])
    w, w_true = p.sum(1).view(size, width // 4, 4).mean(2), bottom - top
    n_ok = valid.sum() + 1
    loss_width = (((w - w_true) / 20).abs() * valid).sum() / n_ok * 4
    turning = plies[:, None].float() * phase
    cos, sin = torch.cos(turning), torch.sin(turning)
    plied = (plies > 1).float()[:, None] * valid
    c = columns
    loss_phase = (((c[:, nets.COS] - cos) ** 2 + (c[:, nets.SIN] - sin) ** 2) * plied).sum() / (plied.sum() + 1)
    spread = c[:, nets.TAN_SPREAD].clamp(-5, 2)
    loss_tan = (((c[:, nets.TAN] - tan).abs() * torch.exp(-spread) + spread) * valid).sum() / n_ok
    loss_direction = (F.binary_cross_entropy_with_logits(c[:, nets.DIRECTION], ((direction + 1) / 2)[:, None].expand_as(valid), reduction="none") * valid).sum() / n_ok
    asked = torch.maximum(valid, inside.float() * (1 - yarn)[:, None])
    loss_yarn = (F.binary_cross_entropy_with_logits(c[:, nets.YARN], yarn[:, None].expand_as(valid), reduction="none") * asked).sum() / (asked.sum() + 1)
    logits, which = c[:, nets.PLIES], (plies - 1).clamp(min=0)
    loss_plies = (F.cross_entropy(logits, which[:, None].expand_as(valid), reduction="none") * valid).sum() / n_ok
    vote = (logits * valid[:, None]).sum(2) / (valid.sum(1)[:, None] + 1e-3)
    some = (valid.sum(1) > 8) & (plies > 0)
    loss_vote = F.cross_entropy(vote[some], which[some]) if bool(some.any()) else vote.sum() * 0
    parts = dict(cover=loss_cover, width=loss_width, phase=loss_phase, tan=loss_tan, direction=0.5 * loss_direction, yarn=0.5 * loss_yarn, plies=0.5 * loss_plies, vote=loss_vote)
    return sum(parts.values()), {k: v.detach() for k, v in parts.items()}


def scout_losses(out, truth):
    body = truth[:, 0]
    logit = out[:, nets.BODY]
    bce = F.binary_cross_entropy_with_logits(logit, body, pos_weight=torch.tensor(2.0, device=out.device))
    p = torch.sigmoid(logit)
    dice = 1 - (2 * (p * body).sum((1, 2)) + 20) / (p.sum((1, 2)) + body.sum((1, 2)) + 20)
    bare = (body < 0.3).float()
    kinds = (F.cross_entropy(out[:, nets.KINDS], truth[:, 1].long().clamp(0, 3), reduction="none") * bare).sum() / (bare.sum() + 1)
    on = truth[:, 5] * (body > 0.4)
    way = (((out[:, nets.WAY] - truth[:, 2:4]) ** 2).sum(1) * on).sum() / (on.sum() + 1)
    width = ((out[:, nets.WIDTH] - truth[:, 4]).abs() * on).sum() / (on.sum() + 1)
    parts = dict(body=2 * bce, dice=dice.mean(), kinds=0.2 * kinds, way=0.5 * way, width=0.3 * width)
    return sum(parts.values()), {k: v.detach() for k, v in parts.items()}


def judge_strips(net, strips, device, most=600):
    """Errors on whole strips kept back: plies, direction, width, phase."""
    net.eval()
    rows, none = [], []
    with torch.no_grad():
        for i in range(min(most, len(strips.length))):
            n, s = int(strips.length[i]), int(strips.start[i])
            n = n // 16 * 16
            x = strips.picture[:, :, s:s + n][None].float() / 255
            row = torch.linspace(-1, 1, nets.ROWS, device=device)[None, None, :, None].expand(1, 1, nets.ROWS, n)
            cover, c = net(torch.cat([x, row], 1))
            top, bottom, phase, tan, valid = strips.columns[:, s // 4:s // 4 + n // 4]
            plies = int(strips.plies[i])
            yarn = float(torch.sigmoid(c[0, nets.YARN]).mean())
            if plies == 0:
                none.append(yarn)
                continue
            ok = valid > 0.5
            if ok.sum() < 24:
                continue
            w = torch.sigmoid(cover[0, 0]).sum(0).view(n // 4, 4).mean(1)
            ratio = float((w[ok].mean() / (bottom - top)[ok].mean()))
            vote = c[0, nets.PLIES][:, ok].mean(1)
            probability = torch.softmax(vote, 0)
            direction = float(torch.sigmoid(c[0, nets.DIRECTION][ok].mean()))
            rows.append((plies, int(vote.argmax()) + 1, float(probability.max()), ratio - 1, (direction > 0.5) == (float(strips.direction[i]) > 0), float((c[0, nets.TAN][ok] - tan[ok]).mean().abs()), yarn))
    net.train()
    if not rows:
        return "nothing to judge"
    r = np.array([[*map(float, q)] for q in rows])
    by = {int(k): f"{(r[r[:, 0] == k][:, 1] == k).mean():.2f}" for k in np.unique(r[:, 0])}
    width = np.abs(r[:, 3]) * 100
    return (f"{len(r)} strips: plies right {(r[:, 0] == r[:, 1]).mean():.3f} {by}; width median {np.median(width):.1f} p95 {np.percentile(width, 95):.1f} %; direction {r[:, 4].mean():.3f}; "
            f"tan median {np.median(r[:, 5]):.3f}; yarn seen {np.mean(r[:, 6] > 0.5):.3f}, nothing taken for yarn {np.mean(np.array(none) > 0.5) if none else float('nan'):.3f} of {len(none)}")


def judge_scout(net, scenes, device, most=150):
    net.eval()
    tp = fp = fn = 0.0
    covered = []
    with torch.no_grad():
        for i in range(min(most, len(scenes.picture))):
            w, h = (int(v) // 32 * 32 for v in scenes.size[i])
            p = torch.sigmoid(net(scenes.picture[i, :h, :w].permute(2, 0, 1)[None].float() / 255)[0, nets.BODY])
            t = scenes.truth[i, : h // 2, : w // 2, 0].float() / 255
            hit = (p > 0.5).float()
            tp, fp, fn = tp + float((hit * t).sum()), fp + float((hit * (t < 0.1)).sum()), fn + float(((1 - hit) * t).sum())
            if float(t.sum()) > 50:
                covered.append(float((hit * (t > 0.7)).sum() / ((t > 0.7).sum() + 1)))
    net.train()
    return f"body: found {tp / (tp + fn + 1):.3f}, false {fp / (tp + fp + 1):.3f}; scenes with 0.9 of it {np.mean(np.array(covered) > 0.9):.3f}, 0.6 {np.mean(np.array(covered) > 0.6):.3f}"


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("kind", choices=["strip", "scout"])
    parser.add_argument("out")
    parser.add_argument("folders", nargs="+")
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--batch", type=int, help="96 strips or 48 pieces of photos")
    parser.add_argument("--side", type=int, default=384)
    parser.add_argument("--rate", type=float, default=3e-3)
    parser.add_argument("--mean", type=float, default=0.999, help="of the weights kept, how much of the last ones stays at each step")
    parser.add_argument("--big", action="store_true")
    parser.add_argument("--start")
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    parser.add_argument("--seed", type=int, default=1)
    a = parser.parse_args()
    a.batch = a.batch or (96 if a.kind == "strip" else 48)
    torch.manual_seed(a.seed)
    torch.backends.cudnn.benchmark = True
    device = torch.device(a.device)
    generator = torch.Generator(device=device)
    generator.manual_seed(a.seed)
    began = time.time()
    ending = ".strip.json" if a.kind == "strip" else ".scout.png"
    every = data.stems(a.folders, ending)
    make = data.Strips if a.kind == "strip" else data.Scenes
    train, look = make(data.kept(every, 0.05, False), device), make(data.kept(every, 0.05, True) or every[:20], device)
    print(f"{a.kind}: {len(every)} pieces read in {time.time() - began:.0f} s", flush=True)
    net = nets.make(a.kind, a.big).to(device)
    if a.start:
        net.load_state_dict(torch.load(a.start, map_location=device))
    # What is kept is the mean of the weights over the last steps (Polyak and Juditsky 1992).
    mean = torch.optim.swa_utils.AveragedModel(net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(a.mean), use_buffers=True)
    optimiser = torch.optim.AdamW(net.parameters(), lr=a.rate, weight_decay=1e-2)
    # Reading counts as well: a lent machine's time is what is short.
    left = a.seconds - (time.time() - began)
    step, sums, began, shown = 0, {}, time.time(), time.time()
    while time.time() - began < left:
        done = (time.time() - began) / left
        for group in optimiser.param_groups:
            group["lr"] = a.rate * min(1, (step + 1) / 200) * 0.5 * (1 + math.cos(math.pi * min(done, 1)))
        with torch.autocast(device.type, dtype=torch.bfloat16):
            if a.kind == "strip":
                batch = train.batch(a.batch, 512, generator)
                cover, columns = net(batch[0])
            else:
                picture, truth = train.batch(a.batch, a.side, generator)
                out = net(picture)
        loss, parts = strip_losses(cover.float(), columns.float(), batch) if a.kind == "strip" else scout_losses(out.float(), truth)
        optimiser.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5)
        optimiser.step()
        mean.update_parameters(net)
        step += 1
        for k, v in parts.items():
            sums[k] = 0.98 * sums.get(k, v) + 0.02 * v
        if time.time() - shown > 20:
            shown = time.time()
            print(f"{step} {shown - began:.0f} s", {k: round(float(v), 3) for k, v in sums.items()}, flush=True)
            if step > 300:
                torch.save(mean.module.state_dict(), a.out)
    judge = judge_strips if a.kind == "strip" else judge_scout
    print("kept back, last weights:", judge(net, look, device))
    print("kept back, mean weights:", judge(mean.module, look, device), flush=True)
    torch.save(mean.module.state_dict(), a.out)


if __name__ == "__main__":
    main()
