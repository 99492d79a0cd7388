// A class: roster, target, and the marks as they come.

import { ask } from "./ask.js";
import { by, choices, el, say, trying } from "./make.js";
import { yarns } from "./samples.js";

const SIDES = [["both", "too much or too little"], ["at-most", "only too much"], ["at-least", "only too little"]];

const STANDINGS = {
  meets: ["●", "meets it"],
  "cannot-be-told-apart": ["○", "cannot be told from it"],
  misses: ["▲", "misses it"],
  "not-marked": ["–", "not measured"],
};

/** How far from a figure of a measured yarn is still like it, where its interval does not say more: a tenth (common practice,
 * no source). */
const LIKE = 0.1;

export class Classroom {
  constructor(photos) {
    this.photos = photos;
    this.figures = null;
    this.filled = false;
    this.start();
  }

  start() {
    by("roster").addEventListener("submit", trying(async (event) => {
      event.preventDefault();
      await this.takeRoster(by("roster-text").value);
    }, by("roster-told")));
    by("target").addEventListener("submit", trying(async (event) => {
      event.preventDefault();
      await ask("PUT", "api/class/target", this.form());
      by("target-told").textContent = "Kept.";
      await this.show();
    }, by("target-told")));
    by("target-more").addEventListener("click", () => this.row({}).querySelector("select").focus());
    by("target-like").addEventListener("change", trying(() => this.like(by("target-like").value), by("target-told")));
    by("sheet-write").addEventListener("click", trying(async () => {
      by("sheet-told").textContent = "Is being written …";
      const { page, file } = await ask("POST", "api/class/sheet");
      by("sheet-told").replaceChildren(el("a", { id: "sheet-open", href: page, target: "_blank", rel: "noopener" }, "Open the sheet to print"), ` It lies at ${file}; a table is beside it.`);
    }, by("sheet-told")));
  }

  /** A roster pasted, typed or dropped. A table from a spreadsheet is parted by tabs. */
  async takeRoster(text) {
    by("roster-text").value = text;
    try {
      const people = await ask("PUT", "api/class/roster", text);
      by("roster-told").textContent = people ? `${people} on the roster.` : "The roster was put away.";
      say(by("roster-told").textContent);
    } catch (error) {
      by("roster-told").textContent = error.message;
      say(error.message, true);
    }
    await this.show();
  }

  async show() {
    if (!this.figures) this.figures = (await ask("GET", "api/forms")).figures;
    choices(by("target-like"), [["", "no: as written below"], ...yarns(this.photos())]);
    let standing;
    try {
      standing = await ask("GET", "api/class");
    } catch (error) {
      say(error.message, true);
      return;
    }
    by("roster-cards").hidden = standing.roster === null;
    if (!this.filled) {
      this.filled = true;
      by("roster-text").value = standing.roster ?? "";
      if (standing.target) this.fill(standing.target);
      else for (const figure of ["twists_per_inch", "diameter_mm"]) this.row({ figure });
    }
    this.showMarks(standing);
  }

  fill(target) {
    by("target-title").value = target.title;
    by("target-out-of").value = target.out_of;
    by("target-rows").replaceChildren();
    for (const asked of target.criteria) this.row(asked);
  }

  /** One figure that is asked. */
  row(asked) {
    this.rows = (this.rows ?? 0) + 1;
    const id = (name) => `ask-${this.rows}-${name}`;
    const all = [...this.figures.map((f) => [f.key, `${f.words}${f.unit ? `, ${f.unit}` : ""}`]), ["plies", "plies"], ["twist_direction", "direction of twist"]];
    const figure = el("select", { id: id("figure"), class: "figure" }, all.map(([value, words]) => el("option", { value, selected: value === asked.figure }, words)));
    const value = el("input", { id: id("value"), class: "value", required: true, size: 6, value: asked.value ?? "", autocomplete: "off" });
    const within = el("input", { id: id("within"), class: "within", type: "number", min: 0, step: "any", value: asked.tolerance === undefined || asked.tolerance === null ? "" : round(asked.tolerance) });
    const weight = el("input", { id: id("weight"), class: "weight", type: "number", min: 0, step: "any", value: asked.weight ?? 1 });
    const side = el("select", { id: id("side"), class: "side" }, SIDES.map(([v, words]) => el("option", { value: v, selected: v === (asked.side ?? "both") }, words)));
    const field = (node, words) => el("div", {}, el("label", { for: node.id }, words), node);
    const row = el("fieldset", { class: "asked" }, el("legend", {}, `Figure ${by("target-rows").children.length + 1}`),
      field(figure, "What"), field(value, "Wanted"), field(within, "Full mark within ±"), field(weight, "Weight"), field(side, "A fault is"),
      el("button", { type: "button", class: "quiet", onclick: () => row.remove() }, "Leave out"));
    const exact = () => {
      const word = ["plies", "twist_direction"].includes(figure.value);
      within.disabled = word;
      side.disabled = word;
    };
    figure.addEventListener("change", exact);
    exact();
    by("target-rows").append(row);
    return row;
  }

