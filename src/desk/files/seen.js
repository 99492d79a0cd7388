// One photo: what was measured, what was stated, and what the yarn is.

import { ask } from "./ask.js";
import { by, el, plot, say, trying } from "./make.js";
import { Stage, TOOLS } from "./stage.js";
import { charts, figures, paragraph, remarks } from "./told.js";

const LENGTHS = { mm: 1, cm: 10, in: 25.4 };

/** Pieces up to so many have a button each. */
const MANY = 8;

const SCALES = {
  "ruler-card": "the ruler card",
  "ruler-mm": "a ruler in millimetres",
  "ruler-inch": "a ruler in inches",
  stated: "what you stated",
};

export class Seen {
  constructor(actions) {
    this.actions = actions;
    this.id = null;
    this.turn = null;
    this.photo = null;
    this.names = [];
    this.stage = new Stage({
      onpiece: (strand) => this.state({ strand }, `Piece ${strand} is measured alone.`),
      onruler: (ruler) => this.state({ ruler, points: null, dpi: null }, `The scale comes from ruler ${ruler}.`),
      onframe: (region) => this.state({ region, strand: null }, "Yarn is looked for inside the frame."),
      onpoints: (points) => this.askDistance(points),
      onwait: (words) => say(words),
      onnothing: () => say("Nothing was found there. Frame the yarn, or touch a line with a number."),
    });
    this.tools = el("div", { class: "row stage-tools", role: "group", "aria-label": "What touching the photo does" },
      Object.entries(TOOLS).map(([name, [words]]) => el("button", {
        type: "button", "data-tool": name, "aria-pressed": name === "touch", onclick: () => this.choose(name),
      }, words)),
      el("span", { class: "views" },
        el("button", { type: "button", "aria-label": "Enlarge", onclick: () => this.stage.enlarge(1.5) }, "+"),
        el("button", { type: "button", "aria-label": "Shrink", onclick: () => this.stage.enlarge(1 / 1.5) }, "−"),
        el("button", { type: "button", onclick: () => this.stage.fit() }, "All")));
    this.toolHelp = el("p", { class: "soft small" }, TOOLS.touch[1]);
    this.distance = el("form", { class: "inline", hidden: true });
    this.found = el("div", { class: "found" });
    this.side = el("div", { class: "words" });
    this.whole = el("div", { class: "photo" },
      el("div", { class: "look" }, this.tools, this.toolHelp, this.stage.node, this.distance, this.found, this.stage.help), this.side);
  }

  choose(tool) {
    this.stage.choose(tool);
    this.distance.hidden = true;
    for (const button of this.tools.querySelectorAll("[data-tool]")) {
      button.setAttribute("aria-pressed", String(button.dataset.tool === tool));
    }
    this.toolHelp.textContent = TOOLS[tool][1];
  }

  /** Shows a photo, once more only when something about it has changed. */
  async open(id, entry, names) {
    this.names = names;
    const key = entry ? `${entry.stage} ${entry.turn} ${entry.sample} ${entry.stated}` : "";
    if (this.id === id && this.turn === key) return;
    const same = this.id === id;
    this.id = id;
    this.turn = key;
    let photo;
    try {
      photo = await ask("GET", `api/photos/${id}`);
    } catch (error) {
      this.turn = null;
      by("seen").replaceChildren(el("p", { class: "empty" }, error.message));
      return;
    }
    if (this.id !== id) return;
    const before = same ? this.photo?.entry.turn : null;
    this.photo = photo;
    if (before !== null && before !== photo.entry.turn && photo.entry.headline) say(`${photo.entry.name}: ${photo.entry.headline}`);
    if (!same) this.choose("touch");
    this.show();
  }

  show() {
    const { photo } = this;
    if (!photo) return;
    const { entry } = photo;
    const held = this.side.contains(document.activeElement) ? document.activeElement.id : null;
    const from = entry.here ? `api/photos/${entry.id}/photo` : `api/photos/${entry.id}/overlay`;
    this.stage.show(from, entry.here ? photo.sketch : null, `${entry.name}: ${entry.headline ?? entry.stage}`);
    this.tools.hidden = !entry.here;
    this.toolHelp.hidden = !entry.here;
    this.showFound();
    this.side.replaceChildren(...[
      el("h3", { id: "seen-h" }, entry.sample ?? entry.name),
      el("p", { class: "soft" }, entry.sample ? `${entry.name}. ` : "", photo.scale ? `The scale comes from ${SCALES[photo.scale] ?? photo.scale}.` : "", photo.taken_at ? ` Taken ${photo.taken_at.replace("T", " ")}.` : ""),
      this.stageWords(),
      photo.words ? paragraph(photo.words) : null,
      this.chips(),
      photo.words ? remarks(photo.words) : null,
      photo.words ? figures(photo.words) : null,
      photo.words ? charts(photo.words) : null,
      entry.headline ? el("figure", {}, el("img", { class: "strand", src: `api/photos/${entry.id}/strand?turn=${entry.turn}`, alt: "Some of the yarn, laid straight", onerror: (e) => e.target.parentNode.remove() }), el("figcaption", {}, "Some of it, laid straight")) : null,
      photo.plots.length ? el("details", { class: "why", open: true }, el("summary", {}, "How even it is"), photo.plots.map((svg) => plot(svg))) : null,
      this.stateForm(),
      this.nameForm(),
      this.links(),
    ].flat().filter(Boolean));
    const place = by("seen");
    if (place.firstChild !== this.whole) place.replaceChildren(this.whole);
    if (held) by(held)?.focus({ preventScroll: true });
  }

