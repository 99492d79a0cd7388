// The one place that talks to the desk. A page that holds the library itself would answer these questions here.

const meta = (name) => document.querySelector(`meta[name="strandrule-${name}"]`)?.content ?? "";

export const MOST_BYTES = Number(meta("most-bytes"));
export const PAPER = meta("paper");

const token = { "strandrule-token": meta("token") };

async function failure(response) {
  const text = await response.text();
  try {
    return JSON.parse(text).error ?? text;
  } catch {
    return text || `the desk answered ${response.status}`;
  }
}

/** A question; `body` is an object (sent as JSON) or a text. */
export async function ask(method, address, body, signal) {
  const json = typeof body === "object" && body !== null;
  const headers = method === "GET" ? {} : { ...token, "content-type": json ? "application/json" : "text/plain" };
  let response;
  try {
    response = await fetch(address, { method, headers, body: json ? JSON.stringify(body) : body, signal });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new Error("The desk does not answer. Was it closed?");
  }
  if (!response.ok) throw new Error(await failure(response));
  return response.json();
}

/** Sends a photo; `progress` hears how much of it has gone, from 0 to 1. */
export function send(file, progress, signal) {
  return new Promise((done, failed) => {
    if (file.size > MOST_BYTES) {
      failed(new Error(`${file.name} is larger than ${Math.round(MOST_BYTES / 1048576)} MB`));
      return;
    }
    const request = new XMLHttpRequest();
    const address = address_of(file);
    request.open("POST", address);
    for (const [name, value] of Object.entries(token)) request.setRequestHeader(name, value);
    request.upload.addEventListener("progress", (event) => event.total && progress(event.loaded / event.total));
    request.addEventListener("load", () => {
      let answer = {};
      try {
        answer = JSON.parse(request.responseText);
      } catch {
        // The status says enough.
      }
      if (request.status === 200) done(answer);
      else failed(new Error(answer.error ?? `${file.name} was not taken (${request.status})`));
    });
    request.addEventListener("error", () => failed(new Error(`${file.name} broke off; send it again`)));
    request.addEventListener("abort", () => failed(new DOMException("cancelled", "AbortError")));
    signal.addEventListener("abort", () => request.abort());
    request.send(file);
  });
}

function address_of(file) {
  const base = document.body.querySelector("main.phone") ? "photos" : "api/photos";
  return `${base}?name=${encodeURIComponent(file.name || "photo.jpg")}`;
}

/** Tells `hear` what the desk holds, now and whenever it changes. */
export async function follow(address, hear) {
  let after = null;
  let silent = 0;
  for (;;) {
    try {
      const now = await ask("GET", after === null ? address : `${address}?after=${after}`);
      after = now.revision;
      silent = 0;
      hear(now, null);
    } catch (error) {
      silent += 1;
      hear(null, error);
      // Less and less often: a desk that was closed may be opened again, and a phone comes back into the network.
      await new Promise((go) => setTimeout(go, Math.min(1000 * silent, 10000)));
      after = null;
    }
  }
}