  form() {
    const criteria = [...by("target-rows").children].map((row) => {
      const get = (name) => row.querySelector(`.${name}`);
      const text = get("value").value.trim();
      const figure = get("figure").value;
      const number = Number(text.replace(",", "."));
      if (text === "" || (figure !== "twist_direction" && !Number.isFinite(number))) throw new Error(`Write the wanted ${get("figure").selectedOptions[0].textContent} as a number.`);
      const asked = { figure, value: figure === "twist_direction" ? text.toUpperCase() : number, weight: Number(get("weight").value) || 1 };
      if (!get("within").disabled) {
        asked.tolerance = get("within").value === "" ? null : Number(get("within").value);
        asked.side = get("side").value;
      }
      return asked;
    });
    return { title: by("target-title").value.trim() || "Marks", out_of: Number(by("target-out-of").value) || 100, criteria };
  }

  /** Takes the values of a yarn that was measured; each can be changed before it is kept. */
  async like(of) {
    if (!of) return;
    const told = await ask("GET", `api/samples?${new URLSearchParams({ of })}`);
    const answers = new Map(told.words.figures.map((f) => [f.key, f]));
    const wanted = [...by("target-rows").children].map((row) => row.querySelector(".figure").value);
    by("target-rows").replaceChildren();
    for (const key of wanted.length ? wanted : ["twists_per_inch", "diameter_mm"]) {
      const figure = answers.get(key);
      const number = (text) => parseFloat(text);
      if (figure?.word) this.row({ figure: key, value: key === "plies" ? number(figure.word) || 1 : figure.word });
      else if (figure?.metric) {
        // Turns are asked by the inch, lengths in millimetres.
        const shown = ["twists_per_inch", "bumps_per_inch"].includes(key) ? figure.imperial : figure.metric;
        const [low, high] = shown.range.split(" to ").map(number);
        const value = number(shown.value);
        this.row({ figure: key, value, tolerance: Math.max((high - low) / 2, Math.abs(value) * LIKE) });
      } else this.row({ figure: key });
    }
    by("target-told").textContent = `As ${told.name}. What it does not answer is left for you. Keep it when it is right.`;
  }

  showMarks(standing) {
    const place = by("marks");
    const parts = [];
    if (standing.problem) parts.push(el("p", { class: "bad" }, standing.problem));
    if (standing.rows.length) {
      const asked = standing.target?.criteria ?? [];
      const named = (key) => this.figures.find((f) => f.key === key)?.words ?? { plies: "plies", twist_direction: "direction" }[key] ?? key;
      parts.push(el("p", { class: "soft" }, standing.target ? `${standing.marked} of ${standing.rows.length} marked, out of ${standing.target.out_of}. A mark is the least and the most that the photos allow. ● meets what was asked, ○ cannot be told from it, ▲ misses it.` : "Say what is asked, and marks appear as photos come."));
      parts.push(el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Marks" }, el("table", { id: "marks-table" },
        el("thead", {}, el("tr", {}, ["Person", "Sample", "Code", "Photos", "Mark", ...asked.map((a) => named(a.figure))].map((h) => el("th", { scope: "col" }, h)))),
        el("tbody", {}, standing.rows.map((row) => el("tr", {},
          el("th", { scope: "row" }, row.person ?? ""), el("td", {}, row.sample), el("td", {}, row.code), el("td", { class: "number" }, String(row.photos.length)),
          el("td", { class: "number" }, row.mark ? row.mark.total + (row.mark.provisional ? `, provisional (rests on ${row.mark.rests_on_percent} %)` : "") : row.photos.length ? "" : "no photo"),
          (row.mark?.criteria ?? []).map((c) => {
            const [sign, words] = STANDINGS[c.standing] ?? ["", c.standing];
            return el("td", { title: c.sentence }, el("span", { "aria-hidden": "true" }, `${sign} `), el("span", { class: "hidden" }, `${words}: `), c.measured);
          })))))));
    }
    if (standing.astray.length) {
      parts.push(el("h3", {}, "Photos that belong to nobody yet"), el("p", { class: "soft" }, "Name their sample on the page of the photo, as the roster writes it: sample / person."), el("ul", {}, standing.astray.map((text) => el("li", {}, text))));
    }
    place.replaceChildren(...parts);
  }
}

const round = (n) => Number(n.toPrecision(3));