  stageWords() {
    const { entry, words } = this.photo;
    if (entry.stage === "failed") return el("p", { class: "bad" }, entry.why);
    if (entry.stage === "waiting" || entry.stage === "measuring") {
      return el("p", { class: "row soft" }, "Is being measured …", el("button", { type: "button", id: "stop-it", class: "quiet", onclick: () => this.actions.stop(entry.id) }, "Stop"));
    }
    if (entry.stage === "stopped") {
      const said = words ? "Stopped. What stands below was measured before." : "Stopped before it was measured.";
      return el("p", { class: "row soft" }, said, el("button", { type: "button", id: "measure-it", onclick: () => this.actions.again(entry.id) }, "Measure"));
    }
    return entry.here ? null : el("p", { class: "soft" }, "The photo itself is not in the desk's folder. Send it again to touch it.");
  }

  /** What was found, as buttons: the same as touching. */
  showFound() {
    const { sketch, stated, entry } = this.photo;
    if (!sketch || !entry.here) {
      this.found.replaceChildren();
      return;
    }
    const button = (words, pressed, chosen, act) => el("button", { type: "button", class: chosen ? "on" : "", "aria-pressed": pressed, onclick: act }, words);
    // Wraps and skeins have dozens; those go into a list.
    const pieces = sketch.pieces.length > MANY ? [this.pieceList(sketch.pieces, stated)] : sketch.pieces.map((p) => button(`Piece ${p.number}${p.chosen ? "" : ", left out"}`, stated.strand === p.number, p.chosen,
      () => this.state({ strand: stated.strand === p.number ? null : p.number })));
    const rulers = sketch.rulers.map((r) => button(`${r.card ? "Card" : "Ruler"} ${r.number}${r.chosen ? "" : ", not used"}`, stated.ruler === r.number, r.chosen,
      () => this.state({ ruler: stated.ruler === r.number ? null : r.number, points: null, dpi: null })));
    this.found.replaceChildren(...[...pieces, ...rulers]);
  }

  pieceList(pieces, stated) {
    const select = el("select", { id: "found-piece", "aria-label": "Piece of yarn" }, el("option", { value: "" }, `all ${pieces.length} pieces`),
      pieces.map((p) => el("option", { value: p.number, selected: stated.strand === p.number }, `piece ${p.number} alone`)));
    select.addEventListener("change", () => this.state({ strand: select.value === "" ? null : Number(select.value) }));
    return select;
  }

  /** States something, over what was stated, and measures again. */
  state(changes, words) {
    return trying(async () => {
      const stated = { ...this.photo.stated, ...changes };
      if (changes.points || changes.dpi) {
        stated.ruler = null;
        stated.unit = null;
      }
      if (changes.points) stated.dpi = null;
      if (changes.dpi) stated.points = null;
      for (const [key, value] of Object.entries(stated)) if (value === null) delete stated[key];
      this.photo.stated = await ask("PUT", `api/photos/${this.id}/stated`, stated);
      if (words) say(words);
    })();
  }

  askDistance(points) {
    const number = el("input", { type: "number", id: "distance", min: 0, step: "any", required: true });
    const unit = el("select", { id: "distance-unit", "aria-label": "Unit" }, Object.keys(LENGTHS).map((u) => el("option", {}, u)));
    this.distance.replaceChildren(el("label", { for: "distance" }, "Their distance"), number, unit, el("button", { type: "submit", class: "first" }, "Measure"),
      el("button", { type: "button", onclick: () => this.choose("points") }, "Other points"));
    this.distance.onsubmit = (event) => {
      event.preventDefault();
      const [from, to] = points.map((p) => p.map((v) => Math.round(v * 10) / 10));
      this.distance.hidden = true;
      this.state({ points: { from, to, distance_mm: Number(number.value) * LENGTHS[unit.value] } }, "The scale comes from your two points.");
      this.choose("touch");
      this.stage.node.focus({ preventScroll: true });
    };
    this.distance.hidden = false;
    number.focus();
  }

