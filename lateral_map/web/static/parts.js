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
export const forms = start.forms;
export const offers = start.offers;
export const isShared = start.shared;
export const firstState = start.state;

/** The page is a telephone's. */
export const isNarrow = () => window.innerWidth <= 760;

/** The narrow profile is drawn wherever the wide one would be too small to read (see entry.css). */
const wantsNarrowProfile = () => window.innerWidth <= 1700;

/** A name for a change, so that one sent twice is made once. */
export function newOp() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

const PATIENCE_MS = 15000;

/** The server could not be reached at all: nobody knows whether it got the message. */
export class Unreached extends Error {}

/** The server's answer was no; `answer` says why. */
export class Refused extends Error {
  constructor(status, answer) {
    super(answer.words || "The page's server said no.");
    this.status = status;
    this.answer = answer;
  }
}

async function request(path, options) {
  let response, answer;
  try {
    response = await fetch(path, { credentials: "same-origin", ...options });
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

/** Ask for something that changes nothing. */
export const ask = (path) => request(path, {});

/** Ask for the whole state, the profile excepted. */
export const askState = () => ask("/state");

/** Ask for the profile in this page's width. */
export const askProfile = () => ask(`/profile${wantsNarrowProfile() ? "?narrow=1" : ""}`);

/** Send a change, or a file to be read. */
export function send(path, body) {
  const isFile = body instanceof Blob;
  return request(path, {
    method: "POST",
    body: isFile ? body : JSON.stringify(body),
    // The forms are closed meanwhile; a change is kept and sent again, and one sent twice is made once.
    signal: isFile ? null : AbortSignal.timeout(PATIENCE_MS),
    headers: { "content-type": isFile ? "application/octet-stream" : "application/json", "x-entry-key": start.key },
  });
}

/* What is typed outlives the page: a reload, a dead battery, a server out of reach. */
const shelf = `lateral-map ${location.host} ${firstState.site.folder} `;

/** Keep a value on this device under a name; null forgets it. */
export function keep(name, value) {
  try {
    if (value === null) localStorage.removeItem(shelf + name);
    else localStorage.setItem(shelf + name, JSON.stringify(value));
  } catch {
    /* A browser that keeps nothing still saves to the site. */
  }
}

/** Return what was kept under a name, or null. */
export function kept(name) {
  try {
    return JSON.parse(localStorage.getItem(shelf + name));
  } catch {
    return null;
  }
}

/** Say in a few words when something was. */
export function clock(time) {
  const when = new Date(time);
  const today = new Date().toDateString() === when.toDateString();
  const options = today ? { hour: "2-digit", minute: "2-digit" } : { month: "short", day: "numeric", hour: "2-digit", minute: "2-digit" };
  return when.toLocaleString(undefined, options);
}
