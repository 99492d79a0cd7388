"""From linear light to the file a camera would have saved."""
import cv2
import numpy as np


def srgb(x):
    x = np.clip(x, 0, None)
    return np.where(x <= .0031308, 12.92 * x, 1.055 * np.power(np.maximum(x, 1e-9), 1 / 2.4) - .055)


def settings(r, everyday=False):
    s = {"exposure": float(np.exp(r.uniform(np.log(.3), np.log(1.1)))), "wb": [float(np.exp(r.normal(0, .1))), 1.0, float(np.exp(r.normal(0, .14)))],
         "blur": float(r.choice([0, 0, r.uniform(.3, 1.6)])), "motion": float(r.choice([0] * 9 + [r.uniform(2, 7)])), "angle": float(r.uniform(0, np.pi)),
         "shot": float(10 ** r.uniform(-4.6, -2.5)), "denoise": float(r.choice([0, r.uniform(.3, 1.1), r.uniform(.3, 1.1)])), "nlm": r.random() < .12,
         "sharpen": float(r.choice([0, r.uniform(.2, 1), r.uniform(.4, 2.2)])), "sharp_r": float(r.uniform(.7, 2.2)), "contrast": float(r.uniform(-.03, .14)), "shoulder": float(r.uniform(.72, .95)),
         "vignette": float(r.uniform(0, 1.3)), "sat": float(r.choice([0] * 1 + [r.uniform(.6, 1.5)] * 9)), "quality": int(r.integers(55, 98)) if r.random() < .85 else int(r.integers(8, 31)),
         "chroma": str(r.choice(["420", "420", "444"])), "levels": int(r.choice([0] * 70 + [4, 6, 8, 12, 16, 32])), "grey": r.random() < .13, "flare": float(r.choice([0, 0, 0, r.uniform(.01, .15)])),
         "enlarged": float(r.choice([1] * 8 + [r.uniform(1.2, 2.2)]))}
    if r.random() < .04:                                             # hard copy: near black and near white
        s["contrast"] = float(r.uniform(.15, .36))
    if everyday:                                                     # what a phone makes of a well-lit table
        s.update(exposure=float(r.uniform(.55, .95)), blur=float(r.choice([0, 0, r.uniform(.3, .8)])), motion=0.0, shot=float(10 ** r.uniform(-4.6, -3.3)),
                 sharpen=float(r.choice([0, r.uniform(.2, .9)])), contrast=float(r.uniform(0, .09)), sat=float(r.uniform(.8, 1.2)), quality=int(r.integers(72, 97)),
                 levels=0, grey=r.random() < .04, flare=float(r.choice([0, 0, r.uniform(0, .04)])), enlarged=1.0)
    return s


def develop(lin, s, r, tan_half):
    """Linear light [h, w, 3] to 8 bits."""
    cv2.setNumThreads(1)
    img = lin.astype(np.float32)
    h, w = img.shape[:2]
    if s["motion"]:
        n = int(np.ceil(s["motion"])) | 1
        k = np.zeros((n, n), np.float32)
        c = (n - 1) / 2
        for q in np.linspace(-.5, .5, 8 * n):
            k[int(round(c + q * (n - 1) * np.sin(s["angle"]))), int(round(c + q * (n - 1) * np.cos(s["angle"])))] += 1
        img = cv2.filter2D(img, -1, k / k.sum())
    if s["blur"]:
        img = cv2.GaussianBlur(img, (0, 0), s["blur"])
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w / 2) ** 2 * tan_half ** 2
    img *= (1 / (1 + s["vignette"] * r2) ** 2)[..., None]
    img *= s["exposure"] / max(np.percentile(img[::7, ::7].mean(-1), 93), 1e-4)
    img = img * np.asarray(s["wb"], np.float32) + np.float32(s["flare"])
    if s["enlarged"] > 1:                                            # a picture from fewer pixels
        z = s["enlarged"]
        img = cv2.resize(cv2.resize(img, (int(w / z), int(h / z)), interpolation=cv2.INTER_AREA), (w, h), interpolation=cv2.INTER_CUBIC)
    n = r.standard_normal(img.shape, dtype=np.float32)
    img = img + n * np.sqrt(s["shot"] * np.clip(img, 0, None) + (.25 * s["shot"]) ** 1.0 * .02 + 1e-6)
    if s["denoise"]:
        img = cv2.GaussianBlur(img, (0, 0), s["denoise"])
    if s["sat"] != 1:
        g = img @ np.array([.2126, .7152, .0722], np.float32)
        img = g[..., None] + s["sat"] * (img - g[..., None])
    img = srgb(img).astype(np.float32)
    k = s["shoulder"]
    img = np.where(img > k, k + (1 - k) * (1 - np.exp(-(img - k) / (1 - k))) * 1.05, img)
    img = img + s["contrast"] * np.sin(2 * np.pi * (np.clip(img, 0, 1) - .5)) * .5
    if s["sharpen"]:
        img = img + s["sharpen"] * (img - cv2.GaussianBlur(img.astype(np.float32), (0, 0), s["sharp_r"]))
    if s["grey"]:
        img = np.repeat((img @ np.array([.299, .587, .114]))[..., None], 3, -1)
    out = (np.clip(img, 0, 1) * 255 + .5).astype(np.uint8)
    if s["nlm"]:                                                     # smeared like a phone's strong denoising
        out = cv2.bilateralFilter(out, 5, 28, 3)
    if s["levels"]:
        q = 255 / (s["levels"] - 1)
        out = np.clip(np.rint(np.rint(out / q) * q), 0, 255).astype(np.uint8)
    return out


def encode(img, s):
    f = {"420": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420, "444": cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444}[s["chroma"]]
    ok, b = cv2.imencode(".jpg", img[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, s["quality"], cv2.IMWRITE_JPEG_SAMPLING_FACTOR, f])
    if not ok:
        raise RuntimeError("JPEG encoding failed")
    return b.tobytes()
