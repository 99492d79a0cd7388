// Photos on their way here, and the list of those that are.

import { send } from "./ask.js";
import { by, el, say } from "./make.js";

/** Photos sent at once; a browser opens six connections to one place, and one is listening for news. */
const AT_ONCE = 3;

const STAGES = {
  waiting: "waiting",
  measuring: "measuring …",
  measured: "",
  failed: "not measured",
  stopped: "not measured: stopped",
};

export class Tray {
  constructor(choose, actions) {
    this.choose = choose;
    this.actions = actions;
    this.coming = [];
    this.running = 0;
    this.photos = [];
    this.chosen = null;
    this.rows = new Map();
  }

  /** Takes files from a field, a drop or a paste. */
  take(files) {
    const pictures = [...files].filter((file) => file.type.startsWith("image/") || /\.(jpe?g|png|webp|tiff?|hei[cf])$/i.test(file.name));
    for (const file of pictures) {
      this.coming.push({ file, part: 0, stop: new AbortController(), state: "queued", why: "" });
    }
    if (pictures.length === 0) say("That holds no photo.", true);
    else say(pictures.length === 1 ? `Taking ${pictures[0].name}` : `Taking ${pictures.length} photos`);
    this.run();
    this.show();
  }

  run() {
    while (this.running < AT_ONCE) {
      const next = this.coming.find((one) => one.state === "queued");
      if (!next) return;
      next.state = "going";
      this.running += 1;
      this.one(next).finally(() => {
        this.running -= 1;
        this.run();
        this.show();
      });
    }
  }

  async one(coming) {
    try {
      const progress = (part) => {
        coming.part = part;
        if (coming.bar) coming.bar.value = part;
      };
      const { id, new: fresh } = await send(coming.file, progress, coming.stop.signal);
      this.coming = this.coming.filter((one) => one !== coming);
      if (!fresh) say(`${coming.file.name} was here before.`);
      if (this.chosen === null || !fresh) this.choose(id);
    } catch (error) {
      if (error.name === "AbortError") {
        this.coming = this.coming.filter((one) => one !== coming);
        say(`${coming.file.name} was stopped.`);
      } else {
        coming.state = "broken";
        coming.why = error.message;
        say(error.message, true);
      }
    }
  }

  /** Shows photos coming and photos here. */
  show(photos = this.photos, chosen = this.chosen) {
    this.photos = photos;
    this.chosen = chosen;
    const list = by("list");
    const held = document.activeElement?.closest?.("#list [data-key]")?.dataset.key;
    list.replaceChildren(...this.coming.map((one) => this.comingRow(one)), ...photos.map((photo) => this.row(photo)));
    if (held) list.querySelector(`[data-key="${CSS.escape(held)}"]`)?.focus({ preventScroll: true });
    const waiting = photos.filter((p) => p.stage === "waiting" || p.stage === "measuring").length;
    const all = photos.length === 1 ? "1 photo" : `${photos.length} photos`;
    by("counted").textContent = photos.length ? all + (waiting ? `, ${waiting} still to be measured` : "") : "";
  }

  comingRow(one) {
    const name = one.file.name || "photo";
    if (one.state === "broken") {
      return el("li", { class: "broken" },
        el("span", { class: "name" }, name), el("span", { class: "soft" }, one.why),
        el("button", { type: "button", "data-key": `again-${name}`, onclick: () => { one.state = "queued"; this.run(); this.show(); } }, "Again"),
        el("button", { type: "button", "data-key": `drop-${name}`, class: "quiet", onclick: () => { this.coming = this.coming.filter((o) => o !== one); this.show(); } }, "Leave it"));
    }
    one.bar = el("progress", { max: 1, value: one.part, "aria-label": `${name}: on its way` });
    return el("li", { class: "coming" },
      el("span", { class: "name" }, name), one.bar,
      el("button", { type: "button", "data-key": `stop-${name}`, class: "quiet", "aria-label": `Stop ${name}`, onclick: () => {
        one.stop.abort();
        if (one.state === "queued") { this.coming = this.coming.filter((o) => o !== one); this.show(); }
      } }, "Stop"));
  }

  /** A photo's row; the same as before where nothing about it has changed, so that pictures do not flicker. */
  row(photo) {
    const key = JSON.stringify([photo, photo.id === this.chosen]);
    const before = this.rows.get(photo.id);
    if (before?.key === key) return before.node;
    const node = this.made(photo);
    this.rows.set(photo.id, { key, node });
    return node;
  }

  made(photo) {
    const said = STAGES[photo.stage] || photo.headline || "";
    const open = el("a", { href: `#photo/${photo.id}`, "data-key": `open-${photo.id}`, "aria-current": photo.id === this.chosen ? "true" : null },
      photo.stage !== "waiting" && photo.stage !== "stopped" && photo.headline
        ? el("img", { src: `api/photos/${photo.id}/strand?turn=${photo.turn}`, alt: "", loading: "lazy", onerror: (e) => e.target.remove() })
        : null,
      el("span", { class: "name" }, photo.sample ?? photo.name),
      photo.sample ? el("span", { class: "soft" }, photo.name) : null,
      el("span", { class: photo.stage === "failed" ? "bad" : "soft" }, said));
    const stop = photo.stage === "waiting" || photo.stage === "measuring"
      ? el("button", { type: "button", class: "quiet", "data-key": `wait-${photo.id}`, "aria-label": `Do not measure ${photo.name}`, onclick: () => this.actions.stop(photo.id) }, "Stop")
      : null;
    const again = photo.stage === "stopped" && photo.here
      ? el("button", { type: "button", "data-key": `measure-${photo.id}`, onclick: () => this.actions.again(photo.id) }, "Measure")
      : null;
    return el("li", { class: photo.stage }, open, stop, again);
  }
}
