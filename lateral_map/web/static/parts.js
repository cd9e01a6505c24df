/* What every part of the page uses: making elements, asking the server, keeping what is typed. */

/** Make an HTML element with attributes, listeners ("onclick" and such), and children. */
export function make(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (key === "text") made.textContent = value;
    else if (key === "value") made.value = value;
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return made;
}

export const byId = (id) => document.getElementById(id);

/** A button of the page's own kind. */
export const button = (text, onclick, attributes = {}) => make("button", { type: "button", text, onclick, ...attributes });

const start = JSON.parse(byId("start").textContent);
/** Return a sentence of the page's by its key, its {slots} filled in. */
export const say = (key, values = {}) => start.words[key].replace(/\{(\w+)\}/g, (_, name) => values[name]);

export const forms = start.forms;
export const offers = start.offers;
export const isShared = start.shared;
export const firstState = start.state;
export const siteId = start.state.site.id;
export const earlierAddresses = start.addresses.filter((address) => address !== location.origin);

/** What the server knows the page by; another one once the server was begun anew. */
export const pageKey = start.key;

/** The page is a telephone's. */
export const isNarrow = () => window.innerWidth <= 760;

/** How a scroll goes: at once for those who asked for less motion. */
export const pace = () => (window.matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth");

/** The narrow profile is drawn wherever the wide one would be too small to read (see entry.css). */
const wantsNarrowProfile = () => window.innerWidth <= 1700;

/** A name for a change, so that one sent twice is made once. */
export function newOp() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

const PATIENCE_MS = 15000;
const FILE_PATIENCE_MS = 60000;
const ASKING_PATIENCE_MS = 30000;

/** The server could not be reached at all: nobody knows whether it got the message. */
export class Unreached extends Error {}

/** What the answers were made from is out of reach: they are those of an earlier time. */
export const reach = { old: false };

/** The server was begun anew, or serves another site, since this page was loaded: its key is not its any more. */
export const isStale = (error) => error instanceof Refused && [401, 403].includes(error.status);

/** The server's answer was no; `answer` says why. */
export class Refused extends Error {
  constructor(status, answer) {
    super(answer.words || say("refused"));
    this.status = status;
    this.answer = answer;
  }
}

async function request(path, options) {
  let response, answer;
  try {
    response = await fetch(path, { credentials: "same-origin", ...options });
    reach.old = response.headers.has("x-kept");
    const isJson = (response.headers.get("content-type") || "").includes("json");
    answer = isJson ? await response.json() : { words: await response.text() };
  } catch {
    throw new Unreached("not reached"); // or cut off, or too late
  }
  if (!response.ok) throw new Refused(response.status, answer);
  return answer;
}

/** Ask for a file; its name is the server's. */
export async function askFile(path) {
  let response;
  try {
    response = await fetch(path, { credentials: "same-origin" });
  } catch {
    throw new Unreached("not reached");
  }
  if (!response.ok) throw new Refused(response.status, await response.json());
  const named = (response.headers.get("content-disposition") || "").match(/filename="([^"]+)"/);
  return { file: named ? named[1] : "file", content: await response.blob() };
}

/** Ask for something that changes nothing. One that is never answered holds up no other. */
export const ask = (path) => request(path, { signal: AbortSignal.timeout(ASKING_PATIENCE_MS) });

/** Ask for the whole state, the profile excepted. */
export const askState = () => ask("/state");

/** Ask for the profile in this page's width. */
export const askProfile = () => ask(profilePath());

/** Send a change, or a file to be read. */
export function send(path, body) {
  const isFile = body instanceof Blob;
  return request(path, {
    method: "POST",
    body: isFile ? body : JSON.stringify(body),
    // A change is kept and sent again, and one sent twice is made once.
    signal: AbortSignal.timeout(isFile ? FILE_PATIENCE_MS : PATIENCE_MS),
    headers: { "content-type": isFile ? "application/octet-stream" : "application/json", "x-entry-key": pageKey, "x-entry-site": siteId },
  });
}

/* What is typed outlives the page: a reload, a dead battery, a server out of reach. It is the site's
 * by its id, whatever the folder is called and wherever it is served. */
const SHELF = "lateral-map site ";
const shelf = `${SHELF}${siteId} `;
const memory = new Map(); // for a browser that keeps nothing

/** True where what is kept is gone with the page. */
export const keepsNothing = () => memory.size > 0;

/** Keep a value on this device under a name; null forgets it. */
export function keep(name, value) {
  memory.delete(name);
  try {
    if (value === null) localStorage.removeItem(shelf + name);
    else localStorage.setItem(shelf + name, JSON.stringify(value));
  } catch {
    memory.set(name, value);
  }
}

/** Return what was kept under a name, or null. */
export function kept(name) {
  if (memory.has(name)) return memory.get(name);
  try {
    return JSON.parse(localStorage.getItem(shelf + name));
  } catch {
    return null;
  }
}

/** Return the names under which something is kept. */
export function keptNames() {
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(shelf)).map((key) => key.slice(shelf.length));
  } catch {
    return [...memory.keys()];
  }
}

/** Return what other sites have waiting in this browser: their names and their changes. */
export function othersWaiting() {
  try {
    const keys = Object.keys(localStorage).filter((key) => key.startsWith(SHELF) && key.endsWith(" outbox") && !key.startsWith(shelf));
    return keys.map((key) => ({
      site: key.slice(SHELF.length, -" outbox".length),
      name: JSON.parse(localStorage.getItem(key.replace(/ outbox$/, " name"))) || "a site without a name",
      changes: JSON.parse(localStorage.getItem(key)),
    }));
  } catch {
    return [];
  }
}

/* A browser keeps things by address, port included; a cookie is seen from every port of the machine. */
const NOTE = `lateral_map_kept_${siteId}_`;

/** Leave word, for this site's page at another port, of how many changes wait here. */
export function tellOtherPorts(count) {
  const age = count ? 60 * 60 * 24 * 60 : 0;
  document.cookie = `${NOTE}${location.port}=${count}; path=/; SameSite=Strict; max-age=${age}`;
}

/** Return the addresses of this machine where changes of this site wait, with their numbers. */
export function waitingAtOtherPorts() {
  return document.cookie.split("; ").filter((one) => one.startsWith(NOTE)).map((one) => one.slice(NOTE.length).split("="))
    .filter(([port]) => port !== location.port)
    .map(([port, count]) => ({ address: `${location.protocol}//${location.hostname}:${port}`, count: Number(count) }));
}

/** Put what was last drawn where a page loaded without its server finds it. */
export async function shelve(path, value) {
  if (reach.old || !navigator.serviceWorker?.controller) return;
  try {
    const kept = await caches.open("entry page");
    await kept.put(path, new Response(JSON.stringify(value), { headers: { "content-type": "application/json" } }));
  } catch {
    /* no room on this device */
  }
}

/** Where the profile in this page's width is asked for. */
export const profilePath = () => `/profile${wantsNarrowProfile() ? "?narrow=1" : ""}`;

/** Say in a few words when something was. */
export function clock(time) {
  const when = new Date(time);
  const today = new Date().toDateString() === when.toDateString();
  const options = today ? { hour: "2-digit", minute: "2-digit" } : { month: "short", day: "numeric", hour: "2-digit", minute: "2-digit" };
  return when.toLocaleString(undefined, options);
}
