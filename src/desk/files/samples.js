// Samples put together, compared, written down, and planned from.

import { ask } from "./ask.js";
import { by, choices, el, say, trying, units } from "./make.js";
import { charts, figures, paragraph, remarks } from "./told.js";

/** Every yarn that can be chosen: samples first, then photos that belong to none. */
export function yarns(photos) {
  const names = [...new Set(photos.map((p) => p.sample).filter(Boolean))].sort();
  const alone = photos.filter((p) => !p.sample && p.headline);
  return [...names.map((name) => [`sample:${name}`, name]), ...alone.map((p) => [`photo:${p.id}`, p.name])];
}

export class Samples {
  constructor(photos) {
    this.photos = photos;
    this.shown = null;
    this.factors = null;
    this.start();
  }

  start() {
    by("gather").addEventListener("submit", (event) => {
      event.preventDefault();
      this.name(by("gather-name").value.trim());
    });
    by("gather-out").addEventListener("click", () => this.name(null));
    by("compare").addEventListener("submit", trying(async (event) => {
      event.preventDefault();
      const asked = new URLSearchParams({ first: by("compare-first").value, second: by("compare-second").value });
      const { sentences } = await ask("GET", `api/compare?${asked}`);
      by("compare-told").replaceChildren(sentences.length ? el("ul", { class: "plain" }, sentences.map((s) => el("li", {}, s))) : "Nothing can be compared: neither answers what the other does.");
    }, by("compare-told")));
    by("book").addEventListener("submit", trying(async (event) => {
      event.preventDefault();
      by("book-told").textContent = "Is being written …";
      const { page, file } = await ask("POST", "api/portfolio", { title: by("book-title").value });
      by("book-told").replaceChildren(el("a", { href: page, target: "_blank", rel: "noopener" }, "Open the index"), ` It lies at ${file}.`);
    }, by("book-told")));
    by("plan").addEventListener("submit", trying((event) => this.plan(event), by("plan-told")));
  }

  get chosen() {
    return [...by("gather-photos").querySelectorAll("input:checked")].map((box) => box.value);
  }

  name(sample) {
    return trying(async () => {
      const photos = this.chosen;
      if (photos.length === 0) throw new Error("Tick the photos first.");
      if (sample === "") throw new Error("Give the sample a name.");
      await ask("PUT", "api/samples", { photos, sample });
      by("gather-name").value = "";
      say(sample ? `${photos.length} put into ${sample}.` : "Taken out.");
    })();
  }

  async show() {
    const photos = this.photos();
    const ticked = new Set(this.chosen);
    const held = document.activeElement?.id;
    by("gather-photos").replaceChildren(...photos.map((p) => el("label", { class: "tick" },
      el("input", { type: "checkbox", id: `tick-${p.id}`, value: p.id, checked: ticked.has(p.id) }),
      el("span", {}, p.name), p.sample ? el("span", { class: "soft" }, p.sample) : null)));
    if (photos.length === 0) by("gather-photos").replaceChildren(el("p", { class: "soft" }, "There are no photos yet."));
    if (held?.startsWith("tick-")) by(held)?.focus({ preventScroll: true });
    const all = yarns(photos);
    const names = all.filter(([key]) => key.startsWith("sample:"));
    by("sample-names").replaceChildren(...names.map(([, value]) => el("option", { value })));
    by("sample-list").replaceChildren(...names.map(([key, name]) => el("button", { type: "button", onclick: () => this.tell(key) },
      el("strong", {}, name), el("span", {}, count(photos.filter((p) => p.sample === name).length)))));
    choices(by("compare-first"), all);
    choices(by("compare-second"), all);
    if (by("compare-first").value === by("compare-second").value && all.length > 1) by("compare-second").selectedIndex = 1;
    choices(by("plan-of"), [...all, ["", "none: plan from a weighed skein"]]);
    if (!this.factors) await this.forms();
    this.unitNames();
    if (this.shown) this.tell(this.shown);
  }

  async tell(of) {
    this.shown = of;
    try {
      const told = await ask("GET", `api/samples?${new URLSearchParams({ of })}`);
      by("sample-told").replaceChildren(el("article", { class: "sheet wide" }, ...[
        el("h3", {}, told.name), el("p", { class: "soft" }, `${count(told.photos)} together`), paragraph(told.words), remarks(told.words),
        told.skein.length && told.photos > 0 ? [el("h4", {}, "Is it even from end to end?"), el("ul", { class: "plain" }, told.skein.map((s) => el("li", {}, s)))] : null,
        figures(told.words), charts(told.words),
      ].flat().filter(Boolean)));
    } catch (error) {
      this.shown = null;
      by("sample-told").replaceChildren(el("p", { class: "soft" }, error.message));
    }
  }

  async forms() {
    try {
      this.factors = await ask("GET", "api/forms");
    } catch {
      return;
    }
    by("plan-fibre").append(...this.factors.fibres.map((value) => el("option", { value }, value)));
  }

  unitNames() {
    const imperial = units.now === "imperial";
    const put = (name, metric, other) => document.querySelectorAll(name).forEach((node) => { node.textContent = imperial ? other : metric; });
    put(".short-unit", "mm", "in");
    put(".long-unit", "m", "yd");
    put(".weight-unit", "g", "oz");
  }

  async plan(event) {
    event.preventDefault();
    if (!this.factors) await this.forms();
    const imperial = units.now === "imperial";
    const number = (id, factor = 1) => (by(id).value === "" ? null : Number(by(id).value) * (imperial ? factor : 1));
    const { mm_per_inch: inch, metres_per_yard: yard, grams_per_ounce: ounce } = this.factors;
    const ratios = by("plan-ratios").value.split(/[;,\s]+/).filter(Boolean).map(Number);
    if (ratios.some((r) => !(r > 0))) throw new Error("Write the ratios as numbers, parted by commas.");
    const { sentences } = await ask("POST", "api/plan", {
      of: by("plan-of").value || null,
      ply: by("plan-ply").value === "" ? null : Number(by("plan-ply").value),
      ratios,
      treadles: by("plan-treadles").value === "" ? null : Number(by("plan-treadles").value),
      draft_mm: number("plan-draft", inch),
      skein_m: number("plan-length", yard),
      skein_g: number("plan-weight", ounce),
      fibre: by("plan-fibre").value || null,
      staple_mm: number("plan-staple", inch),
    });
    by("plan-told").replaceChildren(...sentences.map((line) => el("p", {}, line)));
  }
}

const count = (n) => (n === 1 ? "1 photo" : `${n} photos`);
