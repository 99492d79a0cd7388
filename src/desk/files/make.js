// Elements made from plain values: text stays text, whatever it holds.

const SVG = "http://www.w3.org/2000/svg";

function filled(node, props, children) {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === null || value === undefined) continue;
    if (name.startsWith("aria-")) node.setAttribute(name, String(value));
    else if (value === false) continue;
    else if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (value === true) node.setAttribute(name, "");
    else node.setAttribute(name, value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

export const el = (tag, props, ...children) => filled(document.createElement(tag), props, children);
export const draw = (tag, props, ...children) => filled(document.createElementNS(SVG, tag), props, children);
export const by = (id) => document.getElementById(id);

/** A plot that the program made from numbers. */
export function plot(svg) {
  const read = new DOMParser().parseFromString(svg, "text/html").querySelector("svg");
  return read ? document.importNode(read, true) : null;
}

/** What a select holds: pairs of value and words; what was chosen stays chosen where it is still there. */
export function choices(select, pairs) {
  const before = select.options.length ? select.value : null;
  select.replaceChildren(...pairs.map(([value, words]) => el("option", { value }, words)));
  if (pairs.some(([value]) => value === before)) select.value = before;
}

let saying = 0;

/** Says something to everybody, screen readers too; it goes by itself unless it is a failure. */
export function say(words, failed = false) {
  const place = by("said");
  place.textContent = words;
  place.classList.toggle("failed", failed);
  clearTimeout(saying);
  if (words) saying = setTimeout(() => say(""), failed ? 15000 : 6000);
}

/** Does something that may fail, and says why it did. */
export function trying(work, where) {
  return async (...given) => {
    try {
      await work(...given);
    } catch (error) {
      if (where) where.textContent = error.message;
      say(error.message, true);
    }
  };
}

const KEPT = "strandrule-units";

/** metric or imperial, remembered where the browser allows it. */
export const units = {
  get now() {
    try {
      return localStorage.getItem(KEPT) === "imperial" ? "imperial" : "metric";
    } catch {
      return by("units").value;
    }
  },
  start(changed) {
    const select = by("units");
    select.value = this.now;
    select.addEventListener("change", () => {
      try {
        localStorage.setItem(KEPT, select.value);
      } catch {
        // Then only for this page.
      }
      changed();
    });
  },
};
