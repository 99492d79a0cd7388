// The page that a phone opens: a photo taken, and its figures.

import { follow } from "./ask.js";
import { by, el, say, units } from "./make.js";
import { Tray } from "./tray.js";

const tray = new Tray(() => {}, {});
let photos = [];

/** What is said of a photo without figures. */
const WITHOUT = { failed: "could not be measured", stopped: "was stopped at the desk" };

tray.show = () => {
  by("list").replaceChildren(
    ...tray.coming.map((one) => tray.comingRow(one)),
    ...[...photos].reverse().map(({ entry, metric, imperial }) => {
      const words = units.now === "imperial" ? imperial : metric;
      const said = entry.stage === "measured" ? words : entry.why ?? (WITHOUT[entry.stage] ?? "is being measured …");
      return el("li", { class: "told" },
        el("p", { class: "name" }, entry.name),
        el("p", { class: "spoken" }, said ?? ""),
        entry.stage === "measured" ? el("a", { href: `photos/${entry.id}/overlay?turn=${entry.turn}` }, "What was measured") : null);
    }));
};

for (const id of ["camera", "files"]) {
  by(id).addEventListener("change", (event) => {
    tray.take(event.target.files);
    event.target.value = "";
  });
}
units.start(() => tray.show());
follow("now", (now, error) => {
  if (error) {
    say("The desk does not answer. It may have been closed, or the phone may have left the network.", true);
    return;
  }
  photos = now.photos;
  tray.show();
});
