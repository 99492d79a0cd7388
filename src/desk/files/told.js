// What a yarn is, in words and figures.

import { el, units } from "./make.js";

export function paragraph(words) {
  return el("p", { class: "spoken" }, words.paragraph[units.now]);
}

/** Every figure with its interval, or why there is none. */
export function figures(words) {
  const rows = words.figures.map((figure) => {
    const shown = figure[units.now];
    const value = figure.word ?? shown?.value;
    const range = figure.sure ?? shown?.range ?? "";
    return el("tr", value === undefined ? { class: "missing" } : {},
      el("th", { scope: "row" }, figure.name),
      value === undefined
        ? el("td", { colspan: 2, class: "soft" }, figure.why ?? "")
        : [el("td", { class: "number" }, value), el("td", { class: "soft" }, range)]);
  });
  const answered = rows.filter((row) => !row.classList.contains("missing"));
  const missing = rows.filter((row) => row.classList.contains("missing"));
  return [
    table("Figures", answered, ["Figure", "Value", "19 times in 20 between"]),
    missing.length ? el("details", { class: "why" }, el("summary", {}, `Not answered: ${missing.length}, and why`), table("Figures that are missing", missing, ["Figure", "Why"])) : null,
  ];
}

function table(caption, rows, heads) {
  return el("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": caption },
    el("table", {}, el("caption", { class: "hidden" }, caption),
      el("thead", {}, el("tr", {}, heads.map((head, i) => el("th", { scope: "col", colspan: heads.length === 2 && i === 1 ? 2 : null }, head)))),
      el("tbody", {}, rows)));
}

/** Names of charts, by what they mean by a wrap. */
export function charts(words) {
  if (words.categories.length === 0) return null;
  const meanings = new Map();
  for (const { name, meaning } of words.categories) meanings.set(meaning, [...(meanings.get(meaning) ?? []), name]);
  return el("details", { class: "why" }, el("summary", {}, "What charts call it"),
    el("ul", {}, [...meanings].map(([meaning, names]) => el("li", {}, el("strong", {}, names.join(", ")), `: ${meaning}`))));
}

export function remarks(words) {
  return words.remarks.length ? el("ul", { class: "remarks" }, words.remarks.map((text) => el("li", {}, text))) : null;
}
