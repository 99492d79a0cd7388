"""The two nets. Plain convolutions, which the program's runtime does fastest; normalisation is folded away on export."""
import torch
import torch.nn as nn
import torch.nn.functional as F

ROWS = 64
# Channels of the strip net's "columns" output.
COS, SIN, TAN, TAN_SPREAD, DIRECTION, YARN, PLIES = 0, 1, 2, 3, 4, 5, slice(6, 10)
COLUMN_OUTPUTS = 10
# Channels of its "cover" output: the strand's own body, other yarn, hairs, shadow.
OWN, OTHER, HAIR, SHADOW = 0, 1, 2, 3
# Channels of the scout's output: body, kinds (ground, ruler, card, thing), cosine and sine of twice the angle, log2 of the width.
BODY, KINDS, WAY, WIDTH = 0, slice(1, 5), slice(5, 7), 7
SCOUT_OUTPUTS = 8


def conv(i, o, k=3, stride=1, dilation=1):
    return nn.Sequential(nn.Conv2d(i, o, k, stride=stride, padding=(k // 2) * dilation, dilation=dilation, bias=False), nn.BatchNorm2d(o), nn.ReLU(inplace=True))


def up(x):
    return F.interpolate(x, scale_factor=2.0, mode="nearest")


class Strip(nn.Module):
    """[B, 4, 64, L] (code values 0 to 1 and the row, -1 to 1; L a multiple of 16) -> cover logits [B, 4, 64, L], columns [B, 10, L / 4]."""

    def __init__(self, c=(8, 14, 24, 40), mid=(16, 24, 12, 12), wide=64):
        super().__init__()
        self.e0 = conv(4, c[0])
        self.e1 = nn.Sequential(conv(c[0], c[1], stride=2), conv(c[1], c[1]))
        self.e2 = nn.Sequential(conv(c[1], c[2], stride=2), conv(c[2], c[2]))
        self.e3 = nn.Sequential(conv(c[2], c[3], stride=2), conv(c[3], c[3]), conv(c[3], c[3], dilation=2))
        self.u3 = conv(c[3], mid[0], 1)
        self.d2 = conv(mid[0] + c[2], mid[1])
        self.u2 = conv(mid[1], mid[2], 1)
        self.d1 = conv(mid[2] + c[1], mid[3])
        self.cover = nn.Conv2d(mid[3], 16, 1)
        self.column = nn.Sequential(nn.Conv2d(mid[1], wide, (ROWS // 4, 1), bias=False), nn.BatchNorm2d(wide), nn.ReLU(inplace=True))
        self.along = nn.ModuleList(
            nn.Sequential(nn.Conv2d(wide, wide, (1, 5), padding=(0, 2 * d), dilation=(1, d), bias=False), nn.BatchNorm2d(wide), nn.ReLU(inplace=True))
            for d in (1, 2, 4, 8, 16, 32))
        self.out = nn.Conv2d(wide, COLUMN_OUTPUTS, 1)

    def forward(self, x):
        f0 = self.e0(x)
        f1 = self.e1(f0)
        f2 = self.e2(f1)
        f3 = self.e3(f2)
        g2 = self.d2(torch.cat([up(self.u3(f3)), f2], 1))
        g1 = self.d1(torch.cat([up(self.u2(g2)), f1], 1))
        cover = F.pixel_shuffle(self.cover(g1), 2)
        h = self.column(g2)
        for layer in self.along:
            h = h + layer(h)
        return cover, self.out(h).squeeze(2)


class Scout(nn.Module):
    """[B, 3, H, W] (code values 0 to 1; H and W multiples of 32) -> [B, 8, H / 2, W / 2]."""

    def __init__(self, c=(8, 14, 24, 40, 64), mid=(28, 20, 12, 12), fine=8):
        super().__init__()
        self.e0 = conv(3, c[0], stride=2)
        self.e1 = conv(c[0], c[1], stride=2)
        self.e2 = nn.Sequential(conv(c[1], c[2], stride=2), conv(c[2], c[2]))
        self.e3 = nn.Sequential(conv(c[2], c[3], stride=2), conv(c[3], c[3]))
        self.e4 = nn.Sequential(conv(c[3], c[4], stride=2), conv(c[4], c[4]), conv(c[4], c[4], dilation=2), conv(c[4], c[4]))
        self.u4 = conv(c[4], mid[0], 1)
        self.d3 = conv(mid[0] + c[3], mid[0])
        self.u3 = conv(mid[0], mid[1], 1)
        self.d2 = conv(mid[1] + c[2], mid[1])
        self.u2 = conv(mid[1], mid[2], 1)
        self.d1 = conv(mid[2] + c[1], mid[3])
        # A quarter's cell says what its four halves are, told also what the finest features see there.
        self.fine = conv(c[0], fine, stride=2)
        self.out = nn.Conv2d(mid[3] + fine, 4 * SCOUT_OUTPUTS, 1)

    def forward(self, x):
        f0 = self.e0(x - 0.5)
        f1 = self.e1(f0)
        f2 = self.e2(f1)
        f3 = self.e3(f2)
        f4 = self.e4(f3)
        g3 = self.d3(torch.cat([up(self.u4(f4)), f3], 1))
        g2 = self.d2(torch.cat([up(self.u3(g3)), f2], 1))
        g1 = self.d1(torch.cat([up(self.u2(g2)), f1], 1))
        return F.pixel_shuffle(self.out(torch.cat([g1, self.fine(f0)], 1)), 2)


BIG = {"strip": dict(c=(12, 24, 40, 64), mid=(32, 40, 20, 20), wide=96), "scout": dict(c=(12, 24, 48, 72, 96), mid=(56, 48, 32, 24))}


def make(kind, big=False):
    net = {"strip": Strip, "scout": Scout}[kind]
    return net(**BIG[kind]) if big else net()


def multiplications(net, shape):
    """Multiplications of all convolutions for an input of this shape."""
    total = 0

    def count(module, _, out):
        nonlocal total
        if isinstance(module, nn.Conv2d):
            k = module.kernel_size[0] * module.kernel_size[1] * module.in_channels // module.groups
            total += k * out.numel()

    hooks = [m.register_forward_hook(count) for m in net.modules()]
    net.eval()
    with torch.no_grad():
        net(torch.zeros(shape))
    for hook in hooks:
        hook.remove()
    return total


if __name__ == "__main__":
    for kind, shape in (("strip", (1, 4, 64, 1008)), ("scout", (1, 3, 768, 1024))):
        for big in (False, True):
            net = make(kind, big)
            print(kind, "big" if big else "", sum(p.numel() for p in net.parameters()), "weights", round(multiplications(net, shape) / 1e6), "million multiplications")
