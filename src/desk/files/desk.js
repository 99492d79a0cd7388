// The desk's page: places, photos taken from anywhere on it, the phone, and the end.

import { PAPER, ask, follow } from "./ask.js";
import { Classroom } from "./class.js";
import { by, el, say, trying, units } from "./make.js";
import { Samples } from "./samples.js";
import { Seen } from "./seen.js";
import { Tray } from "./tray.js";

const PLACES = ["photos", "samples", "class", "wheel", "cards"];

let at = "photos";
let now = { photos: [], phone: null, folder: "" };

const actions = {
  again: trying((id) => ask("POST", `api/photos/${id}/again`)),
  stop: trying((id) => ask("POST", `api/photos/${id}/stop`)),
  putAway: trying(async (entry) => {
    await ask("DELETE", `api/photos/${entry.id}`);
    say(`${entry.name} was put away, into the folder "removed".`);
    location.hash = "#photos";
  }),
};

const seen = new Seen(actions);
const tray = new Tray((id) => { location.hash = `#photo/${id}`; }, actions);
const samples = new Samples(() => now.photos);
const classroom = new Classroom(() => now.photos);

function chosen() {
  const [, id] = location.hash.match(/^#photo\/([\w-]+)$/) ?? [];
  return id ?? null;
}

/** Shows the place that the address names. */
function go() {
  const id = chosen();
  const place = id ? "photos" : PLACES.find((name) => location.hash === `#${name}`) ?? "photos";
  for (const name of PLACES) by(name).hidden = name !== place;
  for (const link of document.querySelectorAll("nav a")) {
    if (link.hash === `#${place}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  if (place !== at) scrollTo(0, 0);
  at = place;
  show(place);
}

function show(place = PLACES.find((name) => !by(name).hidden)) {
  const id = chosen();
  tray.show(now.photos, id);
  document.body.classList.toggle("one", id !== null);
  if (place === "photos" && id) {
    const names = [...new Set(now.photos.map((p) => p.sample).filter(Boolean))];
    seen.open(id, now.photos.find((p) => p.id === id), names);
  }
  if (place === "samples" || place === "wheel") samples.show();
  if (place === "class") classroom.show();
}

// --- photos from anywhere

by("files").addEventListener("change", (event) => {
  tray.take(event.target.files);
  event.target.value = "";
});

addEventListener("dragover", (event) => {
  event.preventDefault();
  document.body.classList.add("over");
});
addEventListener("dragleave", (event) => event.relatedTarget === null && document.body.classList.remove("over"));
addEventListener("drop", async (event) => {
  event.preventDefault();
  document.body.classList.remove("over");
  const files = [...event.dataTransfer.files];
  const table = files.find((file) => /\.(csv|tsv|txt)$/i.test(file.name));
  if (table) {
    location.hash = "#class";
    await classroom.takeRoster(await table.text());
  } else if (files.length) tray.take(files);
});
addEventListener("paste", (event) => {
  if (event.clipboardData?.files.length) tray.take(event.clipboardData.files);
});

// --- the phone

function showPhone() {
  const { phone } = now;
  by("phone-ask").textContent = phone ? "Phone is on" : "Use a phone";
  by("phone-code").replaceChildren();
  if (phone) {
    const read = new DOMParser().parseFromString(phone.qr, "image/svg+xml").documentElement;
    by("phone-code").append(document.importNode(read, true));
    by("phone-url").href = phone.url;
    by("phone-url").textContent = phone.url;
  }
}

by("phone-ask").addEventListener("click", trying(async () => {
  by("phone-told").textContent = "";
  by("phone").showModal();
  now.phone = await ask("POST", "api/phone");
  showPhone();
}, by("phone-told")));
by("phone-hide").addEventListener("click", () => by("phone").close());
by("phone-end").addEventListener("click", trying(async () => {
  await ask("DELETE", "api/phone");
  now.phone = null;
  showPhone();
  by("phone").close();
  say("No phone can reach the desk now.");
}, by("phone-told")));

// --- the end

by("close-ask").addEventListener("click", () => {
  by("close-folder").textContent = now.folder;
  by("close").showModal();
});
by("close-no").addEventListener("click", () => by("close").close());
by("close-yes").addEventListener("click", trying(async () => {
  await ask("POST", "api/close");
  document.body.replaceChildren(el("main", { class: "empty" }, el("h1", {}, "The desk is closed"), el("p", {}, "This page can be closed too.")));
}));

// --- cards

by("card-paper").value = PAPER;
by("card").addEventListener("submit", (event) => {
  event.preventDefault();
  const asked = new URLSearchParams({ small: by("card-size").value === "small", letter: by("card-paper").value === "letter", copies: by("card-copies").value || "1" });
  for (const name of ["sample", "person"]) if (by(`card-${name}`).value.trim()) asked.set(name, by(`card-${name}`).value.trim());
  open(`cards.pdf?${asked}`, "_blank", "noopener");
});

// --- begin

units.start(() => {
  seen.show();
  show();
});
addEventListener("hashchange", () => {
  go();
  if (chosen() && matchMedia("(max-width: 60rem)").matches) by("seen").scrollIntoView();
});
follow("api/desk", (news, error) => {
  if (error) {
    say("The desk does not answer. If you closed it, start it again.", true);
    return;
  }
  now = news;
  showPhone();
  show();
});
go();
