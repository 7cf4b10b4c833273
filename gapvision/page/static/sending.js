// One photograph to the laptop over a connection that comes and goes: what has arrived is asked for, and
// the rest is sent. Nothing is sent twice, and nothing is given up.

const FIRST_WAIT_MS = 1000, LONGEST_WAIT_MS = 15000;
const SILENT_MS = 20000; // without a byte that moves: the connection is dead, whatever the phone thinks

export class Refused extends Error {} // the laptop will not have it: sending again is of no use

export class NotPaired extends Error { // the program on the laptop was started again
  constructor() { super("Scan the code on the laptop again."); }
}

// Send `file` and return what the laptop says of it: {sha256, name, again}.
//   where     address to which uploads of this joint are posted
//   item      {url}: where a begun upload goes on, kept by `remember(url)`
//   tell      ({sent, total}) while it goes, ({waits, why}) seconds until it is tried again
//   wake      a promise maker: resolves when it should be tried at once
export async function send(file, where, item, { remember, tell, wake }) {
  let wait = FIRST_WAIT_MS;
  for (;;) {
    try {
      if (!item.url) {
        item.url = await begin(file, where, item.name || file.name);
        await remember(item.url);
      }
      const offset = await arrived(item.url);
      if (offset === null) { // the laptop knows nothing of it any more
        item.url = null;
        continue;
      }
      const answer = await rest(file, item.url, offset, (sent) => {
        wait = FIRST_WAIT_MS;
        tell({ sent, total: file.size });
      });
      if (answer) return answer;
    } catch (error) {
      if (error instanceof Refused) throw error;
      tell({ waits: Math.round(wait / 1000), why: error instanceof NotPaired ? error.message : "" });
      await Promise.race([pause(wait), wake()]);
      wait = Math.min(2 * wait, LONGEST_WAIT_MS);
    }
  }
}

async function begin(file, where, name) {
  const headers = { "Upload-Length": String(file.size), "Upload-Name": encodeURIComponent(name) };
  const response = await fetch(where, { method: "POST", headers: { ...headers, Accept: "application/json" } });
  if (response.status === 401) throw new NotPaired();
  if (final(response.status)) throw new Refused(await sentence(response));
  if (!response.ok) throw new Error(response.status);
  return response.headers.get("Location");
}

// How many bytes have come; null where the upload is not known.
async function arrived(url) {
  const response = await fetch(url, { method: "HEAD", cache: "no-store" });
  if (response.status === 401) throw new NotPaired();
  if (response.status === 404 || response.status === 410) return null;
  if (!response.ok) throw new Error(response.status);
  return Number(response.headers.get("Upload-Offset"));
}

// Send all from `offset` on; resolves to the answer once it is whole, to null where it is to go on.
// XMLHttpRequest, since fetch does not tell how much was sent.
function rest(file, url, offset, sent) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    let timer = 0;
    const alive = () => {
      clearTimeout(timer);
      timer = setTimeout(() => request.abort(), SILENT_MS);
    };
    const failed = () => { clearTimeout(timer); reject(new Error("connection")); };
    request.upload.onprogress = (event) => { alive(); sent(offset + event.loaded); };
    request.onerror = failed;
    request.onabort = failed;
    request.onload = () => {
      clearTimeout(timer);
      if (request.status === 200) resolve(JSON.parse(request.responseText));
      else if (request.status === 204 || request.status === 409 || request.status === 404) resolve(null);
      else if (request.status === 401) reject(new NotPaired());
      else if (final(request.status)) reject(new Refused(words(request.responseText)));
      else reject(new Error(request.status));
    };
    request.open("PATCH", url);
    request.setRequestHeader("Upload-Offset", String(offset));
    request.setRequestHeader("Content-Type", "application/offset+octet-stream");
    request.setRequestHeader("Accept", "application/json");
    alive();
    request.send(file.slice(offset));
  });
}

// Whether the laptop has decided; a request that took too long or came too often may come again.
function final(status) {
  return status >= 400 && status < 500 && status !== 408 && status !== 429;
}

async function sentence(response) {
  return words(await response.text());
}

function words(text) {
  try { return JSON.parse(text).sentence || text; } catch (error) { return "The laptop did not take it."; }
}

function pause(ms) {
  return new Promise((resolve) => setTimeout(resolve, ms));
}