  /** What is stated, each to be taken back. */
  chips() {
    const { stated } = this.photo;
    const said = {
      strand: (n) => `piece ${n} alone`,
      region: ([x, y, w, h]) => `only inside ${w} × ${h} px at ${x}, ${y}`,
      plies: (n) => (n === 1 ? "singles" : `${n} plies`),
      ruler: (n) => `ruler ${n}`,
      unit: (u) => (u === "mm" ? "ruler in millimetres" : "ruler in inches"),
      points: (p) => `two points, ${p.distance_mm} mm apart`,
      dpi: (d) => (typeof d === "object" ? `${d.is} dots per inch` : "resolution from the file"),
      print_factor: (f) => `100 mm line measures ${Math.round(f * 1000) / 10} mm`,
      focal_35mm_mm: (f) => `focal length ${f} mm`,
      label: (l) => `label ${l}`,
    };
    const chips = Object.entries(said).filter(([key]) => stated[key] !== undefined).map(([key, words]) => el("li", {},
      words(stated[key]),
      el("button", { type: "button", id: `back-${key}`, "aria-label": `Take back: ${words(stated[key])}`, onclick: () => this.state({ [key]: null }, "Taken back.") }, "Take back")));
    return chips.length ? [el("p", { class: "soft small" }, "You stated:"), el("ul", { class: "chips" }, chips)] : null;
  }

  stateForm() {
    const { stated, entry } = this.photo;
    if (!entry.here) return null;
    const field = (id, words, input) => [el("label", { for: id }, words), input];
    const select = (id, pairs, now) => {
      const node = el("select", { id }, pairs.map(([value, words]) => el("option", { value, selected: String(now ?? "") === value }, words)));
      return node;
    };
    const number = (id, value) => el("input", { id, type: "number", min: 0, step: "any", value: value ?? null });
    const plies = select("s-plies", [["", "as seen"], ["1", "singles"], ...[2, 3, 4, 5, 6, 8, 12].map((n) => [String(n), `${n} plies`])], stated.plies);
    const unit = select("s-unit", [["", "as seen"], ["mm", "millimetres"], ["inch", "inches"]], stated.unit);
    const dpi = number("s-dpi", stated.dpi?.is);
    const fromFile = el("input", { id: "s-dpi-file", type: "checkbox", checked: stated.dpi === "as-written-in-file" });
    const line = number("s-line", stated.print_factor && Math.round(stated.print_factor * 1000) / 10);
    const focal = number("s-focal", stated.focal_35mm_mm);
    const form = el("form", { class: "sheet fields" },
      field("s-plies", "Plies", plies), field("s-unit", "The ruler's unit", unit), field("s-dpi", "A scan: its dots per inch", dpi),
      el("label", { class: "tick" }, fromFile, "or as the file says"),
      field("s-line", "The card's 100 mm line measures, mm", line), field("s-focal", "Focal length on 35 mm film, mm", focal),
      el("button", { type: "submit", class: "first" }, "Measure again"));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const or = (text, made) => (text === "" ? null : made(Number(text)));
      const changes = {
        plies: or(plies.value, (n) => n),
        unit: unit.value || null,
        dpi: fromFile.checked ? "as-written-in-file" : or(dpi.value, (is) => ({ is })),
        print_factor: or(line.value, (mm) => mm / 100),
        focal_35mm_mm: or(focal.value, (mm) => mm),
      };
      this.state(changes, "Is measured again.");
    });
    return el("details", { class: "why", open: this.stating, ontoggle: (e) => { this.stating = e.target.open; } }, el("summary", {}, "State what you know"), form);
  }

  nameForm() {
    const { entry } = this.photo;
    const name = el("input", { type: "text", id: "n-sample", value: entry.sample ?? "", list: "n-names", maxlength: 75, autocomplete: "off" });
    const form = el("form", { class: "sheet fields" }, el("label", { for: "n-sample" }, "Sample"), name,
      el("datalist", { id: "n-names" }, this.names.map((value) => el("option", { value }))), el("button", { type: "submit" }, "Keep"));
    form.addEventListener("submit", trying(async (event) => {
      event.preventDefault();
      await ask("PUT", "api/samples", { photos: [this.id], sample: name.value.trim() || null });
      say(name.value.trim() ? `Belongs to ${name.value.trim()}.` : "Belongs to no sample.");
    }));
    return form;
  }

  links() {
    const { entry } = this.photo;
    const address = `api/photos/${entry.id}`;
    const link = (what, words) => el("a", { href: `${address}/${what}?turn=${entry.turn}`, target: "_blank", rel: "noopener" }, words);
    return el("div", { class: "row links" },
      entry.headline ? [link("page", "Page to print"), link("overlay", "Picture of what was measured"), link("report", "Report as JSON")] : null,
      entry.here ? el("button", { type: "button", onclick: () => this.actions.again(entry.id) }, "Measure again") : null,
      entry.here ? el("button", { type: "button", class: "quiet", onclick: () => this.actions.putAway(entry) }, "Put away") : null);
  }
}
